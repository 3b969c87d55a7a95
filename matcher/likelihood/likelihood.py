"""Log-likelihood of a specimen's observations under every half of the catalogue.

Observations are split into parts that are independent given the half: single observations, groups that share an
instrument's error, the two counts that may confuse an end fitting, everything seen of the other half or the pair, and
what one cause may have made wrong together (`matcher.likelihood.causes`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property

import numpy as np

from matcher.columns.columns import Columns, Floats, Ints
from matcher.likelihood.causes import Cause, causes
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.error_model.miscounts import fittings_probability
from matcher.likelihood.evidence import SLIP_FROM, Comparison, Evidence, log_sum
from matcher.likelihood.kinds import all_evidence
from matcher.likelihood.mated_pair import MatesGroup
from matcher.likelihood.shared_errors import Integrals, SharedGroup, prefixes
from matcher.observations import Of, Reduced

EXACT_AT_LEAST = 32
"""Number of likeliest halves whose shared errors are always integrated exactly."""

INEXACT_MASS = 1e-6
"""Posterior probability that may depend on the closed form (right to a few nats) instead of the exact integral."""

ROUGH_INEXACT_MASS = 1e-4
"""The same for answers without one reading, which only tell what is worth measuring again, and for hints. Such an
answer is right to 0.004; with `INEXACT_MASS` some identifications take 3.6 times as long."""

NEGLIGIBLE_WAY = 1e-6
"""Largest probability of the best half, as a part of the likeliest way's, from which a way to read the observations is
followed further: each costs a density of absent."""

SHARED_OUT = 12
"""Number of likeliest halves for which a group's log-likelihood is split at once, when one of them is needed."""


@dataclass(frozen=True, kw_only=True)
class Part:
    """Dependent observations with their joint log-likelihood under each half.

    ``shares(halves)`` splits it over the readings (readings × halves): each reading's conditional log-likelihood given
    those before it, averaged over both orders, so that the shares add up to the whole. ``drop(i)`` is the part without
    its i-th reading, or None where it is empty. ``ways`` are the ways to read them, as given first; empty where there
    is only this one.
    """

    evidence: tuple[Evidence, ...]
    log_likelihood: Floats
    shares: Callable[[Ints], Floats]
    drop: Callable[[int], Part | None]
    ways: tuple[Way, ...] = ()

    @cached_property
    def readings(self) -> tuple[Reduced, ...]:
        """The observations themselves."""
        return tuple(each.reading for each in self.evidence)

    def probable_ways(self, halves: Sequence[int]) -> list[tuple[Way, list[float]]]:
        """Each way to read the observations, with its probability under each of some halves."""
        if not self.ways:
            return []
        weights = np.array([way.log_weight[list(halves)] for way in self.ways])
        return list(zip(self.ways, np.exp(weights - log_sum(weights, axis=0)).tolist(), strict=True))


@dataclass(frozen=True, kw_only=True)
class Way:
    """One way to read the observations of a part: as given, or as a cause has them. ``log_share`` is ln of its prior,
    with the Jacobian of the correction."""

    cause: Cause | None
    log_share: float
    parts: tuple[Part, ...]

    @cached_property
    def log_weight(self) -> Floats:
        """Log-likelihood of the parts under each half, with the share."""
        return np.asarray(self.log_share + sum(part.log_likelihood for part in self.parts))


