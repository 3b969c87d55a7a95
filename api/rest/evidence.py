"""Evidence about entries: confirming, disputing, answering, settling, saying where a half was found; and reading it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.operations.transaction import WritingDep
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
from api.service.access import needs
from api.service.dependencies import CatalogueDep, CursorQuery, KeyQuery, LimitQuery
from api.service.paging import decode_cursor, encode_cursor
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.accounts.access import Permission
from catalog.evidence import submission
from catalog.evidence.standing import EntryRecord
from catalog.evidence.statements import Answer, Dispute, Sighting
from catalog.history.acts import Act
from catalog.history.documents import DocumentRecord, documents, get_document
from catalog.history.preconditions import require_unchanged, tag_of

WRITING = (
    "invalid-request",
    "unauthorised",
    "forbidden",
    "suspended",
    "unknown-entry",
    "invalid-entry",
    "key-reused",
    "catalogue-locked",
    "catalogue-unusable",
)

router = APIRouter(tags=["evidence"], responses=documented("invalid-request", "catalogue-locked", "catalogue-unusable"))

GIVE = [needs(Permission.GIVE_EVIDENCE)]
DISCUSS = [needs(Permission.DISCUSS)]
CONTRIBUTE = [needs(Permission.CONTRIBUTE)]

RecordQuery = Annotated[EntryRecord | None, Query(description="Kind of the entry spoken of.")]


@router.post(
    "/confirmations",
    status_code=201,
    response_model=StatementOut,
    dependencies=GIVE,
    summary="Confirm an entry",
    responses=documented(*WRITING, "own-evidence", "stale-revision", "review-refused"),
)
def add_confirmation(body: ConfirmationIn, writing: WritingDep) -> Response:
    """Confirm an entry's revision by what you measured, by a document, or by a trial fit."""

    def work(session: Session, act: Act) -> StatementOut:
        document, findings = submission.confirm(session, act, body.confirmation, body.acknowledge)
        return statement_out(document, tag_of(session, document.record, document.key), findings)

    return writing.once(work, body=body, status=201)


@router.post(
    "/disputes",
    status_code=201,
    response_model=StatementOut,
    dependencies=GIVE,
    summary="Dispute an entry",
    responses=documented(*WRITING, "stale-revision"),
)
def add_dispute(body: Dispute, writing: WritingDep) -> Response:
    """Say what is wrong with an entry's revision, and why. It shows as disputed until that is settled."""
    return writing.once(
        lambda session, act: _told(session, submission.dispute(session, act, body)), body=body, status=201
    )


