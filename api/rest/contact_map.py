"""The route for contact maps."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Depends

from api.fitting.contact_map import contact_map
from api.schemas.contact_map import NETS_EXAMPLES, ContactMapAnswer, ContactMapRequest
from api.schemas.examples import described
from api.service.dependencies import CatalogueDep, require_json
from api.service.problem_types import OF_BODIES, OF_READING
from api.service.responses import documented

TITLES = ("Four contacts, found with a meter",)

router = APIRouter(
    tags=["fitting"],
    dependencies=[Depends(require_json)],
    responses=documented(*OF_BODIES, *OF_READING, "unknown-half"),
)


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
