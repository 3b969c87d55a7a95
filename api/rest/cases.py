"""Routes for cases: saved specimens that are not identified yet."""

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
from api.service.problem_types import OF_READING
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.cases.retrieval import get_revision, public_cases, seer
from catalog.model.timestamps import read, written

router = APIRouter(
    tags=["cases"],
    responses=documented(*OF_READING),
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
        Query(max_length=40, description="A date or time in ISO 8601: only cases whose answer has changed since."),
    ] = None,
) -> CasePage:
    """Public cases, oldest first, each with its answer."""
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
    responses={200: {"content": {ATOM: {}}, "description": "An Atom feed (RFC 4287), newest first."}},
)
def get_feed(catalogue: CatalogueDep, version: VersionDep, request: Request) -> Response:
    """New public cases, and cases whose answer changed because the catalogue changed."""
    del version  # it sets the ETag, so that a feed reader can ask whether anything is new
    with catalogue.reading() as session:
        cases = public_cases(session, limit=DEFAULT_PAGE, latest=True)
    return Response(case_feed(str(request.base_url), str(request.url), cases), media_type=ATOM)


@router.get("/specimens/{key}", summary="One case", responses=documented("unknown-entry"))
def get_specimen(key: str, catalogue: CatalogueDep, who: WhoDep, response: Response) -> CaseOut:
    """The observations, the present answer and the comments. Changes need its `etag`."""
    with catalogue.reading() as session:
        found = case_of(session, key, seer(who))
    response.headers["ETag"] = quoted(found.etag)
    response.headers["Cache-Control"] = "no-store" if found.visibility == "private" else "no-cache"
    return found


@router.get(
    "/specimens/{key}/revisions/{n}", summary="An earlier revision of a case", responses=documented("unknown-entry")
)
def get_specimen_revision(key: str, n: Number, catalogue: CatalogueDep, who: WhoDep) -> CaseRevision:
    """Revision n. Only the author and maintainers can read revisions from before the case became public."""
    with catalogue.reading() as session:
        row = get_revision(session, key, n, seer(who))
    specimen = {name: each for name, each in row.new["content"].items() if name != "record"}
    return CaseRevision(
        **{name: getattr(row, name) for name in ("key", "revision", "at", "actor", "action", "reason")},
        state=row.new["state"],
        visibility=visibility_of(row.new["private"]),
        specimen=specimen,
    )
