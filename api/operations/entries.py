"""Operations on entries: add, revise, review, withdraw, merge, restore, revert."""

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
    """Add an entry after the machine review."""
    with in_entry():
        made = contribute(task.session, task.act, body.entry, body.acknowledge)
    return contributed_out(task.session, body.entry, made)


def revise(task: Task, body: ContributionIn) -> ChangeOut:
    """Give an entry new content; new values of a confirmed entry are pending."""
    task.require_unchanged()
    with in_entry():
        made = revise_entry(task.session, task.act, task.key, body.entry, body.acknowledge, delay=task.delay)
    return change_out(task.session, task.record, task.key, made.submitted, made.findings)


def review(task: Task, _: Nothing) -> ReviewedOut:
    """Run the machine review on an entry; if nothing is found, the entry counts as clean."""
    findings = review_standing(task.session, task.act, task.record, task.key)
    return ReviewedOut(record=task.record, key=task.key, clean=is_clean(findings), findings=findings_out(findings))


def withdraw(task: Task, _: ReasonIn) -> ChangeOut:
    """Withdraw an entry.

    It leaves the lists after the delay, unless the entry is changed or the withdrawal is stopped. It stays readable.
    """
    task.require_unchanged()
    return _changed(task, submit_withdrawal(task.session, task.act, task.record, task.key, task.delay))


def merge(task: Task, body: MergeIn) -> ChangeOut:
    """Merge a half into another.

    For one part with two names. After the delay the other half takes its place and its matings. It stays readable.
    """
    task.require_unchanged()
    return _changed(task, submit_merge(task.session, task.act, task.key, body.into, task.delay))


def restore(task: Task, _: ReasonIn) -> ChangeOut:
    """Restore an entry.

    A withdrawn or merged entry is on the lists again at once.
    """
    task.require_unchanged()
    changed = Changed(revision=restore_entry(task.session, task.act, task.record, task.key))
    return _changed(task, Submitted(changed=changed))


def revert(task: Task, body: RevertIn) -> ChangeOut:
    """Revert an entry to an earlier revision.

    This makes a new revision. If it changes confirmed values, it is pending (202).
    """
    task.require_unchanged()
    submitted = submit_revert(task.session, task.act, task.record, task.key, body.revision, delay=task.delay)
    return _changed(task, submitted)


def _changed(task: Task, submitted: Submitted) -> ChangeOut:
    return change_out(task.session, task.record, task.key, submitted)


@contextmanager
def in_entry() -> Iterator[None]:
    """Errors of the block, with fields as paths in the request: below ``entry``."""
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
    """A path in a batch of entries as a path in the request, which has one entry."""
    inner = field.removeprefix("entries[0]").removeprefix("entry").removeprefix(".")
    return f"entry.{inner}" if inner else "entry"


def _for_each_kind(act: str, name: str, summary: str) -> tuple[Route, ...]:
    """Routes of an operation for all kinds of entry."""
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
            description="It is visible at once, with the standing 'reported'. Severe findings of the machine review "
            "must be acknowledged with a reason.",
        ),
        Route(
            at="POST /series",
            name="add_series",
            body=SeriesIn,
            summary="Add a series",
            description="With every half and mating that its laws make; `POST /v1/review` shows them in advance.",
        ),
        Route(
            at="POST /matings",
            name="add_mating",
            body=MatingIn,
            summary="Add a mating",
            description="Name both halves by their keys.",
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
            description="Send the whole new content. New values of a confirmed half are pending (202).",
        ),
        Route(
            at="PUT /series/{key}",
            name="revise_series",
            record="series",
            body=SeriesIn,
            summary="Revise a series",
            description="Its halves and matings follow the new laws; changes of confirmed ones are pending (202).",
        ),
        Route(
            at="PUT /matings/{key}",
            name="revise_mating",
            record="mating",
            body=MatingIn,
            summary="Revise a mating",
            description="Halves, basis and stack height identify a mating and cannot change: add another mating and "
            "withdraw this one instead.",
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
    routes=_for_each_kind("restore", "restore_entry", "Restore a {}"),
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
    routes=_for_each_kind("revert", "revert_entry", "Revert a {} to an earlier revision"),
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
"""All operations on entries."""
