"""Evidence about entries: confirming, disputing, answering, settling, saying where a half was found; and reading it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.operations.evidence import (
    ANSWER,
    CONFIRM,
    DISPUTE,
    RESOLVE,
    SIGHT,
    WITHDRAW_CONFIRMATION,
    WITHDRAW_SIGHTING,
    statement,
)
from api.operations.record_pages import documents_page
from api.operations.requests import WritingDep, answering
from api.schemas.evidence import (
    ConfirmationIn,
    EvidenceOut,
    ReasonIn,
    ResolutionIn,
    StatementOut,
    StatementPage,
    evidence_of,
    statement_out,
)
from api.service.dependencies import CatalogueDep, CursorQuery, KeyQuery, LimitQuery
from api.service.etags import quoted
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.evidence.standing import EntryRecord
from catalog.evidence.statements import Dispute, Sighting
from catalog.history.documents import get_document

router = APIRouter(tags=["evidence"], responses=documented("invalid-request", "catalogue-locked", "catalogue-unusable"))

RecordQuery = Annotated[EntryRecord | None, Query(description="Kind of the entry spoken of.")]


@router.post("/confirmations", summary="Confirm an entry", **answering(CONFIRM))
def add_confirmation(body: ConfirmationIn, writing: WritingDep) -> Response:
    """Confirm an entry's revision by what you measured, by a document, or by a trial fit."""
    return writing.once(CONFIRM, body)


@router.post("/disputes", summary="Dispute an entry", **answering(DISPUTE))
def add_dispute(body: Dispute, writing: WritingDep) -> Response:
    """Say what is wrong with an entry's revision, and why. It shows as disputed until that is settled."""
    return writing.once(DISPUTE, body)


@router.post("/disputes/{key}/answers", summary="Answer a dispute", **answering(ANSWER))
def add_answer(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """Add to the discussion; `reason` is the text."""
    return writing.once(ANSWER, body, key=key)


@router.post("/disputes/{key}/resolve", summary="Settle a dispute", **answering(RESOLVE))
def resolve_dispute(key: str, body: ResolutionIn, writing: WritingDep) -> Response:
    """A maintainer settles it, and may set aside confirmations that were slips; its author may withdraw it."""
    return writing.once(RESOLVE, body, record="dispute", key=key)


@router.post("/sightings", summary="Say where a half was found", **answering(SIGHT))
def add_sighting(body: Sighting, writing: WritingDep) -> Response:
    """Found in which device, on which of its boards."""
    return writing.once(SIGHT, body)


@router.post("/confirmations/{key}/withdraw", summary="Take a confirmation back", **answering(WITHDRAW_CONFIRMATION))
def withdraw_confirmation(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """One's own, or as a maintainer anybody's. It stays readable and counts no more."""
    return writing.once(WITHDRAW_CONFIRMATION, body, record="confirmation", key=key)


@router.post("/sightings/{key}/withdraw", summary="Take a sighting back", **answering(WITHDRAW_SIGHTING))
def withdraw_sighting(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """One's own, or as a maintainer anybody's."""
    return writing.once(WITHDRAW_SIGHTING, body, record="sighting", key=key)


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
