"""Routes for contributions: the machine review, and all changes of entries."""

from __future__ import annotations

import hashlib

from fastapi import APIRouter, Depends

from api.operations.entries import OPERATIONS, in_entry
from api.rest.writes import add_writes
from api.schemas.contributing import ReviewIn, ReviewOut
from api.schemas.evidence import findings_out
from api.service.dependencies import CatalogueDep, CursorQuery, LimitQuery, require_json
from api.service.paging import Listing
from api.service.problem_types import OF_BODIES, OF_READING
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.contribute.contribution import preview
from catalog.model.entries import Half, Mating
from catalog.review import is_clean

router = APIRouter(tags=["contributing"])

add_writes(router, OPERATIONS)


@router.post(
    "/review",
    summary="Review an entry without saving it",
    responses=documented(*OF_BODIES, *OF_READING, "invalid-entry", "invalid-cursor"),
    dependencies=[Depends(require_json)],
)
def review(
    body: ReviewIn, catalogue: CatalogueDep, cursor: CursorQuery = None, limit: LimitQuery = DEFAULT_PAGE
) -> ReviewOut:
    """The machine review of an entry and, for a series, every half and mating that its laws make. Nothing is saved, and
    no token is needed."""
    digest = hashlib.sha256(body.model_dump_json().encode()).hexdigest()
    listing = Listing(name="review", cursor=cursor, limit=limit, filters={"entry": digest})
    with catalogue.reading() as session, in_entry():
        found = preview(session, body.entry)
    halves, matings = ((), ()) if found.made is None else (found.made.halves, found.made.matings)
    made: list[Half | Mating] = [*halves, *matings]
    page = listing.page(lambda after, most: list(enumerate(made, start=1))[after or 0 :][:most], lambda each: each[0])
    return ReviewOut(
        record=body.entry.record,
        key=body.entry.key,
        clean=is_clean(found.findings),
        findings=findings_out(found.findings),
        half_count=len(halves),
        mating_count=len(matings),
        halves=tuple(each for _, each in page.items if isinstance(each, Half)),
        matings=tuple(each for _, each in page.items if isinstance(each, Mating)),
        next=page.next,
    )