@router.post(
    "/disputes/{key}/answers",
    status_code=201,
    response_model=StatementOut,
    dependencies=DISCUSS,
    summary="Answer a dispute",
    responses=documented(*WRITING),
)
def add_answer(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """Add to the discussion; `reason` is the text."""
    given = Answer(dispute=key, text=body.reason)
    return writing.once(
        lambda session, act: _told(session, submission.answer(session, act, given)), body=body, status=201
    )


@router.post(
    "/disputes/{key}/resolve",
    response_model=StatementOut,
    dependencies=GIVE,
    summary="Settle a dispute",
    responses=documented(*WRITING, "precondition-missing", "stale-revision"),
)
def resolve_dispute(key: str, body: ResolutionIn, writing: WritingDep) -> Response:
    """A maintainer settles it, and may set aside confirmations that were slips; its author may withdraw it."""

    def work(session: Session, act: Act) -> StatementOut:
        get_document(session, "dispute", key)
        require_unchanged(session, "dispute", key, writing.tag)
        return _told(session, submission.resolve(session, act, key, body.resolution))

    return writing.once(work, body=body, reason=body.resolution.reason)


@router.post(
    "/sightings",
    status_code=201,
    response_model=StatementOut,
    dependencies=CONTRIBUTE,
    summary="Say where a half was found",
    responses=documented(*WRITING),
)
def add_sighting(body: Sighting, writing: WritingDep) -> Response:
    """Found in which device, on which of its boards."""
    return writing.once(
        lambda session, act: _told(session, submission.sight(session, act, body)), body=body, status=201
    )


def _take_back(record: str, key: str, body: ReasonIn, writing: WritingDep) -> Response:
    def work(session: Session, act: Act) -> StatementOut:
        get_document(session, record, key)
        require_unchanged(session, record, key, writing.tag)
        return _told(session, submission.take_back(session, act, record, key))

    return writing.once(work, body=body, reason=body.reason)


@router.post(
    "/confirmations/{key}/withdraw",
    response_model=StatementOut,
    dependencies=GIVE,
    summary="Take a confirmation back",
    responses=documented(*WRITING, "precondition-missing", "stale-revision"),
)
def withdraw_confirmation(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """One's own, or as a maintainer anybody's. It stays readable and counts no more."""
    return _take_back("confirmation", key, body, writing)


@router.post(
    "/sightings/{key}/withdraw",
    response_model=StatementOut,
    dependencies=CONTRIBUTE,
    summary="Take a sighting back",
    responses=documented(*WRITING, "precondition-missing", "stale-revision"),
)
def withdraw_sighting(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """One's own, or as a maintainer anybody's."""
    return _take_back("sighting", key, body, writing)


@router.get("/halves/{key}/evidence", summary="A half's evidence", responses=documented("unknown-entry"))
def evidence_of_half(key: str, catalogue: CatalogueDep, response: Response) -> EvidenceOut:
    """Its standing and why, who measured what and how well it agrees, competing figures, disputes, sightings."""
    with catalogue.reading() as session:
        return _evidence(session, "half", key, response)


@router.get("/matings/{key}/evidence", summary="A mating's evidence", responses=documented("unknown-entry"))
def evidence_of_mating(key: str, catalogue: CatalogueDep, response: Response) -> EvidenceOut:
    """As of a half."""
    with catalogue.reading() as session:
        return _evidence(session, "mating", key, response)


@router.get("/series/{key}/evidence", summary="A series' evidence", responses=documented("unknown-entry"))
def evidence_of_series(key: str, catalogue: CatalogueDep, response: Response) -> EvidenceOut:
    """Of the series itself; its halves have their own."""
    with catalogue.reading() as session:
        return _evidence(session, "series", key, response)


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
    return _page(catalogue, "sighting", cursor, limit, of=None, about=half, author=author)


@router.get("/confirmations/{key}", summary="One confirmation", responses=documented("unknown-entry"))
def get_confirmation(key: str, catalogue: CatalogueDep) -> StatementOut:
    """As it stands; its `etag` is what taking it back needs."""
    with catalogue.reading() as session:
        return _told(session, get_document(session, "confirmation", key))


@router.get("/disputes/{key}", summary="One dispute", responses=documented("unknown-entry"))
def get_dispute(key: str, catalogue: CatalogueDep) -> StatementOut:
    """As it stands; its `etag` is what settling it needs."""
    with catalogue.reading() as session:
        return _told(session, get_document(session, "dispute", key))


@router.get("/sightings/{key}", summary="One sighting", responses=documented("unknown-entry"))
def get_sighting(key: str, catalogue: CatalogueDep) -> StatementOut:
    """As it stands."""
    with catalogue.reading() as session:
        return _told(session, get_document(session, "sighting", key))


def _told(session: Session, document: DocumentRecord) -> StatementOut:
    return statement_out(document, tag_of(session, document.record, document.key))


def _evidence(session: Session, of: EntryRecord, key: str, response: Response) -> EvidenceOut:
    found = evidence_of(session, of, key)
    response.headers["ETag"] = f'"{found.etag}"'
    return found


def _page(catalogue: CatalogueDep, record: str, cursor: str | None, limit: int, **filters: str | None) -> StatementPage:
    after = decode_cursor(cursor, record, filters)
    since = None if after is None else int(after)
    with catalogue.reading() as session:
        found = documents(session, record, after=since, limit=limit + 1, private=False, **filters)
    items = found[:limit]
    more = encode_cursor(str(items[-1].id), record, filters) if len(found) > limit else None
    return StatementPage(items=tuple(statement_out(document) for document in items), next=more)
