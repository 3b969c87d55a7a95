"""The page of a series: its variants, its laws in words and drawn through the members, how it stacks, its standing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.service.dependencies import CatalogueDep, SnapshotDep
from api.web.entries.evidence_view import evidence_of
from api.web.entries.half_facts import shared_facts
from api.web.entries.law_plot import Point, law_plot
from api.web.entries.laws_view import LawGroup, Line, law_groups, law_rows, line_for
from api.web.entries.series_view import HEIGHT_STEP, column_words, columns_of, elsewhere, stack_of, variant_rows
from api.web.page import freshness
from api.web.page.addresses import CATALOGUE, asked, history_of, series_page
from api.web.page.entry_lookup import unknown_entry
from api.web.page.figures import label
from api.web.page.history import last_happened, waiting_changes
from api.web.page.rendering import VisitDep
from catalog.evidence.assessment import Assessment
from catalog.evidence.retrieval import assessment_of, assessments
from catalog.model.errors import NotFoundError
from catalog.records import queries
from catalog.records.read_models import HalfRecord, SeriesRecord, assessed_of
from catalog.snapshot.snapshot import Snapshot
from matcher.features import DIMENSIONS

FIRST_PLOTTED = ("body_length", "overall_length")
"""The dimension that is plotted unless another is asked for: the first of these that the laws have."""

SHOWN_VARIANTS = 150
"""Halves up to which sizes that nobody listed are shown as well; of more the page says how many, and links to all."""

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
    """The series of this key, in whatever state; ``plot`` is the dimension whose law is drawn."""
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
        "waiting": waiting_changes(session, "series", key),
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
    """The plot of one dimension, and which others could be plotted: those that grow, or that people measured."""
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
    """Every member with this dimension, and what was measured of it."""
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
