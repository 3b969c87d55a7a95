"""Open cases: saving what was observed of a part, finding out together what it is, being told of other answers."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from api.operations.cases import OPERATIONS, case_of
from api.rest.feeds import ATOM, case_feed
from api.rest.writes import add_writes
from api.schemas.cases import CaseOut, CasePage, CaseRevision, case_item, visibility_of
from api.service.access import WhoDep
from api.service.dependencies import CatalogueDep, CursorQuery, LimitQuery, VersionDep
from api.service.etags import quoted
from api.service.paging import LARGEST_NUMBER, Listing
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.cases.retrieval import get_revision, public_cases, seer
from catalog.model.timestamps import read, written

router = APIRouter(
    tags=["cases"],
    responses=documented("invalid-request", "internal-error", "catalogue-locked", "catalogue-unusable"),
)

add_writes(router, OPERATIONS)

Number = Annotated[int, Path(ge=1, le=LARGEST_NUMBER, description="Number of the revision, from 1.")]


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