@dataclass(frozen=True, kw_only=True)
class Likelihood:
    """All parts; ``total`` is their sum for each half, ``mates`` the group of the other half and pair, if any."""

    columns: Columns
    parts: tuple[Part, ...]
    mates: MatesGroup | None = None
    total: Floats = field(repr=False)

    @cached_property
    def evidence(self) -> tuple[Evidence, ...]:
        """All observations, part by part."""
        return tuple(each for part in self.parts for each in part.evidence)

    @cached_property
    def ways(self) -> tuple[tuple[Way, Likelihood], ...]:
        """The ways to read the observations, as given first, each with its likelihood; empty where no cause was tried.

        Causes that make no listed half likelier than `NEGLIGIBLE_WAY` are left out here: not to be named, and hardly
        anything under absent.
        """
        for mixed in self.parts:
            if mixed.ways:
                kept = [part for part in self.parts if part is not mixed]
                found = [(way, self._of_parts([*kept, *way.parts])) for way in mixed.ways]
                best = [float((each.total + way.log_share + self.columns.log_prior).max()) for way, each in found]
                floor = max(best) + math.log(NEGLIGIBLE_WAY)
                left = [each for each, top in zip(found, best, strict=True) if each[0].cause is None or top > floor]
                share = math.log1p(-math.fsum(way.cause.prior for way, _ in left if way.cause is not None))
                return tuple(
                    (replace(way, log_share=way.log_share if way.cause else share), each) for way, each in left
                )
        return ()

    def _of_parts(self, parts: Sequence[Part]) -> Likelihood:
        total = sum((part.log_likelihood for part in parts), np.zeros(len(self.columns)))
        return replace(self, parts=tuple(parts), total=np.asarray(total))

    def against(self, halves: Sequence[int]) -> list[dict[int, Comparison]]:
        """Every observation compared with the entry of each of some halves, by the observation's index."""
        compared = {each.reading.index: each.against(halves) for each in self.evidence}
        found = [{index: of_halves[i] for index, of_halves in compared.items()} for i in range(len(halves))]
        for part in self.parts:
            for way, probabilities in part.probable_ways(halves):
                for half, probability in zip(found, probabilities, strict=True):
                    if way.cause is not None and probability >= SLIP_FROM:
                        for index in way.cause.indices:
                            half[index] = replace(half[index], slip_probability=probability, slip=way.cause.words)
        return found

    def without(self, part: Part, reading: int) -> Likelihood:
        """The likelihood without one reading of one part."""
        smaller, index = part.drop(reading), part.readings[reading].index
        rest = [_not_told_by(index, other) for other in self.parts if other is not part]
        left = replace(self._of_parts(rest if smaller is None else [*rest, smaller]), mates=None)
        if part.readings[reading].feature not in ("contact_count", "rows"):
            return left
        followed = [replace(each.reading, counted=None) for each in left.evidence if each.reading.counted is not None]
        return left.corrected(followed, ROUGH_INEXACT_MASS) if followed else left

    def corrected(self, corrected: Sequence[Reduced], inexact_mass: float = INEXACT_MASS) -> Likelihood:
        """The likelihood with other observations in place of those of the same index; parts without any stay."""
        changed = {reading.index: reading for reading in corrected}
        touched = [part for part in self.parts if any(reading.index in changed for reading in part.readings)]
        if any(reading.of is not Of.THIS for reading in [*corrected, *(part.readings[0] for part in touched)]):
            touched = list(self.parts)
        kept = [part for part in self.parts if not _among(part, touched)]
        beside = np.asarray(sum((part.log_likelihood for part in kept), np.zeros(len(self.columns))))
        readings = [changed.get(given.index, given) for part in touched for given in part.readings]
        new = likelihood(self.columns, readings, beside=beside, inexact_mass=inexact_mass)
        mates = new.mates if self.mates is None else self.mates
        return replace(self._of_parts([*kept, *new.parts]), mates=mates)

    def with_causes(self) -> Likelihood:
        """The likelihood with every cause summed over that the numbers suggest; the same where there is none."""
        found = list(causes(sorted((each.reading for each in self.evidence), key=lambda reading: reading.index)))
        if not found:
            return self
        ways: dict[Cause | None, tuple[Part, ...]] = {None: self.parts}
        ways |= {cause: self.corrected(cause.corrected).parts for cause in found}
        kept = [part for part in self.parts if all(_among(part, parts) for parts in ways.values())]
        touched = {cause: tuple(part for part in parts if not _among(part, kept)) for cause, parts in ways.items()}
        return self._of_parts([*kept, _mixed(touched)])


def _among(part: Part, parts: Sequence[Part]) -> bool:
    return any(part is each for each in parts)


def _mixed(ways: Mapping[Cause | None, tuple[Part, ...]]) -> Part:
    """One part of all observations that some cause touches, from the parts as given (None) and as each cause has them.

    What the causes add to the observations as given is split equally over those that they touch.
    """
    named = [cause for cause in ways if cause is not None]
    shares: dict[Cause | None, float] = {cause: math.log(cause.prior) + cause.log_jacobian for cause in named}
    shares[None] = math.log1p(-sum(cause.prior for cause in named))
    found = tuple(Way(cause=cause, log_share=shares[cause], parts=parts) for cause, parts in ways.items())
    evidence = tuple(each for part in ways[None] for each in part.evidence)
    log_likelihood = log_sum(np.stack([way.log_weight for way in found]), axis=0)
    touched = np.array([any(each.reading.index in cause.indices for cause in named) for each in evidence])

    def split(halves: Ints) -> Floats:
        given = np.concatenate([part.shares(halves) for part in ways[None]])
        return given + np.outer(touched / max(touched.sum(), 1), log_likelihood[halves] - given.sum(axis=0))

    def drop(dropped: int) -> Part | None:
        index = evidence[dropped].reading.index
        left = [cause for cause in ways if cause is None or index not in cause.indices]
        rest = {cause: tuple(_without(ways[cause], index)) for cause in left}
        return _mixed(rest) if rest[None] else None

    return Part(evidence=evidence, log_likelihood=log_likelihood, shares=split, drop=drop, ways=found)


