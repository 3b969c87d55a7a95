"""The machine review of one entry: every check in turn.

For a series everything that its laws make is reviewed, and each finding is reported once per law.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from catalog.model.entries import Half, KindLaw, Mating, Series
from catalog.model.series_laws import expand
from catalog.review.contradictions import impossible_geometry
from catalog.review.dimensions import label
from catalog.review.duplicates import duplicates
from catalog.review.findings import RANK, Code, Finding
from catalog.review.names import known_as, names_of, stem
from catalog.review.neighbours import Neighbours
from catalog.review.outliers import expectations, off_laws
from catalog.review.slips import UNIT_FACTORS, out_of_proportion
from catalog.review.stacks import mating_findings
from catalog.review.tolerances import tolerances_of_half, tolerances_of_mating
from matcher.columns.dimension_laws import SMALL_CHANGE
from matcher.features import FEATURES


def review(entry: Half | Series | Mating, around: Neighbours) -> tuple[Finding, ...]:
    """All findings about this entry, severe ones first.

    A series is expanded, its halves and matings are reviewed, and their findings are grouped by law. Raises EntryError
    for laws that cannot be expanded.
    """
    if isinstance(entry, Series):
        found = series_findings(entry, around)
    elif isinstance(entry, Half):
        found = half_findings(entry, around)
    else:
        found = _mating(entry, around)
    return tuple(sorted(found, key=lambda finding: -RANK[finding.severity]))


def half_findings(half: Half, around: Neighbours) -> Iterator[Finding]:
    """Everything about one half, in the order of the checks."""
    law = expectations(half, around)
    yield from impossible_geometry(half)
    yield from off_laws(half, law)
    yield from out_of_proportion(half, frozenset(law))
    yield from duplicates(half, around)
    yield from tolerances_of_half(half)


def _mating(mating: Mating, around: Neighbours) -> Iterator[Finding]:
    """If a half is unknown the pair is not checked here; it is refused elsewhere."""
    first, second = around.mates.get(mating.half), around.mates.get(mating.other)
    if first is not None and second is not None:
        yield from mating_findings(mating, first, second)
    yield from tolerances_of_mating(mating)


@dataclass(frozen=True, kw_only=True)
class _Made:
    """A half that the laws generate, with the kind and class that generate it."""

    half: Half
    kind: int
    height: int
    law: KindLaw

    @property
    def code(self) -> str:
        return self.law.classes[self.height].code

    def path(self, field: str) -> str:
        """Path within the series of the law that gives a field of the half."""
        own, _, rest = field.partition(".")
        name = rest.split(".")[0]
        if own == "dimensions" and name in self.law.classes[self.height].dimensions:
            return f"kinds[{self.kind}].classes[{self.height}].{field}"
        return f"kinds[{self.kind}].{field}"


def series_findings(series: Series, around: Neighbours) -> Iterator[Finding]:
    """Findings of all halves and matings of a series, of its laws, and of listed halves that the laws contradict."""
    made = list(_made(series))
    yield from _slopes(series)
    near = _Index([*(each.half for each in made), *around.alike], [*(m.half for m in made), *around.namesakes])
    halves = (
        (each.path(finding.field), finding)
        for each in made
        for finding in half_findings(each.half, near.around(each.half))
    )
    yield from _grouped(halves, len(made), "halves")
    matings = list(expand(series).matings)
    yield from _grouped(_of_matings(series, matings, made), len(matings), "matings")
    keys = {each.half.key for each in made}
    yield from _contradicted(series, tuple(half for half in around.siblings if half.key not in keys))


def _made(series: Series) -> Iterator[_Made]:
    """Each half once, with the law that made it: kind by kind, class by class, as `expand` goes."""
    for number, law in enumerate(series.kinds):
        halves = expand(series.model_copy(update={"kinds": (law,), "stack": ()})).halves
        for place, half in enumerate(halves):
            yield _Made(half=half, kind=number, height=place // len(law.contact_counts), law=law)


class _Index:
    """An index of halves, so that each half is compared with few others."""

    def __init__(self, alike: Iterable[Half], namesakes: Iterable[Half]) -> None:
        self._by_contacts: dict[tuple[int, int], dict[str, Half]] = defaultdict(dict)
        for half in alike:
            self._by_contacts[half.contact_count, half.rows][half.key] = half
        self._by_name: dict[str, dict[str, Half]] = defaultdict(dict)
        for half in namesakes:
            for name in known_as(half):
                self._by_name[stem(name)][half.key] = half

    def around(self, half: Half) -> Neighbours:
        alike = self._by_contacts[half.contact_count, half.rows]
        named = {key: other for name in names_of(half) for key, other in self._by_name.get(stem(name), {}).items()}
        return Neighbours(
            alike=tuple(other for key, other in alike.items() if key != half.key),
            namesakes=tuple(other for key, other in named.items() if key != half.key),
        )


def _slopes(series: Series) -> Iterator[Finding]:
    """Along the rows a dimension grows by one pitch per position."""
    for number, law in enumerate(series.kinds):
        pitch = law.dimensions.get("pitch")
        reach = max(law.sizes) - min(law.sizes)
        for name, each in law.dimensions.items():
            if pitch is None or not FEATURES[name].along_rows:
                continue
            if abs(each.slope - pitch.intercept) * reach >= SMALL_CHANGE:
                yield _slope(f"kinds[{number}].dimensions.{name}", name, law, each.slope, pitch.intercept)


def _slope(field: str, name: str, law: KindLaw, slope: float, pitch: float) -> Finding:
    per_contact = law.rows > 1 and abs(slope * law.rows - pitch) < 1e-6
    slipped = any(abs(slope * factor - pitch) < 1e-3 * pitch for factor in UNIT_FACTORS)
    why = ", as if counted per contact" if per_contact else ", as if in another unit" if slipped else ""
    return Finding(
        code=Code.LAW_SLOPE,
        severity="severe" if per_contact or slipped or slope == 0 else "warning",
        field=field,
        value=slope,
        expected=pitch,
        message=f"the {label(name)} grows by {slope:g} mm per position, the pitch is {pitch:g} mm{why}",
        remedy="The slope is mm per position of one row; along the rows it is nearly always equal to the pitch",
    )


def _of_matings(series: Series, matings: Sequence[Mating], made: Sequence[_Made]) -> Iterator[tuple[str, Finding]]:
    by_key = {each.half.key: each for each in made}
    for mating in matings:
        first, second = by_key[mating.half], by_key[mating.other]
        place = _pair_of(series, mating, first, second)
        for finding in (*mating_findings(mating, first.half, second.half), *tolerances_of_mating(mating)):
            yield _stack_path(series, place, finding.field), finding


def _pair_of(series: Series, mating: Mating, first: _Made, second: _Made) -> int:
    """Index of the stack pair that generates a mating: by both classes, and by its height if there are several."""
    codes = (first.code, second.code) if first.law.half_kind != "receptacle" else (second.code, first.code)
    turned = (codes, codes[::-1]) if first.law.half_kind == "hermaphroditic" else (codes,)
    places = [place for place, pair in enumerate(series.stack) if (pair.plug, pair.receptacle) in turned]
    return next((p for p in places if series.stack[p].stack_height == mating.stack_height), places[0])


def _stack_path(series: Series, place: int, field: str) -> str:
    if field.startswith("stack_height.") and series.stack[place].stack_height is None:
        return "stack_tolerance"
    return f"stack[{place}]" if field == "other" else f"stack[{place}].{field}"


def _contradicted(series: Series, siblings: tuple[Half, ...]) -> Iterator[Finding]:
    """Listed halves of the series that contradict its laws: either they are built differently or a law is wrong."""
    found: Mapping[str, list[tuple[Half, Finding]]] = defaultdict(list)
    for half in siblings:
        for finding in off_laws(half, expectations(half, Neighbours(series=series))):
            found[finding.field].append((half, finding))
    for field, group in found.items():
        worst = max((finding for _, finding in group), key=_badness)
        keys = tuple(dict.fromkeys(half.key for half, _ in group))
        yield replace(
            worst,
            code=Code.OFF_LAW,
            severity="warning",
            field=f"kinds.{field}",
            message=f"{len(keys)} listed halves of this series do not obey the law, e.g. {keys[0]}: {worst.message}",
            remedy="Correct the law, or list those halves under another series",
            others=keys,
            concerns=len(keys),
        )


def _grouped(found: Iterable[tuple[str, Finding]], total: int, what: str) -> Iterator[Finding]:
    """One finding per code and law: the worst, and the number of findings it represents."""
    groups: dict[tuple[Code, str], list[Finding]] = defaultdict(list)
    for path, finding in found:
        groups[finding.code, path].append(finding)
    for (_, path), group in groups.items():
        worst = max(group, key=_badness)
        share = f" ({len(group)} of {total} {what}; this is one of them)" if len(group) > 1 else ""
        others = dict.fromkeys(key for finding in group for key in finding.others)
        yield replace(worst, field=path, message=worst.message + share, others=tuple(others), concerns=len(group))


def _badness(finding: Finding) -> tuple[int, float]:
    """Severity, then how far the value is off; for suggestions, how large the suggested value is."""
    offered = finding.expected if isinstance(finding.expected, float) else 0.0
    stated = finding.value if isinstance(finding.value, float) else 0.0
    return RANK[finding.severity], abs(offered - stated)
