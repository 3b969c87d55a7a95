"""The smallest set of mates of which one fits, while it is open which half it is: the cheapest cure for a wrong order.

A part counts where it fits what was observed and nothing must be said against it. Only where such parts are not enough,
those that are swapped, inferred or no longer made count too. What is disputed or withdrawn never counts. Of sets of one
size the one that fits most probably is taken, then the safest.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from api.identification.mates import DOUBTED, half_ref, mate_of, safety_of
from api.identification.telling_apart import SURE, apart
from api.schemas import answers
from catalog.snapshot.snapshot import Snapshot
from matcher.features import COUNTS, DIMENSIONS
from matcher.identify import CREDIBLE_LEVEL
from matcher.results import HalfInPlay, Ranking, Verdict
from matcher.uncertainty.instruments import BUILT_IN

MOST_PARTS = 4
"""Most parts of a set: with more of them, measuring on is cheaper than ordering. Common practice, no source."""

SHOWN_DIFFERENCES = 3
"""Differences that are named: one is enough, and the others are for who cannot see that one."""

Choice = tuple[str, ...]
"""Keys of parts."""


def order_set(snapshot: Snapshot, found: Ranking) -> answers.OrderSet | None:
    """The smallest set of mates that fits with `CREDIBLE_LEVEL` of the probability, absent apart.

    None under no match, and where no set of up to `MOST_PARTS` parts reaches that.
    """
    listed = 1.0 - found.probability_absent
    enough = CREDIBLE_LEVEL * listed
    if found.verdict is Verdict.NO_MATCH or sum(half.probability for half in found.in_play) < enough:
        return None
    mates = [(half, mate_of(snapshot, each)) for half in found.in_play for each in half.mates]
    for may_count in (_without_doubt, _with_a_warning):
        fits = _fitting(snapshot, [(half, mate) for half, mate in mates if may_count(mate)])
        chosen = _smallest(fits, enough)
        if chosen:
            return _described(snapshot, chosen, fits, listed)
    return None


def _without_doubt(mate: answers.Mate) -> bool:
    return mate.fits_observed and not mate.beware


def _with_a_warning(mate: answers.Mate) -> bool:
    return mate.fits_observed and mate.standing not in DOUBTED


@dataclass(kw_only=True)
class _Part:
    """One part: the halves in play with their probabilities that it fits, and the safest of its matings with each."""

    probability: dict[str, float] = field(default_factory=dict)
    mates: dict[str, answers.Mate] = field(default_factory=dict)

    @property
    def total(self) -> float:
        """Probability that it fits."""
        return sum(self.probability.values())

    @property
    def safety(self) -> tuple[int, ...]:
        """The worst of its matings."""
        return max(map(safety_of, self.mates.values()))


Parts = Mapping[str, _Part]


def _fitting(snapshot: Snapshot, mates: Sequence[tuple[HalfInPlay, answers.Mate]]) -> Parts:
    """The parts by key, the most probable first, without those that another one can stand in for.

    A part fits the halves for which it is listed, and those for which a mate of the same geometry, stack height and
    wiring is.
    """
    columns = snapshot.columns
    parts: dict[str, _Part] = defaultdict(_Part)
    alike: dict[tuple[object, ...], tuple[dict[str, float], set[str]]] = defaultdict(lambda: ({}, set()))
    for half, mate in mates:
        matings = parts[mate.id].mates
        matings[half.key] = min(matings.get(half.key, mate), mate, key=safety_of)
        geometry = int(columns.geometry[columns.position(mate.id)])
        halves, same = alike[geometry, mate.stack_height, mate.correspondence]
        halves[half.key] = half.probability
        same.add(mate.id)
    for halves, same in alike.values():
        for key in same:
            parts[key].probability.update(halves)
    kept: list[str] = []
    for key in sorted(parts, key=lambda key: (-len(parts[key].probability), parts[key].safety, key)):
        if not any(_no_better(parts[key], parts[other]) for other in kept):
            kept.append(key)
    return {key: parts[key] for key in sorted(kept, key=lambda key: -parts[key].total)}


def _no_better(part: _Part, other: _Part) -> bool:
    """Whether the other one fits all that this one does, and is as safe."""
    return part.probability.keys() <= other.probability.keys() and other.safety <= part.safety


def _smallest(parts: Parts, enough: float) -> Choice:
    """The smallest set of parts that fit with enough probability; empty where none of up to `MOST_PARTS` does."""
    for size in range(1, MOST_PARTS + 1):
        found = [each for each in _choices(list(parts.items()), size, enough) if _covered(parts, each) >= enough]
        if found:
            return min(
                found, key=lambda each: (-_covered(parts, each), sorted(parts[key].safety for key in each), each)
            )
    return ()


def _choices(parts: Sequence[tuple[str, _Part]], size: int, enough: float) -> Iterator[Choice]:
    """Sets of that size whose probabilities add up to enough; the parts stand in falling order of theirs."""
    if size == 0:
        if enough <= 0.0:
            yield ()
        return
    for place, (key, part) in enumerate(parts):
        if size * part.total < enough:
            return
        for rest in _choices(parts[place + 1 :], size - 1, enough - part.total):
            yield (key, *rest)


def _covered(parts: Parts, choice: Choice) -> float:
    """Probability that one of the parts fits."""
    return sum({half: p for key in choice for half, p in parts[key].probability.items()}.values())


def _described(snapshot: Snapshot, chosen: Choice, parts: Parts, listed: float) -> answers.OrderSet:
    first = sorted(chosen, key=lambda key: -parts[key].total)
    return answers.OrderSet(
        level=CREDIBLE_LEVEL,
        probability=_covered(parts, chosen) / listed,
        parts=tuple(_ordered(snapshot, parts[key], listed) for key in first),
        tell_apart=tuple(_differences(snapshot, first)) if len(first) > 1 else (),
    )


def _ordered(snapshot: Snapshot, part: _Part, listed: float) -> answers.OrderedMate:
    halves = sorted(part.probability, key=lambda half: -part.probability[half])
    matings = [part.mates[half] for half in halves if half in part.mates]
    stacks = {mate.stack_height for mate in matings if mate.stack_height is not None}
    return answers.OrderedMate(
        mate=matings[0].model_copy(update={"suits": tuple(half for half in halves if half in part.mates)}),
        stack_heights=tuple(sorted(stacks)),
        beware=tuple(dict.fromkeys(said for mate in matings for said in mate.beware)),
        halves=tuple(half_ref(snapshot.halves[half]) for half in halves),
        probability=part.total / listed,
    )


def _differences(snapshot: Snapshot, keys: Sequence[str]) -> Iterator[answers.Difference]:
    """What tells all the parts apart: counts, then sizes under a caliper, the surest first."""
    records = [snapshot.halves[key] for key in keys]
    counted = [name for name in COUNTS if len({each.half.all_counts.get(name) for each in records}) == len(records)]
    sizes = [
        each
        for each in apart(records, BUILT_IN["caliper"])
        if each.can and len(each.pairs) * 2 == len(records) * (len(records) - 1) and each.weakest >= SURE
    ]
    for name in [*counted, *(each.feature for each in sorted(sizes, key=lambda each: -each.weakest))][
        :SHOWN_DIFFERENCES
    ]:
        values = [
            each.half.dimensions[name].value if name in DIMENSIONS else each.half.all_counts.get(name)
            for each in records
        ]
        yield answers.Difference(feature=name, values=tuple(values))
