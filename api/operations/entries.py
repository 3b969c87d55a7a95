"""Entries: add, revise and review them; withdraw, merge, restore, go back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from api.operations.operation import Nothing, Operation, Route, Task
from api.schemas.contributing import (
    ChangeOut,
    ContributedOut,
    ContributionIn,
    HalfIn,
    MatingIn,
    MergeIn,
    RevertIn,
    ReviewedOut,
    SeriesIn,
    change_out,
    contributed_out,
)
from api.schemas.evidence import ReasonIn, findings_out
from api.schemas.history import LISTED_AT
from catalog.accounts.access import Permission
from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.contribute.contribution import contribute, review_standing, revise_entry
from catalog.history.changes import Changed
from catalog.history.changes import restore as restore_entry
from catalog.history.pending import Submitted, submit_merge, submit_revert, submit_withdrawal
from catalog.model.errors import DuplicateError, EntryError
from catalog.review import Finding, is_clean


def add(task: Task, body: ContributionIn) -> ContributedOut:
    """Add an entry, looked over by machine first."""
    with in_entry():
        made = contribute(task.session, task.act, body.entry, body.acknowledge)
    return contributed_out(task.session, body.entry, made)


def revise(task: Task, body: ContributionIn) -> ChangeOut:
    """Give an entry new content; new values of a confirmed one wait."""
    task.require_unchanged()
    with in_entry():
        made = revise_entry(task.session, task.act, task.key, body.entry, body.acknowledge, delay=task.delay)
    return change_out(task.session, task.record, task.key, made.submitted, made.findings)


def review(task: Task, _: Nothing) -> ReviewedOut:
    """Look an entry over as it stands; where nothing is found it is clean from now on."""
    findings = review_standing(task.session, task.act, task.record, task.key)
    return ReviewedOut(record=task.record, key=task.key, clean=is_clean(findings), findings=findings_out(findings))


def withdraw(task: Task, _: ReasonIn) -> ChangeOut:
    """Withdraw an entry.

    It leaves the lists after the delay, unless somebody changes or a maintainer stops it. It stays readable.
    """
    task.require_unchanged()
    return _changed(task, submit_withdrawal(task.session, task.act, task.record, task.key, task.delay))


def merge(task: Task, body: MergeIn) -> ChangeOut:
    """Merge a half into another.

    One part under two names: the other takes its place and its matings, after the delay. It stays readable.
    """
    task.require_unchanged()
    return _changed(task, submit_merge(task.session, task.act, task.key, body.into, task.delay))


def restore(task: Task, _: ReasonIn) -> ChangeOut:
    """Put an entry back.

    Back on the lists at once, from withdrawn or merged.
    """
    task.require_unchanged()
    changed = Changed(revision=restore_entry(task.session, task.act, task.record, task.key))
    return _changed(task, Submitted(changed=changed))


def revert(task: Task, body: RevertIn) -> ChangeOut:
    """Go back to an earlier revision of an entry.

    As a new revision. Where that changes confirmed values, it waits (202).
    """
    task.require_unchanged()
    submitted = submit_revert(task.session, task.act, task.record, task.key, body.revision, delay=task.delay)
    return _changed(task, submitted)


def _changed(task: Task, submitted: Submitted) -> ChangeOut:
    return change_out(task.session, task.record, task.key, submitted)


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
    """The catalogue takes entries in batches, a request one."""
    inner = field.removeprefix("entries[0]").removeprefix("entry").removeprefix(".")
    return f"entry.{inner}" if inner else "entry"


def _for_each_kind(act: str, name: str, summary: str) -> tuple[Route, ...]:
    """Routes of an operation that every kind of entry has, at its own address."""
    return tuple(
        Route(at=f"POST /{path}/{{key}}/{act}", name=name, record=record, summary=summary.format(record))
        for record, path in LISTED_AT.items()
    )


ADD = Operation(
    name="add",
    permission=Permission.CONTRIBUTE,
    body=ContributionIn,
    result=ContributedOut,
    run=add,
    status=201,
    refusals=("conflicting-entry", "review-refused"),
    routes=(
        Route(
            at="POST /halves",
            name="add_half",
            body=HalfIn,
            summary="Add a half",
            description="It is seen at once, as reported. What the machine review finds severe has to be acknowledged "
            "with a reason.",
        ),
        Route(
            at="POST /series",
            name="add_series",
            body=SeriesIn,
            summary="Add a series",
            description="With every half and mating that its laws make; `POST /v1/review` shows them beforehand.",
        ),
        Route(
            at="POST /matings",
            name="add_mating",
            body=MatingIn,
            summary="Add a mating",
            description="Both halves are named by their keys.",
        ),
    ),
)
REVISE = Operation(
    name="revise",
    permission=Permission.CONTRIBUTE,
    body=ContributionIn,
    result=ChangeOut,
    run=revise,
    may_wait=True,
    needs_tag=True,
    refusals=("conflicting-entry", "review-refused"),
    routes=(
        Route(
            at="PUT /halves/{key}",
            name="revise_half",
            record="half",
            body=HalfIn,
            summary="Revise a half",
            description="Send the whole half as it should be. New values of a confirmed half wait (202).",
        ),
        Route(
            at="PUT /series/{key}",
            name="revise_series",
            record="series",
            body=SeriesIn,
            summary="Revise a series",
            description="Its halves and matings follow the new laws; what would change a confirmed one waits (202).",
        ),
        Route(
            at="PUT /matings/{key}",
            name="revise_mating",
            record="mating",
            body=MatingIn,
            summary="Revise a mating",
            description="Halves, basis and stack height name a mating and stay; for another one, add it and withdraw "
            "this one.",
        ),
    ),
)
WITHDRAW = Operation(
    name="withdraw",
    permission=Permission.CONTRIBUTE,
    body=ReasonIn,
    result=ChangeOut,
    run=withdraw,
    status=202,
    needs_tag=True,
    refusals=("conflicting-entry",),
    routes=_for_each_kind("withdraw", "withdraw_entry", "Withdraw a {}"),
)
MERGE = Operation(
    name="merge",
    permission=Permission.CONTRIBUTE,
    body=MergeIn,
    result=ChangeOut,
    run=merge,
    status=202,
    needs_tag=True,
    refusals=("conflicting-entry",),
    routes=(Route(at="POST /halves/{key}/merge", name="merge_half", record="half"),),
)
RESTORE = Operation(
    name="restore",
    permission=Permission.CONTRIBUTE,
    body=ReasonIn,
    result=ChangeOut,
    run=restore,
    needs_tag=True,
    refusals=("conflicting-entry",),
    routes=_for_each_kind("restore", "restore_entry", "Put a {} back"),
)
REVERT = Operation(
    name="revert",
    permission=Permission.CONTRIBUTE,
    body=RevertIn,
    result=ChangeOut,
    run=revert,
    may_wait=True,
    needs_tag=True,
    refusals=("conflicting-entry", "review-refused"),
    routes=_for_each_kind("revert", "revert_entry", "Go back to an earlier revision of a {}"),
)

REVIEW = Operation(
    name="review",
    permission=Permission.CONTRIBUTE,
    body=Nothing,
    result=ReviewedOut,
    run=review,
    reason=lambda body: "looked over",
    refusals=("unknown-entry",),
)

OPERATIONS = (ADD, REVISE, REVIEW, WITHDRAW, MERGE, RESTORE, REVERT)
"""What is done with entries."""
