"""The page of a series: its variants, its laws in words and as a plot, its stack heights, its standing."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.service.dependencies import CatalogueDep, SnapshotDep
from api.web.entries.evidence_view import evidence_of
from api.web.entries.half_facts import shared_facts
from api.web.entries.law_plot import Point, law_plot
from api.web.entries.laws_view import LawGroup, Line, law_groups, law_rows, line_for
from api.web.page import freshness
from api.web.page.addresses import CATALOGUE, asked, history_of, series_page
from api.web.page.entry_lookup import unknown_entry
from api.web.page.figures import KIND_WORDS, UNKNOWN_KIND, counted, label, mm
from api.web.page.history import last_happened, pending_changes
from api.web.page.rendering import VisitDep
from catalog.evidence.assessment import Assessment
from catalog.evidence.retrieval import assessment_of, assessments
from catalog.model.errors import NotFoundError
from catalog.records import queries
from catalog.records.read_models import HalfRecord, MatingRecord, SeriesRecord, assessed_of
from catalog.snapshot.snapshot import Snapshot
from matcher.features import DIMENSIONS

FIRST_PLOTTED = ("body_length", "overall_length")
"""The dimension plotted first: the first of these that has a law."""

SHOWN_VARIANTS = 150
"""Up to this many halves the page shows unlisted sizes too; of more it says how many there are, and links to them."""

router = APIRouter(include_in_schema=False)


@router.get("/series/{key}")
def series(
    key: str,
    visit: VisitDep,
    catalogue: CatalogueDep,
    snapshot: SnapshotDep,
    plot: Annotated[str, Query(max_length=40)] = "",
    sizes: Annotated[str, Query(max_length=10)] = "",
    evidence: Annotated[str, Query(max_length=10)] = "",
) -> Response:
    """The series of this key, in any state; ``plot`` is the dimension whose law is drawn."""
    kept = freshness.kept(visit, snapshot.version)
    if kept is not None:
        return kept
    members = {each.key: each for each in snapshot.halves.values() if each.series_key == key}
    listed = [each for each in members.values() if each.origin == "listed"]
    with catalogue.reading() as session:
        try:
            record = queries.get_series(session, key)
        except NotFoundError:
            return unknown_entry(visit, snapshot, key, "series")
        judged = assessments(session, [assessed_of(each) for each in listed])
        values = _said(session, record, evidence == "all")
    laws = law_groups(record.series, [each.half for each in listed])
    page = visit.page(
        "series.html",
        **values,
        **_of_members(snapshot, record, members, sizes == "all"),
        laws=laws,
        law_rows=law_rows(laws),
        sources=sorted({group.source for group in laws}),
        **_plotted(laws, members, judged, plot),
    )
    return freshness.keep(visit, snapshot.version, page)


def _said(session: Session, record: SeriesRecord, everything: bool) -> dict[str, Any]:
    key, content = record.key, record.series
    assessment = assessment_of(session, assessed_of(record))
    return {
        "record": record,
        "series": content,
        "evidence": evidence_of(session, "series", key, assessment, content.datasheet, everything),
        "history": last_happened(session, "series", key),
        "pending": pending_changes(session, "series", key),
        "facts": shared_facts(content, content.aliases),
        "maker_page": asked(CATALOGUE, {"maker": content.maker}),
        "links": {
            "history": history_of("series", key),
            "evidence": series_page(key, "?evidence=all#trust"),
            "halves": asked(CATALOGUE, {"series": key}),
            "revise": series_page(key, "/revise"),
        },
    }


def _of_members(
    snapshot: Snapshot, record: SeriesRecord, members: Mapping[str, HalfRecord], every: bool
) -> dict[str, Any]:
    columns = columns_of(members.values())
    rows = variant_rows(list(members.values()), columns)
    every = every or len(members) <= SHOWN_VARIANTS
    listed = sum(each.origin == "listed" for each in members.values())
    return {
        "columns": [column_words(column, columns) for column in columns],
        "variants": [row for row in rows if every or row.listed],
        "size_count": len(rows),
        "all_sizes": series_page(record.key, "?sizes=all#variants"),
        "listed_count": listed,
        "inferred_count": len(members) - listed,
        "stack": stack_of(members, snapshot.matings, columns),
        "elsewhere": elsewhere(members, snapshot.halves, snapshot.matings),
        "here": series_page(record.key),
    }


def _plotted(
    laws: Sequence[LawGroup], members: Mapping[str, HalfRecord], judged: Mapping[str, Assessment], asked_for: str
) -> dict[str, Any]:
    """The plot of one dimension, and the others to choose from: those that grow, or that people measured."""
    lines = [line for group in laws for line in group.lines]
    measured = {name for each in judged.values() for name in each.estimates}
    own = {line.feature for line in lines}
    choices = [name for name in DIMENSIONS if name in own and (name in measured or _grows(lines, name))]
    usual = next((name for name in FIRST_PLOTTED if name in choices), choices[0] if choices else "")
    chosen = asked_for if asked_for in choices else usual
    of_it = [line for line in lines if line.feature == chosen]
    points = list(_points(chosen, of_it, members, judged)) if chosen else []
    return {
        "plot": law_plot(chosen, of_it, points) if chosen else None,
        "plotted": chosen,
        "plotted_label": label(chosen) if chosen else "",
        "choices": [(name, label(name)) for name in choices],
        "plot_kinds": sorted({point.kind for point in points}),
        "plot_measured": sum(point.measured for point in points),
    }


def _grows(lines: Sequence[Line], name: str) -> bool:
    return any(line.grows for line in lines if line.feature == name)


def _points(
    feature: str, lines: Sequence[Line], members: Mapping[str, HalfRecord], judged: Mapping[str, Assessment]
) -> Iterator[Point]:
    """Every member with this dimension, and its measured values."""
    for key, record in members.items():
        half = record.half
        size, kind = half.contacts_per_row, half.half_kind or ""
        line = line_for(lines, half, HEIGHT_STEP)
        law = None if line is None else line.at(size)
        stated = half.dimensions.get(feature)
        if stated is not None:
            yield Point(
                kind=kind,
                positions=size,
                value=stated.value,
                off=None if law is None else stated.value - law,
                inferred=record.origin == "inferred",
            )
        estimate = judged[key].estimates.get(feature) if key in judged else None
        if estimate is not None:
            found = estimate.measured
            off = None if law is None else found.value - law
            yield Point(kind=kind, positions=size, value=found.value, off=off, measured=True, u=found.expanded)


HEIGHT_STEP = 0.05
"""Heights that differ by less, mm, are one height class: laws fitted to members round differently."""

Column = tuple[str, int, float]
"""Kind, rows, and height in mm (0 where it is not stated): halves of one construction in one height."""


@dataclass(frozen=True, kw_only=True)
class VariantRow:
    """All halves of one contact count, a cell per column."""

    contacts: int
    cells: tuple[tuple[HalfRecord, ...], ...]

    @property
    def listed(self) -> bool:
        """Whether a half of this size is listed."""
        return any(each.origin == "listed" for cell in self.cells for each in cell)


@dataclass(frozen=True, kw_only=True)
class StackRow:
    """One plug (or first half) against every receptacle: words per cell."""

    label: str
    cells: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Stack:
    """The distance between the boards, by the columns of the variant table."""

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
    """The column of a half."""
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
