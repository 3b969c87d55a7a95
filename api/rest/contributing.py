"""Contributing: the machine review beforehand, adding, revising, withdrawing, merging, restoring, going back."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

from fastapi import APIRouter, Depends
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.operations.transaction import Writing, WritingDep
from api.schemas.contributing import (
    ChangeOut,
    ContributedOut,
    HalfIn,
    MatingIn,
    MergeIn,
    RevertIn,
    ReviewIn,
    ReviewOut,
    SeriesIn,
    change_out,
    contributed_out,
    status_of,
)
from api.schemas.evidence import ReasonIn, findings_out
from api.schemas.history import LISTED_AT
from api.service.access import needs
from api.service.dependencies import CatalogueDep, CursorQuery, LimitQuery, require_json, require_known_query
from api.service.paging import decode_cursor, encode_cursor
from api.service.responses import documented
from api.service.settings import DEFAULT_PAGE
from catalog.accounts.access import Permission
from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.contribute.contributing import Preview, contribute, preview, revise_entry
from catalog.history.acts import Act
from catalog.history.changing import Changed, restore
from catalog.history.pending import Submitted, submit_merge, submit_revert, submit_withdrawal
from catalog.history.preconditions import require_unchanged
from catalog.history.rewriting import get_record
from catalog.model.entries import AnyEntry, Half, Mating
from catalog.model.errors import DuplicateError, EntryError
from catalog.review import Finding, is_clean

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
WRITING = (*READING, "unauthorised", "forbidden", "suspended", "key-reused")
CHANGING = (*WRITING, "unknown-entry", "stale-revision", "precondition-missing", "conflicting-entry")

router = APIRouter(tags=["contributing"], dependencies=[Depends(require_json), Depends(require_known_query)])

CONTRIBUTE = [needs(Permission.CONTRIBUTE)]

Work = Callable[[Session, Act], Submitted]


@router.post("/review", summary="What would the machine review say?", responses=documented(*READING, "invalid-cursor"))
def review(
    body: ReviewIn, catalogue: CatalogueDep, cursor: CursorQuery = None, limit: LimitQuery = DEFAULT_PAGE
) -> ReviewOut:
    """Look an entry over as a careful first reader would, and for a series see every half and mating that its laws
    make. Nothing is saved, and no token is needed."""
    digest = {"entry": hashlib.sha256(body.model_dump_json().encode()).hexdigest()}
    start = int(decode_cursor(cursor, "review", digest) or 0)
    with catalogue.reading() as session, in_entry():
        found = preview(session, body.entry)
    made: list[Half | Mating] = [] if found.made is None else [*found.made.halves, *found.made.matings]
    page = made[start : start + limit]
    more = encode_cursor(str(start + limit), "review", digest) if start + limit < len(made) else None
    return _review_out(body.entry, found, page, more)


def _review_out(entry: AnyEntry, found: Preview, page: list[Half | Mating], more: str | None) -> ReviewOut:
    return ReviewOut(
        record=entry.record,
        key=entry.key,
        clean=is_clean(found.findings),
        findings=findings_out(found.findings),
        half_count=0 if found.made is None else len(found.made.halves),
        mating_count=0 if found.made is None else len(found.made.matings),
        halves=tuple(each for each in page if isinstance(each, Half)),
        matings=tuple(each for each in page if isinstance(each, Mating)),
        next=more,
    )


@contextmanager
def in_entry() -> Iterator[None]:
    """Within a request the entry's fields are fields of ``entry``."""
    try:
        yield
    except ReviewRefusedError as error:
        raise ReviewRefusedError(_placed(error.findings), _placed(error.unacknowledged)) from error
    except (DuplicateError, EntryError) as error:
        if error.field is not None and error.field.startswith("acknowledge."):
            raise
        raise type(error)(
            error.message, field=_place(error.field or ""), value=error.value, remedy=error.remedy
        ) from error


