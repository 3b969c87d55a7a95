"""Routes for the journal, feeds, revisions and pending changes."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import Response

from api.operations.pending_changes import OPERATIONS
from api.operations.record_pages import Wanted, documents_page, journal_page
from api.rest.feeds import ATOM, Feed, atom
from api.rest.writes import add_writes
from api.schemas.history import LISTED_AT, JournalPage, PendingOut, PendingPage, pending_out
from api.service.dependencies import CatalogueDep, CursorQuery, KeyQuery, LimitQuery, VersionDep
from api.service.problem_types import OF_READING
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.history import journal, pending
from catalog.history.documents import get_document
from catalog.history.journal import JournalEntry
from catalog.records.read import get_record

router = APIRouter(tags=["history"], responses=documented(*OF_READING, "invalid-entry"))


def _wanted(
    record: Annotated[str | None, Query(max_length=40, description="Kind of record: half, series, mating …")] = None,
    key: KeyQuery = None,
    series: Annotated[
        str | None,
        Query(max_length=500, description="Key of a series: it, its halves and matings, and the evidence about them."),
    ] = None,
    actor: Annotated[str | None, Query(max_length=200, description="Name of the contributor.")] = None,
    since: Annotated[str | None, Query(max_length=40, description="A date or time in ISO 8601.")] = None,
) -> Wanted:
    return Wanted.asked(record=record, key=key, series=series, actor=actor, since=since)


WantedDep = Annotated[Wanted, Depends(_wanted)]


@router.get("/journal", summary="The journal, a page at a time", responses=documented("invalid-cursor"))
def get_journal(
    catalogue: CatalogueDep,
    version: VersionDep,
    wanted: WantedDep,
    cursor: CursorQuery = None,
    limit: LimitQuery = DEFAULT_PAGE,
) -> JournalPage:
    """Newest first: who changed what, when and why, with the record before and after. Rows never change.

    `record` and `key` together select one record and the evidence about it, `series` a whole series.
    """
    with catalogue.reading() as session:
        return journal_page(session, version, wanted, cursor, limit)


@router.get(
    "/journal.atom",
    summary="The journal as a feed",
    response_class=Response,
    responses={200: {"content": {ATOM: {}}, "description": "An Atom feed (RFC 4287), newest first."}},
)
def get_feed(
    catalogue: CatalogueDep, version: VersionDep, wanted: WantedDep, request: Request, response: Response
) -> Response:
    """The latest changes for a feed reader, with the filters of the journal."""
    del version  # it sets the ETag, so that a feed reader can ask whether anything is new
    with catalogue.reading() as session:
        rows = wanted.page(session, limit=DEFAULT_PAGE)
        first = journal.page(session, after=0, limit=1)
    feed = Feed(base=str(request.base_url), address=str(request.url), filters=wanted.filters, first=first)
    known = {name: response.headers[name] for name in ("ETag", "Cache-Control")}
    return Response(atom(feed, rows), media_type=ATOM, headers=known)


def _add_histories(record: str, path: str) -> None:
    """Add the routes of the history and the revisions of one kind of entry."""

    @router.get(
        f"/{path}/{{key}}/history",
        summary=f"The history of a {record}",
        responses=documented("unknown-entry", "invalid-cursor"),
    )
    def get_history(
        key: str,
        catalogue: CatalogueDep,
        version: VersionDep,
        cursor: CursorQuery = None,
        limit: LimitQuery = DEFAULT_PAGE,
    ) -> JournalPage:
        """Newest first, with the evidence about it."""
        wanted = Wanted(record=record, key=key)
        with catalogue.reading() as session:
            get_record(session, record, key)
            return journal_page(session, version, wanted, cursor, limit)

    @router.get(
        f"/{path}/{{key}}/revisions/{{number}}",
        summary=f"A revision of a {record}",
        responses=documented("unknown-entry"),
    )
    def get_revision(key: str, number: int, catalogue: CatalogueDep) -> JournalEntry:
        """`new` is the entry in this revision, `old` in the one before; and who changed it, when and why."""
        with catalogue.reading() as session:
            return journal.revision_of(session, record, key, number)


for _record, _path in LISTED_AT.items():
    _add_histories(_record, _path)


pending_router = APIRouter(tags=["pending changes"])

add_writes(pending_router, OPERATIONS)

StateQuery = Annotated[
    Literal["waiting", "done", "stopped", "lapsed", "all"], Query(description="waiting, done, stopped, lapsed or all.")
]


@pending_router.get(
    "/pending",
    summary="Pending changes, a page at a time",
    responses=documented(*OF_READING, "invalid-cursor"),
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
    """Oldest first. Withdrawals, merges and new values of confirmed entries wait, so that others can object. `of` and
    `about` are the kind and the key of the entry."""
    wanted = None if state == "all" else state
    with catalogue.reading() as session:
        found = documents_page(session, pending.RECORD, cursor, limit, of=of, about=about, author=author, state=wanted)
    return PendingPage(items=tuple(map(pending_out, found.items)), next=found.next)


@pending_router.get(
    "/pending/{key}",
    summary="One pending change",
    responses=documented(*OF_READING, "unknown-entry"),
)
def get_pending(key: str, catalogue: CatalogueDep) -> PendingOut:
    """Its `state` says whether it is waiting, done, stopped or lapsed."""
    with catalogue.reading() as session:
        return pending_out(get_document(session, pending.RECORD, key))
