"""Routes for what follows identification."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Depends

from api.fitting.current.current import current
from api.fitting.inquiry import inquiry
from api.fitting.needed import needed
from api.fitting.order_note import order_note
from api.fitting.wiring.contact_map import contact_map
from api.rest.identification import REFUSALS
from api.schemas.examples import IDENTIFY_EXAMPLES, described
from api.schemas.fitting.contact_map import NETS_EXAMPLES, ContactMapAnswer, ContactMapRequest
from api.schemas.fitting.current import CurrentAnswer, CurrentRequest
from api.schemas.fitting.inquiry import Inquiry, InquiryRequest
from api.schemas.fitting.needed import NeededAnswer, NeededRequest
from api.schemas.fitting.order_note import OrderNote, OrderNoteRequest
from api.service.dependencies import CatalogueDep, SnapshotDep, require_json
from api.service.responses import documented

TITLES = ("Four contacts, found with a meter",)
"""Title of the example of a contact map."""

router = APIRouter(tags=["fitting"], dependencies=[Depends(require_json)], responses=documented(*REFUSALS))


@router.post("/inquiry", summary="An inquiry about a half that is not in the catalogue")
def make_inquiry(
    specimen: Annotated[InquiryRequest, Body(openapi_examples=described(IDENTIFY_EXAMPLES))], snapshot: SnapshotDep
) -> Inquiry:
    """What was measured with its uncertainty, what was marked in pictures, what the mate must be, and which halves it
    is not: as figures, as text to send, and as a drawing. Nothing is sent or saved.
    """
    return inquiry(snapshot, specimen, specimen.pictures)


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


@router.post("/contact-map", summary="Map a half's contacts to its mate's")
def map_contacts(
    asked: Annotated[ContactMapRequest, Body(openapi_examples=described(NETS_EXAMPLES, TITLES))],
    catalogue: CatalogueDep,
) -> ContactMapAnswer:
    """Which contact of the mate has which net, from what was found at the half's contacts.

    Each view says which side it shows: the board side is the mirror of the mating face, and a board built from the
    wrong one is destroyed when it is connected. Where no source says which contact meets which, or where sources and
    numbering contradict each other, `sure` is false and no net is stated for the mate. `misplaced` lists what would
    meet what in a half that goes in turned or aside.
    """
    with catalogue.reading() as session:
        return contact_map(session, asked)


@router.post("/current", summary="Whether a half and its mate carry a current")
def carried(asked: CurrentRequest, snapshot: SnapshotDep) -> CurrentAnswer:
    """Whether the stated ratings of both halves cover a current: `enough`, `not_enough` or `unknown`.

    A rating holds for the number of loaded contacts it was taken with, and supply and return both count. What the
    ratings do not cover is `unknown`, and `missing` says what would have to be known. `enough` is never more than what
    `rests_on` names. Read the `cautions`.
    """
    return current(snapshot, asked)