def _placed(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    return tuple(replace(finding, field=_place(finding.field)) for finding in findings)


def _place(field: str) -> str:
    """The catalogue takes entries in batches, this request one."""
    inner = field.removeprefix("entries[0]").removeprefix("entry").removeprefix(".")
    return f"entry.{inner}" if inner else "entry"


def _contribute(writing: Writing, body: HalfIn | SeriesIn | MatingIn) -> Response:
    def work(session: Session, act: Act) -> ContributedOut:
        with in_entry():
            made = contribute(session, act, body.entry, body.acknowledge)
        return contributed_out(session, body.entry, made)

    return writing.once(work, body=body, reason=body.reason, status=201)


def _revise(writing: Writing, key: str, body: HalfIn | SeriesIn | MatingIn) -> Response:
    def work(session: Session, act: Act) -> ChangeOut:
        _require_unchanged(session, body.entry.record, key, writing)
        with in_entry():
            made = revise_entry(session, act, key, body.entry, body.acknowledge, delay=writing.delay)
        return change_out(session, body.entry.record, key, made.submitted, made.findings)

    return writing.once(work, body=body, reason=body.reason, status=status_of)


def _require_unchanged(session: Session, record: str, key: str, writing: Writing) -> None:
    get_record(session, record, key)  # what is not there is told first
    require_unchanged(session, record, key, writing.tag)


_ADDING = documented(*WRITING, "conflicting-entry", "review-refused")
_REVISING = {202: {"model": ChangeOut, "description": "It waits; `pending` says until when."}} | documented(
    *CHANGING, "review-refused"
)


@router.post(
    "/halves",
    status_code=201,
    response_model=ContributedOut,
    dependencies=CONTRIBUTE,
    summary="Add a half",
    responses=_ADDING,
)
def add_half(body: HalfIn, writing: WritingDep) -> Response:
    """It is seen at once, as reported. What the machine review finds severe has to be acknowledged with a reason."""
    return _contribute(writing, body)


@router.post(
    "/series",
    status_code=201,
    response_model=ContributedOut,
    dependencies=CONTRIBUTE,
    summary="Add a series",
    responses=_ADDING,
)
def add_series(body: SeriesIn, writing: WritingDep) -> Response:
    """With every half and mating that its laws make; `POST /v1/review` shows them beforehand."""
    return _contribute(writing, body)


@router.post(
    "/matings",
    status_code=201,
    response_model=ContributedOut,
    dependencies=CONTRIBUTE,
    summary="Add a mating",
    responses=_ADDING,
)
def add_mating(body: MatingIn, writing: WritingDep) -> Response:
    """Both halves are named by their keys."""
    return _contribute(writing, body)


@router.put(
    "/halves/{key}", response_model=ChangeOut, dependencies=CONTRIBUTE, summary="Revise a half", responses=_REVISING
)
def revise_half(key: str, body: HalfIn, writing: WritingDep) -> Response:
    """Send the whole half as it should be. New values of a confirmed half wait (202)."""
    return _revise(writing, key, body)


@router.put(
    "/series/{key}", response_model=ChangeOut, dependencies=CONTRIBUTE, summary="Revise a series", responses=_REVISING
)
def revise_series(key: str, body: SeriesIn, writing: WritingDep) -> Response:
    """Its halves and matings follow the new laws; what would change a confirmed one waits (202)."""
    return _revise(writing, key, body)


@router.put(
    "/matings/{key}", response_model=ChangeOut, dependencies=CONTRIBUTE, summary="Revise a mating", responses=_REVISING
)
def revise_mating(key: str, body: MatingIn, writing: WritingDep) -> Response:
    """Halves, basis and stack height name a mating and stay; for another one, add it and withdraw this one."""
    return _revise(writing, key, body)


def _change(writing: Writing, record: str, key: str, body: ReasonIn | MergeIn | RevertIn, submit: Work) -> Response:
    def work(session: Session, act: Act) -> ChangeOut:
        _require_unchanged(session, record, key, writing)
        return change_out(session, record, key, submit(session, act))

    return writing.once(work, body=body, reason=body.reason, status=status_of)


@router.post(
    "/halves/{key}/merge",
    status_code=202,
    response_model=ChangeOut,
    dependencies=CONTRIBUTE,
    summary="Merge a half into another",
    responses=documented(*CHANGING),
)
def merge_half(key: str, body: MergeIn, writing: WritingDep) -> Response:
    """One part under two names: the other takes its place and its matings, after the delay. It stays readable."""

    def submit(session: Session, act: Act) -> Submitted:
        return submit_merge(session, act, key, body.into, writing.delay)

    return _change(writing, "half", key, body, submit)


def _add_changes(record: str, path: str) -> None:
    """The changes that every kind of entry has, at its own address."""

    @router.post(
        f"/{path}/{{key}}/withdraw",
        status_code=202,
        response_model=ChangeOut,
        dependencies=CONTRIBUTE,
        summary=f"Withdraw a {record}",
        responses=documented(*CHANGING),
    )
    def withdraw_entry(key: str, body: ReasonIn, writing: WritingDep) -> Response:
        """It leaves the lists after the delay, unless somebody changes or a maintainer stops it. It stays readable."""

        def submit(session: Session, act: Act) -> Submitted:
            return submit_withdrawal(session, act, record, key, writing.delay)

        return _change(writing, record, key, body, submit)

    @router.post(
        f"/{path}/{{key}}/restore",
        response_model=ChangeOut,
        dependencies=CONTRIBUTE,
        summary=f"Put a {record} back",
        responses=documented(*CHANGING),
    )
    def restore_entry(key: str, body: ReasonIn, writing: WritingDep) -> Response:
        """Back on the lists at once, from withdrawn or merged."""

        def submit(session: Session, act: Act) -> Submitted:
            return Submitted(changed=Changed(revision=restore(session, act, record, key)))

        return _change(writing, record, key, body, submit)

    @router.post(
        f"/{path}/{{key}}/revert",
        response_model=ChangeOut,
        dependencies=CONTRIBUTE,
        summary=f"Go back to an earlier revision of a {record}",
        responses=_REVISING,
    )
    def revert_entry(key: str, body: RevertIn, writing: WritingDep) -> Response:
        """As a new revision. Where that changes confirmed values, it waits (202)."""

        def submit(session: Session, act: Act) -> Submitted:
            return submit_revert(session, act, record, key, body.revision, delay=writing.delay)

        return _change(writing, record, key, body, submit)


for _record, _path in LISTED_AT.items():
    _add_changes(_record, _path)
