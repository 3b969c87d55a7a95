"""Routes for evidence about entries: confirmations, disputes, answers and sightings."""

from __future__ import annotations

from typing import Annotated, get_args

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.operations.evidence import OPERATIONS, statement
from api.operations.record_pages import documents_page
from api.rest.writes import add_writes
from api.schemas.evidence import EvidenceOut, StatementOut, StatementPage, evidence_of, statement_out
from api.schemas.history import LISTED_AT
from api.service.dependencies import CatalogueDep, CursorQuery, KeyQuery, LimitQuery
from api.service.etags import quoted
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.evidence.standing import EntryRecord
from catalog.history.documents import get_document

router = APIRouter(tags=["evidence"], responses=documented("invalid-request", "catalogue-locked", "catalogue-unusable"))

add_writes(router, OPERATIONS)

RecordQuery = Annotated[EntryRecord | None, Query(description="Kind of the entry.")]


def _add_evidence(record: EntryRecord, path: str) -> None:
    """Add the route of the evidence about one kind of entry."""

    @router.get(
        f"/{path}/{{key}}/evidence",
        name=f"evidence_of_{record}",
        summary=f"The evidence about a {record}",
        responses=documented("unknown-entry"),
    )
    def get_evidence(key: str, catalogue: CatalogueDep, response: Response) -> EvidenceOut:
        """Its standing with the reasons, all measurements and how well they agree, competing values, disputes and
        sightings. The halves of a series have their own."""
        with catalogue.reading() as session:
            found = evidence_of(session, record, key)
        response.headers["ETag"] = quoted(found.etag)
        return found


for _record in get_args(EntryRecord):
    _add_evidence(_record, LISTED_AT[_record])


@router.get("/confirmations", summary="Confirmations, a page at a time", responses=documented("invalid-cursor"))
def list_confirmations(
    catalogue: CatalogueDep,
    cursor: CursorQuery = None,
    limit: LimitQuery = DEFAULT_PAGE,
    of: RecordQuery = None,
    about: KeyQuery = None,
    author: KeyQuery = None,
) -> StatementPage:
    """Oldest first. `of` and `about` are the kind and the key of the entry."""
    return _page(catalogue, "confirmation", cursor, limit, of=of, about=about, author=author)


@router.get("/disputes", summary="Disputes, a page at a time", responses=documented("invalid-cursor"))
def list_disputes(
    catalogue: CatalogueDep,
    cursor: CursorQuery = None,
    limit: LimitQuery = DEFAULT_PAGE,
    of: RecordQuery = None,
    about: KeyQuery = None,
    author: KeyQuery = None,
    state: Annotated[str | None, Query(pattern="^(open|resolved)$")] = None,
) -> StatementPage:
    """Oldest first. `state` is open or resolved."""
    return _page(catalogue, "dispute", cursor, limit, of=of, about=about, author=author, state=state)


@router.get("/sightings", summary="Sightings, a page at a time", responses=documented("invalid-cursor"))
def list_sightings(
    catalogue: CatalogueDep,
    cursor: CursorQuery = None,
    limit: LimitQuery = DEFAULT_PAGE,
    half: KeyQuery = None,
    author: KeyQuery = None,
) -> StatementPage:
    """Oldest first. `half` is the key of a half."""
    return _page(catalogue, "sighting", cursor, limit, about=half, author=author)


def _add_statement(record: str) -> None:
    """Add the route of one kind of statement."""

    @router.get(
        f"/{record}s/{{key}}",
        name=f"get_{record}",
        summary=f"One {record}",
        responses=documented("unknown-entry"),
    )
    def get_statement(key: str, catalogue: CatalogueDep) -> StatementOut:
        """As it stands now. Changes need its `etag`."""
        with catalogue.reading() as session:
            return statement(session, get_document(session, record, key))


for _record in ("confirmation", "dispute", "sighting"):
    _add_statement(_record)


def _page(catalogue: CatalogueDep, record: str, cursor: str | None, limit: int, **filters: str | None) -> StatementPage:
    with catalogue.reading() as session:
        found = documents_page(session, record, cursor, limit, **filters)
    return StatementPage(items=tuple(map(statement_out, found.items)), next=found.next)
