"""Entries: add, revise and review them; withdraw, merge, restore, go back; decide on changes that wait."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from api.operations.operation import Nothing, Operation, Task
from api.schemas.contributing import (
    ChangeOut,
    ContributedOut,
    ContributionIn,
    MergeIn,
    RevertIn,
    ReviewedOut,
    change_out,
    contributed_out,
)
from api.schemas.evidence import ReasonIn, findings_out
from api.schemas.history import PendingOut, pending_out
from catalog.accounts.access import Permission, require
from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.contribute.contribution import contribute, review_standing, revise_entry
from catalog.history import pending
from catalog.history.changes import Changed
from catalog.history.changes import restore as restore_entry
from catalog.history.documents import get_document
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
    """Take an entry off the lists, after the delay."""
    task.require_unchanged()
    return _changed(task, submit_withdrawal(task.session, task.act, task.record, task.key, task.delay))


def merge(task: Task, body: MergeIn) -> ChangeOut:
    """Let another half take this one's place, after the delay."""
    task.require_unchanged()
    return _changed(task, submit_merge(task.session, task.act, task.key, body.into, task.delay))


def restore(task: Task, _: ReasonIn) -> ChangeOut:
    """Put an entry that was withdrawn or merged back on the lists."""
    task.require_unchanged()
    changed = Changed(revision=restore_entry(task.session, task.act, task.record, task.key))
    return _changed(task, Submitted(changed=changed))


def revert(task: Task, body: RevertIn) -> ChangeOut:
    """Go back to an earlier revision of an entry; where that changes confirmed values, it waits."""
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


def hasten(task: Task, _: ReasonIn) -> PendingOut:
    """Let a change happen now. It stays its author's; the decision is the maintainer's."""
    return pending_out(pending.hasten(task.session, task.act, task.key))


def stop(task: Task, _: ReasonIn) -> PendingOut:
    """Let a change not happen: a maintainer may, and whoever asked for it."""
    if get_document(task.session, pending.RECORD, task.key).author != task.act.actor:
        require(task.who, Permission.MAINTAIN)
    return pending_out(pending.stop(task.session, task.act, task.key))


ADD = Operation(
    name="add",
    permission=Permission.CONTRIBUTE,
    body=ContributionIn,
    result=ContributedOut,
    run=add,
    status=201,
    refusals=("conflicting-entry", "review-refused"),
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
)
RESTORE = Operation(
    name="restore",
    permission=Permission.CONTRIBUTE,
    body=ReasonIn,
    result=ChangeOut,
    run=restore,
    needs_tag=True,
    refusals=("conflicting-entry",),
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
HASTEN = Operation(
    name="hasten",
    permission=Permission.MAINTAIN,
    body=ReasonIn,
    result=PendingOut,
    run=hasten,
    refusals=("unknown-entry",),
)
STOP = Operation(
    name="stop",
    permission=Permission.CONTRIBUTE,
    body=ReasonIn,
    result=PendingOut,
    run=stop,
    refusals=("unknown-entry",),
)

OPERATIONS = (ADD, REVISE, REVIEW, WITHDRAW, MERGE, RESTORE, REVERT, HASTEN, STOP)
"""What is done with entries."""
