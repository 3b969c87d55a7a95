"""Changes that wait: listed in the open, hastened or stopped."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.operations.transaction import WritingDep
from api.rest.contributing import WRITING
from api.schemas.evidence import ReasonIn
from api.schemas.history import PendingOut, PendingPage, pending_out
from api.service.access import needs
from api.service.dependencies import CatalogueDep, CursorQuery, KeyQuery, LimitQuery, require_json, require_known_query
from api.service.paging import decode_cursor, encode_cursor
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.accounts.access import Permission, require
from catalog.history import pending
from catalog.history.acts import Act
from catalog.history.documents import documents, get_document

router = APIRouter(tags=["pending changes"], dependencies=[Depends(require_known_query)])

DECIDING = documented(*WRITING, "unknown-entry")
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
    filters = {"of": of, "about": about, "author": author, "state": wanted}
    after = decode_cursor(cursor, "pending", filters)
    with catalogue.reading() as session:
        since = None if after is None else int(after)
        found = documents(
            session, pending.RECORD, of=of, about=about, author=author, state=wanted, after=since, limit=limit + 1
        )
    items = found[:limit]
    more = encode_cursor(str(items[-1].id), "pending", filters) if len(found) > limit else None
    return PendingPage(items=tuple(pending_out(each) for each in items), next=more)


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


@router.post(
    "/pending/{key}/hasten",
    response_model=PendingOut,
    dependencies=[needs(Permission.MAINTAIN), Depends(require_json)],
    summary="Let a change happen now",
    responses=DECIDING,
)
def hasten(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """The change stays its author's; the decision is the maintainer's."""

    def work(session: Session, act: Act) -> PendingOut:
        return pending_out(pending.hasten(session, act, key))

    return writing.once(work, body=body, reason=body.reason)


@router.post(
    "/pending/{key}/stop",
    response_model=PendingOut,
    dependencies=[needs(Permission.CONTRIBUTE), Depends(require_json)],
    summary="Let a change not happen",
    responses=DECIDING,
)
def stop(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """By a maintainer, or by whoever asked for it."""

    def work(session: Session, act: Act) -> PendingOut:
        if get_document(session, pending.RECORD, key).author != act.actor:
            require(writing.who, Permission.MAINTAIN)
        return pending_out(pending.stop(session, act, key))

    return writing.once(work, body=body, reason=body.reason)
