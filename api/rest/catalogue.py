"""Routes for reading the catalogue: halves, series, matings and text search."""

from __future__ import annotations

from typing import Annotated, TypeVar

from fastapi import APIRouter, Query, Request, Response

from api.schemas.lists import Page, SearchAnswer, SearchHit
from api.service.dependencies import (
    CatalogueDep,
    CursorQuery,
    KeyQuery,
    LimitQuery,
    SnapshotDep,
    TextQuery,
    VersionDep,
    tell_tag,
)
from api.service.paging import Listing
from api.service.problem_types import OF_READING
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE, MAX_HITS
from catalog.history.preconditions import tag_of
from catalog.model.entry_parts import Basis, HalfKind
from catalog.records import queries
from catalog.records.read_models import HalfRecord, MatingRecord, SeriesRecord

R = TypeVar("R", HalfRecord, SeriesRecord, MatingRecord)

router = APIRouter(tags=["catalogue"], responses=documented(*OF_READING, "invalid-cursor"))


@router.get("/halves", summary="Halves, a page at a time")
def list_halves(
    catalogue: CatalogueDep,
    version: VersionDep,
    cursor: CursorQuery = None,
    limit: LimitQuery = DEFAULT_PAGE,
    maker: TextQuery = None,
    series: KeyQuery = None,
    half_kind: HalfKind | None = None,
    contact_count: Annotated[int | None, Query(ge=1, le=1000)] = None,
    text: TextQuery = None,
) -> Page[HalfRecord]:
    """Halves in the order of their keys. `series` is the key of a series, `text` a part of any name of a half."""
    filters = {"maker": maker, "series": series, "half_kind": half_kind, "contact_count": contact_count, "text": text}
    listing = Listing(name="halves", cursor=cursor, limit=limit, filters=filters)
    with catalogue.reading() as session:
        found = queries.halves_page(
            session,
            after=listing.after,
            limit=limit,
            maker=maker,
            series=series,
            half_kind=half_kind,
            contact_count=contact_count,
            text=text,
        )
    return _page(found, listing, version)


@router.get("/halves/{key}", summary="One half", responses=documented("unknown-entry"))
def get_half(key: str, catalogue: CatalogueDep, request: Request, response: Response) -> HalfRecord:
    """The half with this key, also if it is withdrawn or merged: see its `state` and `successor`.

    A change needs its `ETag`: send it as `If-Match`.
    """
    with catalogue.reading() as session:
        tell_tag(request, response, tag_of(session, "half", key))
        return queries.get_half(session, key)


@router.get("/series", summary="Series, a page at a time")
def list_series(
    catalogue: CatalogueDep,
    version: VersionDep,
    cursor: CursorQuery = None,
    limit: LimitQuery = DEFAULT_PAGE,
    maker: TextQuery = None,
    text: TextQuery = None,
) -> Page[SeriesRecord]:
    """Series in the order of their keys, with the laws of their dimensions."""
    filters = {"maker": maker, "text": text}
    listing = Listing(name="series", cursor=cursor, limit=limit, filters=filters)
    with catalogue.reading() as session:
        found = queries.series_page(session, after=listing.after, limit=limit, maker=maker, text=text)
    return _page(found, listing, version)


@router.get("/series/{key}", summary="One series", responses=documented("unknown-entry"))
def get_series(key: str, catalogue: CatalogueDep, request: Request, response: Response) -> SeriesRecord:
    """The series with this key, in any state. Its `ETag` also changes with its halves and matings."""
    with catalogue.reading() as session:
        tell_tag(request, response, tag_of(session, "series", key))
        return queries.get_series(session, key)


@router.get("/matings", summary="Matings, a page at a time")
def list_matings(
    catalogue: CatalogueDep,
    version: VersionDep,
    cursor: CursorQuery = None,
    limit: LimitQuery = DEFAULT_PAGE,
    half: KeyQuery = None,
    basis: Basis | None = None,
) -> Page[MatingRecord]:
    """Which halves mate, with the properties of the pair. `half` is the key of either half."""
    filters = {"half": half, "basis": basis}
    listing = Listing(name="matings", cursor=cursor, limit=limit, filters=filters)
    with catalogue.reading() as session:
        found = queries.matings_page(session, after=listing.after, limit=limit, half=half, basis=basis)
    return _page(found, listing, version)


@router.get("/matings/{key}", summary="One mating", responses=documented("unknown-entry"))
def get_mating(key: str, catalogue: CatalogueDep, request: Request, response: Response) -> MatingRecord:
    """The mating with this key, in any state. A change needs its `ETag`."""
    with catalogue.reading() as session:
        tell_tag(request, response, tag_of(session, "mating", key))
        return queries.get_mating(session, key)


@router.get("/search", summary="Find by text")
def search(
    snapshot: SnapshotDep,
    version: VersionDep,
    q: Annotated[str, Query(min_length=1, max_length=200, description="Part of a part number, maker, series …")],
    limit: Annotated[int, Query(ge=1, le=MAX_HITS)] = 20,
) -> SearchAnswer:
    """Search part numbers, order codes, makers, series, aliases and markings. Typing errors are tolerated."""
    hits = tuple(SearchHit.model_validate(hit, from_attributes=True) for hit in snapshot.search.search(q, limit))
    return SearchAnswer(query=q, hits=hits, catalogue_version=snapshot.version)


def _page(found: queries.Page[R], listing: Listing, version: int) -> Page[R]:
    more = None if found.next is None else listing.cursor_after(found.next)
    return Page(items=found.items, next=more, catalogue_version=version)