def _not_told_by(index: int, part: Part) -> Part:
    """The part without the causes that could not be told without an observation of another part."""
    ways = {way.cause: way.parts for way in part.ways if way.cause is None or index not in way.cause.told_by}
    return part if len(ways) == len(part.ways) else _mixed(ways)


def _without(parts: Sequence[Part], index: int) -> Iterator[Part]:
    """The parts without one observation."""
    for part in parts:
        places = [place for place, reading in enumerate(part.readings) if reading.index == index]
        smaller = part.drop(places[0]) if places else part
        if smaller is not None:
            yield smaller


def likelihood(
    columns: Columns,
    observations: Sequence[Reduced],
    *,
    beside: Floats | float = 0.0,
    inexact_mass: float = INEXACT_MASS,
) -> Likelihood:
    """Split the observations into parts and compute their log-likelihood under every half.

    Shared errors are integrated exactly for the likeliest halves, until the others have less than ``inexact_mass`` of
    probability. ``beside`` is the log-likelihood of further observations; it helps to choose these halves. Raises
    UnknownHalfError for a trial fit with an unknown half.
    """
    everything = all_evidence(observations, columns)
    about_mate = tuple(each for each in everything if each.reading.of is not Of.THIS)
    groups, fittings, single = _split([each for each in everything if each.reading.of is Of.THIS])
    parts = [single_part(each, np.log(each.of_halves())) for each in single]
    if fittings:
        parts.append(_fittings_part(fittings, columns))
    mates = MatesGroup.of(about_mate, columns) if about_mate else None
    if mates is not None:
        parts.append(_mates_part(mates))
    base = sum((part.log_likelihood for part in parts), np.zeros(len(columns)))
    parts += _shared_parts(groups, base + beside + columns.log_prior, inexact_mass)
    total = sum((part.log_likelihood for part in parts), np.zeros(len(columns)))
    return Likelihood(columns=columns, parts=tuple(parts), mates=mates, total=np.asarray(total))


def _split(everything: Sequence[Evidence]) -> tuple[list[SharedGroup], tuple[Evidence, ...], list[Evidence]]:
    """Groups of two or more that share an error, the pair of fitting counts, and the rest."""
    by_group: dict[str, list[DimensionEvidence]] = {}
    for each in everything:
        if isinstance(each, DimensionEvidence) and each.reading.shared is not None and each.reading.value is not None:
            by_group.setdefault(each.reading.shared.group, []).append(each)
    groups = [SharedGroup(evidence=tuple(group)) for group in by_group.values() if len(group) > 1]
    exact_counts = {each.reading.feature: each for each in everything if each.reading.count is not None}
    names = ("power_contact_count", "hold_down_count")
    fittings = tuple(exact_counts[name] for name in names if all(n in exact_counts for n in names))
    taken = {id(each) for group in groups for each in group.evidence} | {id(each) for each in fittings}
    return groups, fittings, [each for each in everything if id(each) not in taken]


def single_part(evidence: Evidence, log_likelihood: Floats) -> Part:
    """The part of one observation alone."""
    return Part(
        evidence=(evidence,),
        log_likelihood=log_likelihood,
        shares=lambda halves: log_likelihood[None, halves],
        drop=lambda _: None,
    )


def _fittings_part(fittings: tuple[Evidence, ...], columns: Columns) -> Part:
    power, hold_downs = (each.reading.count_range[0] for each in fittings)
    joint = np.log(fittings_probability(power, hold_downs, columns))
    alone = np.log(np.stack([each.of_halves() for each in fittings]))

    def shares(halves: Ints) -> Floats:
        common = (joint - alone.sum(axis=0)) / len(fittings)
        return np.asarray((alone + common)[:, halves])

    return Part(
        evidence=fittings,
        log_likelihood=joint,
        shares=shares,
        drop=lambda dropped: single_part(fittings[1 - dropped], alone[1 - dropped]),
    )


