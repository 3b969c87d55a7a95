"""Routes for what follows identification."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Depends

from api.fitting.inquiry import inquiry
from api.rest.identification import REFUSALS
from api.schemas.examples import IDENTIFY_EXAMPLES, described
from api.schemas.inquiry import Inquiry
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
