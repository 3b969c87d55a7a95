"""What the page of a series shows: its variants in a table, how they stack, and with which other series they mate."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from api.web.page.addresses import series_page
from api.web.page.figures import KIND_WORDS, UNKNOWN_KIND, counted, mm
from catalog.records.read_models import HalfRecord, MatingRecord

HEIGHT_STEP = 0.05
"""Heights that differ by less, mm, are one height class: laws fitted to members round differently."""

Column = tuple[str, int, float]
"""Kind, rows, and height in mm (0 where nobody stated it): halves of one construction in one height."""


@dataclass(frozen=True, kw_only=True)
class VariantRow:
    """All halves of one contact count, a cell per column."""

    contacts: int
    cells: tuple[tuple[HalfRecord, ...], ...]

    @property
    def listed(self) -> bool:
        """Whether somebody listed a half of this size."""
        return any(each.origin == "listed" for cell in self.cells for each in cell)


@dataclass(frozen=True, kw_only=True)
class StackRow:
    """One plug (or first half) against every receptacle: words per cell."""

    label: str
    cells: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Stack:
    """How far apart the boards stand, by the columns of the variant table."""

    across: tuple[str, ...]
    rows: tuple[StackRow, ...]

    @property
    def gaps(self) -> bool:
        """Whether some pair of columns has no mating."""
        return any(not cell for row in self.rows for cell in row.cells)


@dataclass(frozen=True, kw_only=True)
class Elsewhere:
    """Another series whose halves mate with these."""

    name: str
    page: str
    matings: str


def column_of(record: HalfRecord) -> Column:
    """Where a half stands in the table."""
    half = record.half
    height = half.dimensions.get("height")
    steps = 0 if height is None else round(height.value / HEIGHT_STEP)
    return half.half_kind or "", half.rows, steps * HEIGHT_STEP


def columns_of(members: Iterable[HalfRecord]) -> list[Column]:
    """The columns in order: kind, rows, height."""
    return sorted({column_of(record) for record in members})


def column_words(column: Column, among: Sequence[Column]) -> str:
    """A column's heading; rows and height only where the series has several."""
    kind, rows, height = column
    said = [KIND_WORDS.get(kind, UNKNOWN_KIND)]
    if len({other[1] for other in among}) > 1:
        said.append(counted(rows, "row"))
    if height and len({other[2] for other in among if other[0] == kind}) > 1:
        said.append(f"{mm(height)} mm high")
    return ", ".join(said)


def variant_rows(members: Sequence[HalfRecord], columns: Sequence[Column]) -> tuple[VariantRow, ...]:
    """The table's rows, fewest contacts first."""
    cells: dict[int, dict[Column, list[HalfRecord]]] = defaultdict(lambda: defaultdict(list))
    for record in sorted(members, key=lambda each: each.key):
        cells[record.half.contact_count][column_of(record)].append(record)
    return tuple(
        VariantRow(contacts=contacts, cells=tuple(tuple(cells[contacts][column]) for column in columns))
        for contacts in sorted(cells)
    )


def stack_of(
    members: Mapping[str, HalfRecord], matings: Iterable[MatingRecord], columns: Sequence[Column]
) -> Stack | None:
    """Stack heights among the members; None where none of them mate."""
    heights: dict[tuple[Column, Column], Counter[str]] = defaultdict(Counter)
    for record in matings:
        mating = record.mating
        if mating.half in members and mating.other in members:
            ends = sorted(column_of(members[key]) for key in (mating.half, mating.other))
            stated = mating.stack_height
            heights[ends[0], ends[1]]["not stated" if stated is None else f"{mm(stated.value)} mm"] += 1
    if not heights:
        return None
    down = [column for column in columns if any(column == first for first, _ in heights)]
    across = [column for column in columns if any(column == second for _, second in heights)]
    rows = tuple(
        StackRow(
            label=column_words(first, columns),
            cells=tuple(_heights(heights.get((first, second), Counter())) for second in across),
        )
        for first in down
    )
    return Stack(across=tuple(column_words(column, columns) for column in across), rows=rows)


def _heights(found: Counter[str]) -> str:
    if len(found) == 1:
        (height, sizes) = next(iter(found.items()))
        return f"{height}, {counted(sizes, 'size')}"
    return "; ".join(f"{height} ({counted(times, 'size')})" for height, times in sorted(found.items()))


def elsewhere(
    members: Mapping[str, HalfRecord], halves: Mapping[str, HalfRecord], matings: Iterable[MatingRecord]
) -> tuple[Elsewhere, ...]:
    """Other series with which members mate, the one with most matings first."""
    found: Counter[tuple[str, str]] = Counter()
    for record in matings:
        ends = (record.mating.half, record.mating.other)
        outside = [key for key in ends if key not in members and key in halves]
        if len(outside) == 1 and any(key in members for key in ends):
            other = halves[outside[0]]
            found[other.series_key, f"{other.half.maker} {other.half.series}"] += 1
    return tuple(
        Elsewhere(name=name, page=series_page(key), matings=counted(times, "mating"))
        for (key, name), times in found.most_common()
    )
