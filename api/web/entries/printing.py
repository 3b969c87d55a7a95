"""Outlines to print at 1:1 and hold the part against, with a ruler that shows whether the printer scaled them."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query
from markupsafe import Markup
from starlette.responses import Response

from api.drawing.geometry import DrawingError
from api.drawing.print_sheet import PAPERS, RULER_MM, print_sheets
from api.drawing.size_sources import sizes_of
from api.drawing.sizes import Sizes
from api.fitting.paper_check import pair_of, paper_check
from api.service.dependencies import CatalogueDep, SnapshotDep
from api.web.page import freshness
from api.web.page.addresses import COMPARE, PAPER_CHECK, of_halves
from api.web.page.entry_lookup import Chosen, KeysQuery, chosen_halves
from api.web.page.figures import counted
from api.web.page.rendering import VisitDep
from catalog.records.read_models import HalfRecord

MOST = 12
"""Halves on one print: a shortlist to hold a part against, not the catalogue."""

USUAL = "A4"

router = APIRouter(include_in_schema=False)


@router.get("/print")
def print_page(
    visit: VisitDep,
    catalogue: CatalogueDep,
    snapshot: SnapshotDep,
    half: KeysQuery = None,
    paper: Annotated[str, Query(max_length=20)] = USUAL,
    lands: Annotated[str, Query(max_length=5)] = "",
) -> Response:
    """Halves by key on ``paper``; ``lands`` "yes" draws the lands of their boards too."""
    kept = freshness.kept(visit, snapshot.version)
    if kept is not None:
        return kept
    with catalogue.reading() as session:
        chosen = chosen_halves(session, snapshot, half)
    values = _printed(chosen, paper if paper in PAPERS else USUAL, lands == "yes")
    page = visit.page("print.html", status=200 if values["sheets"] else 422, **values)
    return freshness.keep(visit, snapshot.version, page) if values["sheets"] else page


@router.get("/print.pdf")
def paper_check_pdf(
    visit: VisitDep,
    catalogue: CatalogueDep,
    snapshot: SnapshotDep,
    half: KeysQuery = None,
    paper: Annotated[str, Query(max_length=20)] = USUAL,
) -> Response:
    """The same halves as a PDF with their safest mates, at 1:1 and enlarged."""
    with catalogue.reading() as session:
        chosen = chosen_halves(session, snapshot, half)
    try:
        made = paper_check([pair_of(snapshot, record) for record in chosen.records[:MOST]], paper)
    except DrawingError as error:
        values = _printed(chosen, USUAL, False) | {"refused": [f"{error.message}; {error.remedy}."], "sheets": []}
        return visit.page("print.html", status=422, **values)
    named = {"Content-Disposition": 'inline; filename="paper-check.pdf"'}
    return Response(made, media_type="application/pdf", headers=named)


def _printed(chosen: Chosen, paper: str, with_lands: bool) -> dict[str, Any]:
    """The sheets, and for every half that is not on them the reason."""
    fitting: list[Sizes] = []
    refused = [f"No half has the key {key}." for key in chosen.unknown]
    if len(chosen.records) > MOST:
        refused.append(
            f"{counted(len(chosen.records), 'half', 'halves')} are too many for one print; these are the first {MOST}."
        )
    for record in chosen.records[:MOST]:
        fault = _fault(record, paper, with_lands)
        if fault is None:
            fitting.append(sizes_of(record.half))
        else:
            refused.append(f"{record.half.part_number}: {fault.message}; {fault.remedy}.")
    return {
        "sheets": [Markup(svg) for svg in print_sheets(fitting, paper, with_lands=with_lands)] if fitting else [],
        "printed": counted(len(fitting), "half", "halves"),
        "refused": refused,
        "keys": chosen.keys,
        "paper": paper,
        "papers": PAPERS,
        "lands": with_lands,
        "ruler_mm": RULER_MM,
        "pdf": of_halves(PAPER_CHECK, chosen.keys, paper=paper),
        "compare": of_halves(COMPARE, chosen.keys) if len(chosen.keys) > 1 else "",
    }


def _fault(record: HalfRecord, paper: str, with_lands: bool) -> DrawingError | None:
    """Why a half does not fit on this paper; None: it fits."""
    try:
        print_sheets([sizes_of(record.half)], paper, with_lands=with_lands)
    except DrawingError as error:
        return error
    return None
