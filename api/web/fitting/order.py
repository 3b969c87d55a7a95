"""The order note of a half that was identified, as a page and as a PDF."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from api.fitting.order_note import note_pdf, order_note, sections
from api.identification.mates import by_part, listed_mates
from api.observations.checking import form_of
from api.schemas.fitting.order_note import OrderNote, OrderNoteRequest
from api.service.dependencies import SnapshotDep
from api.service.problems import ApiError
from api.web.bench.parameters import query_of
from api.web.bench.request import Bench, read
from api.web.page.entry_lookup import unknown_entry
from api.web.page.forms import Filled, Form, number
from api.web.page.rendering import Visit, VisitDep
from catalog.snapshot.snapshot import Snapshot

OWN = ("mate", "quantity", "tools", "said")
"""Fields of this page; all others are those of the bench."""

TOOLS = (
    ("iron", "a soldering iron with a fine tip"),
    ("hot_air", "hot air"),
    ("hot_plate", "a hot plate"),
    ("oven", "a reflow oven"),
    ("microscope", "a microscope"),
)

router = APIRouter(include_in_schema=False)


@router.get("/halves/{key}/order")
def order_page(key: str, visit: VisitDep, snapshot: SnapshotDep) -> Response:
    """The note for a half; the address holds the observations as on the bench, the mate, the quantity and the tools."""
    if key not in snapshot.halves:
        return unknown_entry(visit, snapshot, key, "half")
    form, bench = _asked(visit, snapshot)
    note, filled = _note(snapshot, key, form, bench)
    mates = by_part(listed_mates(snapshot, key)).values()
    return visit.page(
        "order.html",
        status=422 if filled.errors else 200,
        record=snapshot.halves[key],
        note=note,
        sections=list(sections(note)) if note else (),
        filled=filled,
        mates=[(mate.id, mate.part_number) for mate in mates],
        tools=TOOLS,
        chosen=form.many("tools"),
        observed=[pair for pair in form.pairs if pair[0] not in OWN],
        unread=bench.errors,
        query=query_of(pair for pair in form.pairs if pair[1]),
    )


@router.get("/halves/{key}/order.pdf")
def order_pdf(key: str, visit: VisitDep, snapshot: SnapshotDep) -> Response:
    """The same note as a PDF; where it cannot be made, the page with what is wrong."""
    if key in snapshot.halves:
        form, bench = _asked(visit, snapshot)
        note, _ = _note(snapshot, key, form, bench)
        if note is not None:
            named = {"Content-Disposition": 'inline; filename="order-note.pdf"'}
            return Response(note_pdf(note), media_type="application/pdf", headers=named)
    return order_page(key, visit, snapshot)


def _asked(visit: Visit, snapshot: Snapshot) -> tuple[Form, Bench]:
    form = Form(pairs=tuple(visit.request.query_params.multi_items()))
    return form, read(snapshot, [pair for pair in form.pairs if pair[0] not in OWN])


def _note(snapshot: Snapshot, key: str, form: Form, bench: Bench) -> tuple[OrderNote | None, Filled]:
    given: dict[str, Any] = bench.request.model_dump(mode="json", exclude_defaults=True) | {"half": key}
    given |= {"mate": form.one("mate")} if form.one("mate") else {}
    given |= {"quantity": number(form.one("quantity"), int)} if form.one("quantity") else {}
    given |= {"tools": form.many("tools")} if form.many("tools") else {}
    try:
        return order_note(snapshot, form_of(OrderNoteRequest, given)), Filled(form=form)
    except ApiError as error:
        return None, Filled(form=form, errors=error.errors)
