"""Changes that wait: listed in the open, hastened or stopped."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query
from starlette.responses import Response

from api.operations.pending import HASTEN, STOP
from api.operations.record_pages import documents_page
from api.operations.requests import WritingDep, answering
from api.schemas.evidence import ReasonIn
from api.schemas.history import PendingOut, PendingPage, pending_out
from api.service.dependencies import CatalogueDep, CursorQuery, KeyQuery, LimitQuery, require_known_query
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.history import pending
from catalog.history.documents import get_document

router = APIRouter(tags=["pending changes"], dependencies=[Depends(require_known_query)])

StateQuery = Annotated[
    Literal["waiting", "done", "stopped", "lapsed", "all"], Query(description="Which of them; all: whatever became.")
]


@router.get(
    "/pending",
    summary="Changes that wait, a page at a time",
    responses=documented(
        "invalid-request", "invalid-cursor", "internal-error", "catalogue-locked", "catalogue-unusable"
    ),
)
def list_pending(
    catalogue: CatalogueDep,
    cursor: CursorQuery = None,
    limit: LimitQuery = DEFAULT_PAGE,
    state: StateQuery = "waiting",
    of: KeyQuery = None,
    about: KeyQuery = None,
    author: KeyQuery = None,
) -> PendingPage:
    """Oldest first. Withdrawing, merging and new values of confirmed entries wait, so that others can object; `of` and
    `about` name the entry."""
    wanted = None if state == "all" else state
    with catalogue.reading() as session:
        found = documents_page(session, pending.RECORD, cursor, limit, of=of, about=about, author=author, state=wanted)
    return PendingPage(items=tuple(map(pending_out, found.items)), next=found.next)


@router.get(
    "/pending/{key}",
    summary="One change that waits or waited",
    responses=documented(
        "invalid-request", "unknown-entry", "internal-error", "catalogue-locked", "catalogue-unusable"
    ),
)
def get_pending(key: str, catalogue: CatalogueDep) -> PendingOut:
    """What became of it is its `state`."""
    with catalogue.reading() as session:
        return pending_out(get_document(session, pending.RECORD, key))


@router.post("/pending/{key}/hasten", summary="Let a change happen now", **answering(HASTEN))
def hasten(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """The change stays its author's; the decision is the maintainer's."""
    return writing.once(HASTEN, body, key=key)


@router.post("/pending/{key}/stop", summary="Let a change not happen", **answering(STOP))
def stop(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """By a maintainer, or by whoever asked for it."""
    return writing.once(STOP, body, key=key)
