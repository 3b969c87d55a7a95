"""Operations on evidence: confirm, dispute, answer, resolve, sight, and withdraw statements."""

from __future__ import annotations

from operator import attrgetter

from sqlalchemy.orm import Session

from api.operations.operation import Operation, Route, Task, no_reason
from api.schemas.evidence import ConfirmationIn, ReasonIn, ResolutionIn, StatementOut, statement_out
from catalog.accounts.access import Permission
from catalog.contribute import submission
from catalog.evidence.statements import Answer, Dispute, Sighting
from catalog.history.documents import DocumentRecord
from catalog.history.preconditions import tag_of
from catalog.review import Finding


def statement(session: Session, document: DocumentRecord, findings: tuple[Finding, ...] = ()) -> StatementOut:
    """A statement in the interface's form, with the tag that a change of it needs."""
    return statement_out(document, tag_of(session, document.record, document.key), findings)


def confirm(task: Task, body: ConfirmationIn) -> StatementOut:
    """Confirm an entry.

    Confirm a revision of an entry by measurements, by a document, or by a trial fit.
    """
    document, findings = submission.confirm(task.session, task.act, body.confirmation, body.acknowledge)
    return statement(task.session, document, findings)


def dispute(task: Task, body: Dispute) -> StatementOut:
    """Dispute an entry.

    Say what is wrong with a revision of an entry, and why. The entry shows as disputed until the dispute is resolved.
    """
    return statement(task.session, submission.dispute(task.session, task.act, body))


def answer(task: Task, body: ReasonIn) -> StatementOut:
    """Answer a dispute.

    `reason` is the text of the answer.
    """
    reply = Answer(dispute=task.key, text=body.reason)
    return statement(task.session, submission.answer(task.session, task.act, reply))


def resolve(task: Task, body: ResolutionIn) -> StatementOut:
    """Resolve a dispute.

    A maintainer resolves it, and may set aside wrong confirmations. Its author may withdraw it.
    """
    task.require_unchanged()
    return statement(task.session, submission.resolve(task.session, task.act, task.key, body.resolution))


def sight(task: Task, body: Sighting) -> StatementOut:
    """Add a sighting.

    Say in which device, and on which of its boards, a half was found.
    """
    return statement(task.session, submission.sight(task.session, task.act, body))


def take_back(task: Task, _: ReasonIn) -> StatementOut:
    """Withdraw one's own confirmation or sighting; a maintainer withdraws anybody's."""
    task.require_unchanged()
    return statement(task.session, submission.withdraw_document(task.session, task.act, task.record, task.key))


CONFIRM = Operation(
    name="confirm",
    permission=Permission.GIVE_EVIDENCE,
    body=ConfirmationIn,
    result=StatementOut,
    run=confirm,
    status=201,
    refusals=("unknown-entry", "own-evidence", "stale-revision", "review-refused"),
    routes=(Route(at="POST /confirmations", name="add_confirmation"),),
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
    routes=(Route(at="POST /disputes", name="add_dispute"),),
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
    routes=(Route(at="POST /disputes/{key}/answers", name="add_answer"),),
)
RESOLVE = Operation(
    name="resolve",
    permission=Permission.GIVE_EVIDENCE,
    body=ResolutionIn,
    result=StatementOut,
    run=resolve,
    reason=attrgetter("resolution.reason"),
    needs_tag=True,
    routes=(Route(at="POST /disputes/{key}/resolve", name="resolve_dispute", record="dispute"),),
)
SIGHT = Operation(
    name="sight",
    permission=Permission.CONTRIBUTE,
    body=Sighting,
    result=StatementOut,
    run=sight,
    status=201,
    refusals=("unknown-entry",),
    routes=(Route(at="POST /sightings", name="add_sighting"),),
)
WITHDRAW_CONFIRMATION = Operation(
    name="withdraw confirmation",
    permission=Permission.GIVE_EVIDENCE,
    body=ReasonIn,
    result=StatementOut,
    run=take_back,
    needs_tag=True,
    routes=(
        Route(
            at="POST /confirmations/{key}/withdraw",
            name="withdraw_confirmation",
            record="confirmation",
            summary="Withdraw a confirmation",
            description="Your own, or as a maintainer anybody's. It stays readable but no longer counts.",
        ),
    ),
)
WITHDRAW_SIGHTING = Operation(
    name="withdraw sighting",
    permission=Permission.CONTRIBUTE,
    body=ReasonIn,
    result=StatementOut,
    run=take_back,
    needs_tag=True,
    routes=(
        Route(
            at="POST /sightings/{key}/withdraw",
            name="withdraw_sighting",
            record="sighting",
            summary="Withdraw a sighting",
            description="Your own, or as a maintainer anybody's.",
        ),
    ),
)

OPERATIONS = (CONFIRM, DISPUTE, ANSWER, RESOLVE, SIGHT, WITHDRAW_CONFIRMATION, WITHDRAW_SIGHTING)
"""All operations on evidence."""