def _mates_part(group: MatesGroup) -> Part:
    everything = range(len(group.evidence))

    def shares(halves: Ints) -> Floats:
        orders = (everything, everything[::-1])
        forward, backward = (
            np.stack([group.log_likelihood(order[: number + 1])[halves] for number in everything]) for order in orders
        )
        return _over_both_orders(forward, backward)

    def drop(dropped: int) -> Part | None:
        kept = [j for j in everything if j != dropped]
        return _mates_part(group.of_some(kept)) if kept else None

    return Part(evidence=group.evidence, log_likelihood=group.log_likelihood(everything), shares=shares, drop=drop)


def _shared_parts(groups: list[SharedGroup], base: Floats, inexact_mass: float) -> list[Part]:
    """Exact integrals for the likely halves, chosen by ``base`` plus the closed forms; closed forms for the others."""
    if not groups:
        return []
    results = [group.normal.closed_form() for group in groups]
    leaders = _leaders(base + sum(results), inexact_mass)
    integrals = [Integrals(group=group, halves=leaders) for group in groups]
    for each, result in zip(integrals, results, strict=True):
        result[leaders] = each.whole
    total = base + sum(results)
    return [_shared_part(each, result, total - result) for each, result in zip(integrals, results, strict=True)]


def _leaders(approximate: Floats, inexact_mass: float) -> Ints:
    """The likeliest halves by approximate probability, the likeliest first: all but ``inexact_mass``."""
    near = np.arange(len(approximate))
    if len(near) > EXACT_AT_LEAST:
        far = approximate.max() - math.log(len(approximate) / inexact_mass)
        near = np.flatnonzero(approximate > far)  # all others together have less than the mass
    if len(near) < EXACT_AT_LEAST < len(approximate):
        near = np.argpartition(-approximate, range(EXACT_AT_LEAST))[:EXACT_AT_LEAST]
    order = near[np.argsort(-approximate[near], kind="stable")]
    probability = np.exp(approximate[order] - log_sum(approximate))
    remaining = 1.0 - np.cumsum(probability) + probability
    return order[: max(EXACT_AT_LEAST, int(np.count_nonzero(remaining > inexact_mass)))]


def _shared_part(integrals: Integrals, log_likelihood: Floats, beside: Floats) -> Part:
    """``beside`` is the log-probability of the halves from everything else; it selects the likely halves."""
    group = integrals.group
    readings = len(group.evidence)
    known: dict[int, Floats] = {}

    def shares(halves: Ints) -> Floats:
        missing = np.setdiff1d(halves, list(known))
        if len(missing):
            shown = np.argsort(-(beside + log_likelihood), kind="stable")[:SHARED_OUT]
            wanted = missing if known else np.union1d(missing, shown)
            forward, backward = prefixes(group, wanted)
            forward[-1] = backward[-1] = log_likelihood[wanted]
            known.update(zip(wanted.tolist(), _over_both_orders(forward, backward).T, strict=True))
        return np.stack([known[half] for half in halves.tolist()], axis=1)

    @cache
    def without_one() -> Floats:
        """Log-likelihoods without each reading (readings × halves): exact for the halves that are likely then."""
        result = np.stack([group.normal.without(j) for j in range(readings)])
        leaders = [_leaders(beside + each, ROUGH_INEXACT_MASS) for each in result]
        others = Integrals(group=group, halves=np.setdiff1d(np.concatenate(leaders), integrals.halves))
        known = result.copy()
        for each in (integrals, others):
            if len(each.halves):
                known[:, each.halves] = each.without_each()
        for j, likely in enumerate(leaders):
            result[j, likely] = known[j, likely]
        return result

    def drop(dropped: int) -> Part:
        some = group.of_some([j for j in range(readings) if j != dropped])
        if len(some.evidence) == 1:
            return single_part(some.evidence[0], np.log(some.evidence[0].of_halves()))
        return _shared_part(Integrals(group=some, halves=integrals.halves[:0]), without_one()[dropped], beside)

    return Part(evidence=group.evidence, log_likelihood=log_likelihood, shares=shares, drop=drop)


def _over_both_orders(forward: Floats, backward: Floats) -> Floats:
    """Each observation's conditional log-likelihood given those before it, averaged over the order and its reverse.

    Both arguments are log-likelihoods of the first, the first two, … observations of an order.
    """
    there, back = (np.diff(prefixes, axis=0, prepend=0.0) for prefixes in (forward, backward))
    return np.asarray((there + back[::-1]) / 2)
