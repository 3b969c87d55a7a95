"""Routes for what follows identification."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Depends

from api.fitting.inquiry import inquiry
from api.fitting.needed import needed
from api.fitting.order_note import order_note
from api.rest.identification import REFUSALS
from api.schemas.examples import IDENTIFY_EXAMPLES, described
from api.schemas.inquiry import Inquiry
from api.schemas.needed import NeededAnswer, NeededRequest
from api.schemas.order_note import OrderNote, OrderNoteRequest
from api.schemas.requests import IdentifyRequest
from api.service.dependencies import SnapshotDep, require_json
from api.service.responses import documented

router = APIRouter(tags=["fitting"], dependencies=[Depends(require_json)], responses=documented(*REFUSALS))


@router.post("/inquiry", summary="An inquiry about a half that is not in the catalogue")
def make_inquiry(
    specimen: Annotated[IdentifyRequest, Body(openapi_examples=described(IDENTIFY_EXAMPLES))], snapshot: SnapshotDep
) -> Inquiry:
    """What was measured with its uncertainty, what the mate must be, and which halves it is not: as figures, as text to
    send, and as a drawing. Nothing is sent or saved.
    """
    return inquiry(snapshot, specimen)


@router.post("/mates", summary="What is needed to connect to a half")
def what_is_needed(asked: NeededRequest, snapshot: SnapshotDep) -> NeededAnswer:
    """The mates of a half or of each half of a shortlist, those that go into the room first; what can take its place;
    for an extension, both halves and by how much it raises the upper board.

    The room is judged in the worst case over the tolerances: `tight` fits as a rule, but not always. Where no mate is
    listed, `required_mate` says what it must be.
    """
    return needed(snapshot, asked)


@router.post("/order-note", summary="An order note with its checks")
def make_order_note(asked: OrderNoteRequest, snapshot: SnapshotDep) -> OrderNote:
    """What to order for a half that was identified, with spares and what its order codes leave open; what was not
    verified; whether it can be soldered with the tools at hand; and the checks on arrival and after soldering.
    """
    return order_note(snapshot, asked)
