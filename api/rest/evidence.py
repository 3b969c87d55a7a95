"""Evidence about entries: confirming, disputing, answering, settling, saying where a half was found; and reading it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.operations.evidence import OPERATIONS, statement
from api.operations.record_pages import documents_page
from api.rest.writes import add_writes
from api.schemas.evidence import EvidenceOut, StatementOut, StatementPage, evidence_of, statement_out
from api.service.dependencies import CatalogueDep, CursorQuery, KeyQuery, LimitQuery
from api.service.etags import quoted
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.evidence.standing import EntryRecord
from catalog.history.documents import get_document

router = APIRouter(tags=["evidence"], responses=documented("invalid-request", "catalogue-locked", "catalogue-unusable"))

add_writes(router, OPERATIONS)

RecordQuery = Annotated[EntryRecord | None, Query(description="Kind of the entry spoken of.")]


@router.get("/halves/{key}/evidence", summary="A half's evidence", responses=documented("unknown-entry"))
def evidence_of_half(key: str, catalogue: CatalogueDep, response: Response) -> EvidenceOut:
    """Its standing and why, who measured what and how well it agrees, competing figures, disputes, sightings."""
    return _evidence(catalogue, "half", key, response)


@router.get("/matings/{key}/evidence", summary="A mating's evidence", responses=documented("unknown-entry"))
def evidence_of_mating(key: str, catalogue: CatalogueDep, response: Response) -> EvidenceOut:
    """As of a half."""
    return _evidence(catalogue, "mating", key, response)


@router.get("/series/{key}/evidence", summary="A series' evidence", responses=documented("unknown-entry"))
def evidence_of_series(key: str, catalogue: CatalogueDep, response: Response) -> EvidenceOut:
    """Of the series itself; its halves have their own."""
    return _evidence(catalogue, "series", key, response)


@router.get("/confirmations", summary="Confirmations, a page at a time", responses=documented("invalid-cursor"))
def list_confirmations(
    catalogue: CatalogueDep,
    cursor: CursorQuery = None,
    limit: LimitQuery = DEFAULT_PAGE,
    of: RecordQuery = None,
    about: KeyQuery = None,
    author: KeyQuery = None,
) -> StatementPage:
    """Oldest first; `of` and `about` name the entry."""
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
    """Oldest first; `state` open: those that wait for somebody."""
    return _page(catalogue, "dispute", cursor, limit, of=of, about=about, author=author, state=state)


@router.get("/sightings", summary="Sightings, a page at a time", responses=documented("invalid-cursor"))
def list_sightings(
    catalogue: CatalogueDep,
    cursor: CursorQuery = None,
    limit: LimitQuery = DEFAULT_PAGE,
    half: KeyQuery = None,
    author: KeyQuery = None,
) -> StatementPage:
    """Oldest first; `half` is a half's key."""
    return _page(catalogue, "sighting", cursor, limit, about=half, author=author)


@router.get("/confirmations/{key}", summary="One confirmation", responses=documented("unknown-entry"))
def get_confirmation(key: str, catalogue: CatalogueDep) -> StatementOut:
    """As it stands; its `etag` is what taking it back needs."""
    return _statement(catalogue, "confirmation", key)


@router.get("/disputes/{key}", summary="One dispute", responses=documented("unknown-entry"))
def get_dispute(key: str, catalogue: CatalogueDep) -> StatementOut:
    """As it stands; its `etag` is what settling it needs."""
    return _statement(catalogue, "dispute", key)


@router.get("/sightings/{key}", summary="One sighting", responses=documented("unknown-entry"))
def get_sighting(key: str, catalogue: CatalogueDep) -> StatementOut:
    """As it stands."""
    return _statement(catalogue, "sighting", key)


def _statement(catalogue: CatalogueDep, record: str, key: str) -> StatementOut:
    with catalogue.reading() as session:
        return statement(session, get_document(session, record, key))


def _evidence(catalogue: CatalogueDep, of: EntryRecord, key: str, response: Response) -> EvidenceOut:
    with catalogue.reading() as session:
        found = evidence_of(session, of, key)
    response.headers["ETag"] = quoted(found.etag)
    return found


def _page(catalogue: CatalogueDep, record: str, cursor: str | None, limit: int, **filters: str | None) -> StatementPage:
    with catalogue.reading() as session:
        found = documents_page(session, record, cursor, limit, **filters)
    return StatementPage(items=tuple(map(statement_out, found.items)), next=found.next)
