"""The laws of a series in words and as lines: stated by its maker, or fitted to its members."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from api.schemas.words import BOUND_WORDS
from api.web.page.figures import KIND_WORDS, UNKNOWN_KIND, counted, label, mm, signed
from catalog.model.entries import Half, KindLaw, Series
from catalog.model.entry_parts import DimensionLaw
from catalog.model.inferred_variants import Members, member_groups
from matcher.features import DIMENSIONS
from matcher.plus_minus import DRAWING

STATED = "stated by the source of the series"

FLAT = 1e-9
"""A slope below this, mm per position, counts as none."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """One law: dimension = intercept + slope × contacts per row, mm. ``kind`` and ``name`` say for which halves;
    ``tolerance`` is the stated one."""

    feature: str
    name: str
    kind: str
    rows: int
    intercept: float
    slope: float
    heights: tuple[float, ...] = ()
    tolerance: float | None = None
    bound: str = "nominal"

    @property
    def grows(self) -> bool:
        """Whether the dimension changes with the number of contacts."""
        return abs(self.slope) > FLAT

    def at(self, positions: int) -> float:
        """The law's value, mm."""
        return self.intercept + self.slope * positions

    @property
    def words(self) -> str:
        """The law in words."""
        if not self.grows:
            text = f"{mm(self.intercept)} mm at every size"
        elif abs(self.intercept) < FLAT:
            text = f"{mm(self.slope)} mm per contact of a row"
        else:
            text = f"{signed(self.intercept).lstrip('+')} mm plus {mm(self.slope)} mm per contact of a row"
        tolerance = f", {DRAWING} ± {mm(self.tolerance)} mm" if self.tolerance is not None else ""
        return f"{BOUND_WORDS[self.bound]} {text}{tolerance}".strip()


@dataclass(frozen=True, kw_only=True)
class LawGroup:
    """The laws of one kind (and height class), and where they come from."""

    name: str
    kind: str
    source: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, kw_only=True)
class LawRow:
    """One dimension: its laws in words, each with its range of validity."""

    label: str
    laws: tuple[tuple[str, str], ...]


def law_rows(groups: Sequence[LawGroup]) -> tuple[LawRow, ...]:
    """The laws by dimension; a law that holds for all is written once."""
    rows = []
    for feature in DIMENSIONS:
        own = [line for group in groups for line in group.lines if line.feature == feature]
        if own:
            words = dict.fromkeys(line.words for line in own)
            laws = tuple((text, _holds_for([line for line in own if line.words == text], groups)) for text in words)
            rows.append(LawRow(label=label(feature), laws=laws))
    return tuple(rows)


def _holds_for(lines: Sequence[Line], groups: Sequence[LawGroup]) -> str:
    """What laws hold for: "all", whole kinds by name, or single groups by name."""
    names = [line.name for line in lines]
    if len(names) == len(groups):
        return "all"
    said = []
    for kind in dict.fromkeys(line.kind for line in lines):
        own = [line.name for line in lines if line.kind == kind]
        every = [group.name for group in groups if group.kind == kind]
        said += [f"every {KIND_WORDS.get(kind, UNKNOWN_KIND).lower()}"] if len(own) == len(every) > 1 else own
    return "; ".join(said)


def law_groups(series: Series, listed: Sequence[Half]) -> tuple[LawGroup, ...]:
    """The stated laws; where there are none, those fitted to three or more members."""
    if series.kinds:
        return tuple(group for law in series.kinds for group in _stated(law))
    return tuple(_fitted(group) for group in member_groups(listed))


def _stated(law: KindLaw) -> Iterator[LawGroup]:
    several = len(law.classes) > 1
    for height in law.classes:
        laws = {**law.dimensions, **height.dimensions}
        tall = "".join(f", {mm(each)} mm high" for each in _constant(laws.get("height")))
        name = KIND_WORDS[law.half_kind] + (f", class {height.code}{tall}" if several else "")
        lines = tuple(_line(name, law, laws, feature) for feature in DIMENSIONS if feature in laws)
        yield LawGroup(name=name, kind=law.half_kind, source=STATED, lines=lines)


def _line(name: str, kind: KindLaw, laws: Mapping[str, DimensionLaw], feature: str) -> Line:
    law = laws[feature]
    return Line(
        feature=feature,
        name=name,
        kind=kind.half_kind,
        rows=kind.rows,
        intercept=law.intercept,
        slope=law.slope,
        heights=_constant(laws.get("height")),
        tolerance=law.tolerance,
        bound=law.bound,
    )


def _constant(law: DimensionLaw | None) -> tuple[float, ...]:
    return () if law is None or abs(law.slope) > FLAT else (law.intercept,)


def _fitted(group: Members) -> LawGroup:
    half = group.first
    height = group.laws.get("height")
    name = KIND_WORDS.get(half.half_kind or "", UNKNOWN_KIND)
    if height is not None:
        name += f", {mm(height.value(half.contacts_per_row))} mm high"
    lines = tuple(
        Line(
            feature=feature,
            name=name,
            kind=half.half_kind or "",
            rows=half.rows,
            intercept=group.laws[feature].intercept,
            slope=group.laws[feature].slope,
            heights=() if height is None else (height.value(half.contacts_per_row),),
        )
        for feature in DIMENSIONS
        if feature in group.laws
    )
    source = f"not stated, but fitted to {counted(len(group.halves), 'listed half', 'listed halves')}"
    return LawGroup(name=name, kind=half.half_kind or "", source=source, lines=lines)


def line_for(lines: Sequence[Line], half: Half, same_height_mm: float) -> Line | None:
    """The law that a half obeys: of its kind and rows, and of its height where the laws differ in that."""
    own = [line for line in lines if line.kind == (half.half_kind or "") and line.rows == half.rows]
    height = half.dimensions.get("height")
    if height is not None and len(own) > 1:
        own = [
            line
            for line in own
            if not line.heights or any(abs(each - height.value) < same_height_mm for each in line.heights)
        ] or own
    return own[0] if own else None
