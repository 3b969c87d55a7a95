"""Contributing: the machine review beforehand, adding, revising, withdrawing, merging, restoring, going back."""

from __future__ import annotations

import hashlib

from fastapi import APIRouter, Depends
from starlette.responses import Response

from api.operations.entries import ADD, MERGE, RESTORE, REVERT, REVISE, WITHDRAW, in_entry
from api.operations.requests import WritingDep, answering
from api.schemas.contributing import HalfIn, MatingIn, MergeIn, RevertIn, ReviewIn, ReviewOut, SeriesIn
from api.schemas.evidence import ReasonIn, findings_out
from api.schemas.history import LISTED_AT
from api.service.dependencies import CatalogueDep, CursorQuery, LimitQuery, require_json, require_known_query
from api.service.paging import Listing
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.contribute.contribution import preview
from catalog.model.entries import Half, Mating
from catalog.review import is_clean

READING = (
    "malformed-json",
    "body-too-large",
    "unsupported-content",
    "invalid-request",
    "invalid-entry",
    "internal-error",
    "catalogue-locked",
    "catalogue-unusable",
)
router = APIRouter(tags=["contributing"], dependencies=[Depends(require_known_query)])


@router.post(
    "/review",
    summary="What would the machine review say?",
    responses=documented(*READING, "invalid-cursor"),
    dependencies=[Depends(require_json)],
)
def review(
    body: ReviewIn, catalogue: CatalogueDep, cursor: CursorQuery = None, limit: LimitQuery = DEFAULT_PAGE
) -> ReviewOut:
    """Look an entry over as a careful first reader would, and for a series see every half and mating that its laws
    make. Nothing is saved, and no token is needed."""
    digest = hashlib.sha256(body.model_dump_json().encode()).hexdigest()
    listing = Listing(name="review", cursor=cursor, limit=limit, filters={"entry": digest})
    with catalogue.reading() as session, in_entry():
        found = preview(session, body.entry)
    halves, matings = ((), ()) if found.made is None else (found.made.halves, found.made.matings)
    made: list[Half | Mating] = [*halves, *matings]
    page = listing.page(lambda after, most: list(enumerate(made, start=1))[after or 0 :][:most], lambda each: each[0])
    return ReviewOut(
        record=body.entry.record,
        key=body.entry.key,
        clean=is_clean(found.findings),
        findings=findings_out(found.findings),
        half_count=len(halves),
        mating_count=len(matings),
        halves=tuple(each for _, each in page.items if isinstance(each, Half)),
        matings=tuple(each for _, each in page.items if isinstance(each, Mating)),
        next=page.next,
    )


@router.post("/halves", summary="Add a half", **answering(ADD))
def add_half(body: HalfIn, writing: WritingDep) -> Response:
    """It is seen at once, as reported. What the machine review finds severe has to be acknowledged with a reason."""
    return writing.once(ADD, body)


@router.post("/series", summary="Add a series", **answering(ADD))
def add_series(body: SeriesIn, writing: WritingDep) -> Response:
    """With every half and mating that its laws make; `POST /v1/review` shows them beforehand."""
    return writing.once(ADD, body)


@router.post("/matings", summary="Add a mating", **answering(ADD))
def add_mating(body: MatingIn, writing: WritingDep) -> Response:
    """Both halves are named by their keys."""
    return writing.once(ADD, body)


@router.put("/halves/{key}", summary="Revise a half", **answering(REVISE))
def revise_half(key: str, body: HalfIn, writing: WritingDep) -> Response:
    """Send the whole half as it should be. New values of a confirmed half wait (202)."""
    return writing.once(REVISE, body, record="half", key=key)


@router.put("/series/{key}", summary="Revise a series", **answering(REVISE))
def revise_series(key: str, body: SeriesIn, writing: WritingDep) -> Response:
    """Its halves and matings follow the new laws; what would change a confirmed one waits (202)."""
    return writing.once(REVISE, body, record="series", key=key)


@router.put("/matings/{key}", summary="Revise a mating", **answering(REVISE))
def revise_mating(key: str, body: MatingIn, writing: WritingDep) -> Response:
    """Halves, basis and stack height name a mating and stay; for another one, add it and withdraw this one."""
    return writing.once(REVISE, body, record="mating", key=key)


@router.post("/halves/{key}/merge", summary="Merge a half into another", **answering(MERGE))
def merge_half(key: str, body: MergeIn, writing: WritingDep) -> Response:
    """One part under two names: the other takes its place and its matings, after the delay. It stays readable."""
    return writing.once(MERGE, body, record="half", key=key)


def _add_changes(record: str, path: str) -> None:
    """The changes that every kind of entry has, at its own address."""

    @router.post(f"/{path}/{{key}}/withdraw", summary=f"Withdraw a {record}", **answering(WITHDRAW))
    def withdraw_entry(key: str, body: ReasonIn, writing: WritingDep) -> Response:
        """It leaves the lists after the delay, unless somebody changes or a maintainer stops it. It stays readable."""
        return writing.once(WITHDRAW, body, record=record, key=key)

    @router.post(f"/{path}/{{key}}/restore", summary=f"Put a {record} back", **answering(RESTORE))
    def restore_entry(key: str, body: ReasonIn, writing: WritingDep) -> Response:
        """Back on the lists at once, from withdrawn or merged."""
        return writing.once(RESTORE, body, record=record, key=key)

    @router.post(
        f"/{path}/{{key}}/revert", summary=f"Go back to an earlier revision of a {record}", **answering(REVERT)
    )
    def revert_entry(key: str, body: RevertIn, writing: WritingDep) -> Response:
        """As a new revision. Where that changes confirmed values, it waits (202)."""
        return writing.once(REVERT, body, record=record, key=key)


for _record, _path in LISTED_AT.items():
    _add_changes(_record, _path)
