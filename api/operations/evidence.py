"""Evidence about entries: confirm, dispute, answer, settle, sight, and take one's own statements back."""

from __future__ import annotations

from operator import attrgetter

from sqlalchemy.orm import Session

from api.operations.operation import Operation, Task, no_reason
from api.schemas.evidence import ConfirmationIn, ReasonIn, ResolutionIn, StatementOut, statement_out
from catalog.accounts.access import Permission
from catalog.contribute import submission
from catalog.evidence.statements import Answer, Dispute, Sighting
from catalog.history.documents import DocumentRecord
from catalog.history.preconditions import tag_of
from catalog.review import Finding


def statement(session: Session, document: DocumentRecord, findings: tuple[Finding, ...] = ()) -> StatementOut:
    """A statement as it stands, with the tag that a change of it is made from."""
    return statement_out(document, tag_of(session, document.record, document.key), findings)


def confirm(task: Task, body: ConfirmationIn) -> StatementOut:
    """Confirm an entry's revision by a measurement, a document or a trial fit."""
    document, findings = submission.confirm(task.session, task.act, body.confirmation, body.acknowledge)
    return statement(task.session, document, findings)


def dispute(task: Task, body: Dispute) -> StatementOut:
    """Say what is wrong with an entry's revision."""
    return statement(task.session, submission.dispute(task.session, task.act, body))


def answer(task: Task, body: ReasonIn) -> StatementOut:
    """Add to the discussion of a dispute; the reason is the text."""
    said = Answer(dispute=task.key, text=body.reason)
    return statement(task.session, submission.answer(task.session, task.act, said))


def resolve(task: Task, body: ResolutionIn) -> StatementOut:
    """Settle a dispute."""
    task.require_unchanged()
    return statement(task.session, submission.resolve(task.session, task.act, task.key, body.resolution))


def sight(task: Task, body: Sighting) -> StatementOut:
    """Say in which device, on which board, a half was found."""
    return statement(task.session, submission.sight(task.session, task.act, body))


def take_back(task: Task, _: ReasonIn) -> StatementOut:
    """Withdraw one's own confirmation or sighting; a maintainer withdraws anybody's."""
    task.require_unchanged()
    return statement(task.session, submission.take_back(task.session, task.act, task.record, task.key))


CONFIRM = Operation(
    name="confirm",
    permission=Permission.GIVE_EVIDENCE,
    body=ConfirmationIn,
    result=StatementOut,
    run=confirm,
    status=201,
    refusals=("unknown-entry", "own-evidence", "stale-revision", "review-refused"),
)
DISPUTE = Operation(
    name="dispute",
    permission=Permission.GIVE_EVIDENCE,
    body=Dispute,
    result=StatementOut,
    run=dispute,
    reason=no_reason,
    status=201,
    refusals=("unknown-entry", "stale-revision"),
)
ANSWER = Operation(
    name="answer",
    permission=Permission.DISCUSS,
    body=ReasonIn,
    result=StatementOut,
    run=answer,
    reason=no_reason,
    status=201,
    refusals=("unknown-entry",),
)
RESOLVE = Operation(
    name="resolve",
    permission=Permission.GIVE_EVIDENCE,
    body=ResolutionIn,
    result=StatementOut,
    run=resolve,
    reason=attrgetter("resolution.reason"),
    needs_tag=True,
)
SIGHT = Operation(
    name="sight",
    permission=Permission.CONTRIBUTE,
    body=Sighting,
    result=StatementOut,
    run=sight,
    status=201,
    refusals=("unknown-entry",),
)
WITHDRAW_CONFIRMATION = Operation(
    name="withdraw confirmation",
    permission=Permission.GIVE_EVIDENCE,
    body=ReasonIn,
    result=StatementOut,
    run=take_back,
    needs_tag=True,
)
WITHDRAW_SIGHTING = Operation(
    name="withdraw sighting",
    permission=Permission.CONTRIBUTE,
    body=ReasonIn,
    result=StatementOut,
    run=take_back,
    needs_tag=True,
)

OPERATIONS = (CONFIRM, DISPUTE, ANSWER, RESOLVE, SIGHT, WITHDRAW_CONFIRMATION, WITHDRAW_SIGHTING)
"""Everything that is said of entries."""
