"""Open cases: saving what was observed of a part, finding out together what it is, being told of other answers."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Request
from starlette.responses import Response

from api.operations.cases import (
    ACCEPT,
    COMMENT_ON_CASE,
    REOPEN_CASE,
    REVISE_CASE,
    SAVE_CASE,
    WITHDRAW_CASE,
    WITHDRAW_COMMENT,
    case_of,
)
from api.operations.requests import WritingDep, answering
from api.rest.feeds import ATOM, case_feed
from api.schemas.cases import (
    AcceptIn,
    CaseOut,
    CasePage,
    CaseRevision,
    CommentIn,
    CommentWithdrawal,
    SpecimenIn,
    case_item,
    visibility_of,
)
from api.schemas.evidence import ReasonIn
from api.service.access import WhoDep
from api.service.dependencies import CatalogueDep, CursorQuery, LimitQuery, VersionDep, require_known_query
from api.service.etags import quoted
from api.service.paging import LARGEST_NUMBER, Listing
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.cases.retrieval import get_revision, public_cases, seer
from catalog.cases.specimens import SPECIMEN
from catalog.model.timestamps import read, written

router = APIRouter(
    tags=["cases"],
    responses=documented("invalid-request", "internal-error", "catalogue-locked", "catalogue-unusable"),
    dependencies=[Depends(require_known_query)],
)

Number = Annotated[int, Path(ge=1, le=LARGEST_NUMBER, description="Number of the revision, from 1.")]


@router.post("/specimens", summary="Open a case", **answering(SAVE_CASE))
def save_specimen(body: SpecimenIn, writing: WritingDep) -> Response:
    """Keep what was observed of a part that is not named yet; it is ranked again whenever the catalogue changes.

    A private case is seen by whoever has its key, which nobody guesses, and is on no list and in no feed. A public one
    is listed among the open cases. A photo is never kept, only the points that were clicked in it.
    """
    return writing.once(SAVE_CASE, body)


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
    listing = Listing(name="specimens", cursor=cursor, limit=limit, filters={"changed_since": since})
    with catalogue.reading() as session:
        found = listing.page(
            lambda after, most: public_cases(session, changed_since=since, after=after, limit=most),
            lambda case: case.document.id,
        )
    return CasePage(items=tuple(map(case_item, found.items)), next=found.next)


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
    response.headers["ETag"] = quoted(found.etag)
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


@router.put("/specimens/{key}", summary="Revise one's own case", **answering(REVISE_CASE))
def revise_specimen(key: str, body: SpecimenIn, writing: WritingDep) -> Response:
    """Give it whole, as it shall be. `visibility` may change; what was public once stays in the journal."""
    return writing.once(REVISE_CASE, body, record=SPECIMEN, key=key)


@router.post("/specimens/{key}/comments", summary="Comment on a case, or suggest a half", **answering(COMMENT_ON_CASE))
def add_comment(key: str, body: CommentIn, writing: WritingDep) -> Response:
    """A suggestion names a half, listed or inferred, and says why; the ranking's judgement of that half is put
    beside it."""
    return writing.once(COMMENT_ON_CASE, body, key=key)


@router.post(
    "/specimens/{key}/comments/{comment}/withdraw", summary="Take a comment back", **answering(WITHDRAW_COMMENT)
)
def withdraw_comment(key: str, comment: str, body: ReasonIn, writing: WritingDep) -> Response:
    """One's own, or as a maintainer anybody's. It is shown no more; the journal keeps it."""
    return writing.once(WITHDRAW_COMMENT, CommentWithdrawal(comment=comment, reason=body.reason), key=key)


@router.post("/specimens/{key}/accept", summary="Say which half it is", **answering(ACCEPT))
def accept(key: str, body: AcceptIn, writing: WritingDep) -> Response:
    """Close the case with the half that it turned out to be: a suggestion, a candidate or another.

    In the same step the author's observations become a measured confirmation of that half, as far as they can:
    `solution.left_out` tells what cannot and why. For this the token needs the scope 'evidence' as well.
    """
    return writing.once(ACCEPT, body, record=SPECIMEN, key=key)


@router.post("/specimens/{key}/withdraw", summary="Take a case off the list", **answering(WITHDRAW_CASE))
def withdraw_specimen(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """One's own, or as a maintainer anybody's. Whoever has its key may still read it."""
    return writing.once(WITHDRAW_CASE, body, record=SPECIMEN, key=key)


@router.post("/specimens/{key}/reopen", summary="Open a closed case again", **answering(REOPEN_CASE))
def reopen_specimen(key: str, body: ReasonIn, writing: WritingDep) -> Response:
    """One's own that was solved; a maintainer also what was withdrawn. A confirmation that came of it stays until it
    is taken back."""
    return writing.once(REOPEN_CASE, body, record=SPECIMEN, key=key)
