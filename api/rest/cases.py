"""Open cases: saving what was observed of a part, finding out together what it is, being told of other answers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Request
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.operations.case_ranking import checked_summary, judged_half, require_half, revision_of, suggested
from api.operations.case_reading import case_of, evidence_in
from api.operations.transaction import Writing, WritingDep
from api.pictures.measuring import measure
from api.rest.case_feed import case_feed
from api.rest.feeds import ATOM
from api.schemas.cases import (
    AcceptIn,
    CaseOut,
    CasePage,
    CaseRevision,
    CommentIn,
    CommentOut,
    SpecimenIn,
    asked_of,
    case_item,
    clicked_in,
    comment_out,
    visibility_of,
)
from api.schemas.evidence import ReasonIn
from api.service.access import WhoDep, needs
from api.service.dependencies import (
    CatalogueDep,
    CursorQuery,
    LimitQuery,
    SnapshotDep,
    VersionDep,
    require_json,
    require_known_query,
)
from api.service.paging import LARGEST_NUMBER, decode_number, encode_cursor
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.accounts.access import Permission, Who, allowed, require
from catalog.cases import lifecycle
from catalog.cases.retrieval import Case, get_case, get_revision, public_cases, seer, seer_of
from catalog.cases.specimens import COMMENT, SPECIMEN, Comment, Specimen
from catalog.cases.summaries import Judged, Summary
from catalog.evidence.submission import take_back
from catalog.history.acts import Act
from catalog.history.documents import get_document
from catalog.history.preconditions import require_unchanged, tag_of
from catalog.model.errors import NotFoundError
from catalog.model.timestamps import read, written
from catalog.snapshot.snapshot import Snapshot

WRITING = (
    "malformed-json",
    "unsupported-content",
    "invalid-request",
    "invalid-observations",
    "unknown-half",
    "unauthorised",
    "forbidden",
    "suspended",
    "unknown-entry",
    "invalid-entry",
    "body-too-large",
    "key-reused",
)
CHANGING = (*WRITING, "precondition-missing", "stale-revision")

router = APIRouter(
    tags=["cases"],
    responses=documented("invalid-request", "internal-error", "catalogue-locked", "catalogue-unusable"),
    dependencies=[Depends(require_known_query)],
)

Number = Annotated[int, Path(ge=1, le=LARGEST_NUMBER, description="Number of the revision, from 1.")]

SAVE = [needs(Permission.SAVE_SPECIMEN), Depends(require_json)]
DISCUSS = [needs(Permission.DISCUSS), Depends(require_json)]


@router.post(
    "/specimens",
    status_code=201,
    response_model=CaseOut,
    dependencies=SAVE,
    summary="Open a case",
    responses=documented(*WRITING),
)
def save_specimen(body: SpecimenIn, snapshot: SnapshotDep, writing: WritingDep) -> Response:
    """Keep what was observed of a part that is not named yet; it is ranked again whenever the catalogue changes.

    A private case is seen by whoever has its key, which nobody guesses, and is on no list and in no feed. A public one
    is listed among the open cases. A photo is never kept, only the points that were clicked in it.
    """
    summary, _ = _checked(snapshot, body)

    def work(session: Session, act: Act) -> CaseOut:
        document = lifecycle.save(session, act, body.specimen(), summary, private=body.private)
        return _told(session, document.key, act)

    return writing.once(work, body=body, reason=body.reason, status=201)


def _checked(snapshot: Snapshot, body: SpecimenIn, halves: Sequence[str] = ()) -> tuple[Summary, tuple[Judged, ...]]:
    """What the ranking makes of it; raises for observations and points that make no sense."""
    if body.pictures:
        measure(clicked_in(body))
    return checked_summary(snapshot, asked_of(body.specimen()), halves)


@router.get(
    "/specimens", summary="Open cases, a page at a time", responses=documented("invalid-cursor", "invalid-entry")
)
def list_specimens(
    catalogue: CatalogueDep,
    cursor: CursorQuery = None,
    limit: LimitQuery = DEFAULT_PAGE,
    changed_since: Annotated[
        str | None,
        Query(max_length=40, description="A date or moment of ISO 8601: cases whose answer changed then or later."),
    ] = None,
) -> CasePage:
    """Public ones, oldest first, with what the ranking makes of each."""
    since = None if changed_since is None else written(read(changed_since, field="changed_since"))
    filters = {"changed_since": since}
    after = decode_number(cursor, "specimens", filters)
    with catalogue.reading() as session:
        found = public_cases(session, changed_since=since, after=after, limit=limit + 1)
    items = found[:limit]
    more = encode_cursor(str(items[-1].document.id), "specimens", filters) if len(found) > limit else None
    return CasePage(items=tuple(case_item(case) for case in items), next=more)


@router.get(
    "/specimens.atom",
    summary="Open cases, as a feed",
    response_class=Response,
    responses={200: {"content": {ATOM: {}}, "description": "An Atom feed (RFC 4287), the latest news first."}},
)
def get_feed(catalogue: CatalogueDep, version: VersionDep, request: Request) -> Response:
    """New public cases, and those whose answer changed since a part or a measurement came into the catalogue."""
    del version  # it sets the ETag, so that a reader that asks again is told that nothing is new
    with catalogue.reading() as session:
        cases = public_cases(session, limit=DEFAULT_PAGE, latest=True)
    return Response(case_feed(str(request.base_url), str(request.url), cases), media_type=ATOM)


@router.get("/specimens/{key}", summary="One case", responses=documented("unknown-entry"))
def get_specimen(key: str, catalogue: CatalogueDep, who: WhoDep, response: Response) -> CaseOut:
    """What was observed, what the ranking makes of it now, and what others say. `etag` is what changes need."""
    with catalogue.reading() as session:
        found = case_of(session, key, seer(who))
    response.headers["ETag"] = f'"{found.etag}"'
    response.headers["Cache-Control"] = "no-store" if found.visibility == "private" else "no-cache"
    return found


@router.get("/specimens/{key}/revisions/{n}", summary="A case as it was", responses=documented("unknown-entry"))
def get_specimen_revision(key: str, n: Number, catalogue: CatalogueDep, who: WhoDep) -> CaseRevision:
    """Its n-th revision. Revisions from before a case was made public are its author's and the maintainers' to read."""
    with catalogue.reading() as session:
        row = get_revision(session, key, n, seer(who))
    specimen = {name: each for name, each in row.new["content"].items() if name != "record"}
    return CaseRevision(
        **{name: getattr(row, name) for name in ("key", "revision", "at", "actor", "action", "reason")},
        state=row.new["state"],
        visibility=visibility_of(row.new["private"]),
        specimen=specimen,
    )


@router.put(
    "/specimens/{key}",
    response_model=CaseOut,
    dependencies=SAVE,
    summary="Revise one's own case",
    responses=documented(*CHANGING),
)
def revise_specimen(key: str, body: SpecimenIn, snapshot: SnapshotDep, writing: WritingDep) -> Response:
    """Give it whole, as it shall be. `visibility` may change; what was public once stays in the journal."""
    with writing.catalogue.reading() as session:
        halves = suggested(session, get_case(session, key, seer(writing.who)))
    summary, judged = _checked(snapshot, body, halves)

    def work(session: Session, act: Act) -> CaseOut:
        case = lifecycle.own_case(session, act, key)
        require_unchanged(session, SPECIMEN, key, writing.tag)
        lifecycle.revise(session, act, case, body.specimen(), summary, judged, private=body.private)
        return _told(session, key, act)

    return writing.once(work, body=body, reason=body.reason)


@router.post(
    "/specimens/{key}/comments",
    status_code=201,
    response_model=CommentOut,
    dependencies=DISCUSS,
    summary="Comment on a case, or suggest a half",
    responses=documented(*WRITING),
)
def add_comment(key: str, body: CommentIn, snapshot: SnapshotDep, writing: WritingDep) -> Response:
    """A suggestion names a half, listed or inferred, and says why; the ranking's judgement of that half is put
    beside it."""
    judged, revision = None, None
    if body.half is not None:
        require_half(snapshot, body.half)
        with writing.catalogue.reading() as session:
            specimen = Specimen.model_validate(get_case(session, key, seer(writing.who)).document.content)
        judged, revision = judged_half(snapshot, asked_of(specimen), body.half), revision_of(snapshot, body.half)
    said = Comment(specimen=key, text=body.text, half=body.half, revision=revision)

    def work(session: Session, act: Act) -> CommentOut:
        case = get_case(session, key, seer_of(act))
        document = lifecycle.comment(session, act, case, said, judged)
        return comment_out(
            document, {each.half: each for each in (judged,) if each}, tag_of(session, COMMENT, document.key)
        )

    return writing.once(work, body=body, status=201)


@router.post(
    "/specimens/{key}/comments/{comment}/withdraw",
    response_model=CommentOut,
    dependencies=DISCUSS,
    summary="Take a comment back",
    responses=documented(*WRITING),
)
def withdraw_comment(key: str, comment: str, body: ReasonIn, writing: WritingDep) -> Response:
    """One's own, or as a maintainer anybody's. It is shown no more; the journal keeps it."""

    def work(session: Session, act: Act) -> CommentOut:
        case = get_case(session, key, seer_of(act))
        if get_document(session, COMMENT, comment).about != case.document.key:
            raise NotFoundError("no comment on this case has this key", field="comment", value=comment)
        document = take_back(session, act, COMMENT, comment)
        return comment_out(document, {}, tag_of(session, COMMENT, comment))

    return writing.once(work, body=body, reason=body.reason)


@router.post(
    "/specimens/{key}/accept",
    response_model=CaseOut,
    dependencies=SAVE,
    summary="Say which half it is",
    responses=documented(*CHANGING, "own-evidence", "review-refused"),
)
def accept(key: str, body: AcceptIn, snapshot: SnapshotDep, writing: WritingDep) -> Response:
    """Close the case with the half that it turned out to be: a suggestion, a candidate or another.

    In the same step the author's observations become a measured confirmation of that half, as far as they can:
    `solution.left_out` tells what cannot and why. For this the token needs the scope 'evidence' as well.
    """
    require_half(snapshot, body.half)
    if body.confirm:
        require(writing.who, Permission.GIVE_EVIDENCE)

    def work(session: Session, act: Act) -> CaseOut:
        case = lifecycle.own_case(session, act, key, maintained=True)
        require_unchanged(session, SPECIMEN, key, writing.tag)
        choice = _choice(body, snapshot, writing.who)
        lifecycle.accept(session, act, case, choice, lambda: evidence_in(case))
        return _told(session, key, act)

    return writing.once(work, body=body, reason=body.reason)


def _choice(body: AcceptIn, snapshot: Snapshot, who: Who) -> lifecycle.Choice:
    return lifecycle.Choice(
        half=body.half,
        listed=snapshot.halves[body.half].origin == "listed",
        reason=body.reason,
        comment=body.comment,
        confirm=body.confirm,
        may_confirm=allowed(who, Permission.GIVE_EVIDENCE) is None,
        revision=body.revision,
        acknowledged=body.acknowledge,
    )


@router.post(
    "/specimens/{key}/withdraw",
    response_model=CaseOut,
    dependencies=SAVE,
    summary="Take a case off the list",
    responses=documented(*CHANGING),
)
def withdraw_specimen(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """One's own, or as a maintainer anybody's. Whoever has its key may still read it."""
    return _close(key, body, writing, lifecycle.withdraw)


@router.post(
    "/specimens/{key}/reopen",
    response_model=CaseOut,
    dependencies=SAVE,
    summary="Open a closed case again",
    responses=documented(*CHANGING),
)
def reopen_specimen(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """One's own that was solved; a maintainer also what was withdrawn. A confirmation that came of it stays until it
    is taken back."""
    return _close(key, body, writing, lifecycle.reopen)


def _close(key: str, body: ReasonIn, writing: Writing, change: Callable[[Session, Act, Case], object]) -> Response:
    def work(session: Session, act: Act) -> CaseOut:
        case = lifecycle.own_case(session, act, key, maintained=True)
        require_unchanged(session, SPECIMEN, key, writing.tag)
        change(session, act, case)
        return _told(session, key, act)

    return writing.once(work, body=body, reason=body.reason)


def _told(session: Session, key: str, act: Act) -> CaseOut:
    return case_of(session, key, seer_of(act))
