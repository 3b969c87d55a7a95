"""Operations on cases: save, revise, comment, withdraw a comment, accept a half, withdraw, reopen.

A case is ranked before its transaction begins; the result goes into the transaction with the body.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from api.identification.nearest import require_half
from api.identification.tools_at_hand import tools_of
from api.operations.case_ranking import checked_summary, judged_half, revision_of, suggested
from api.operations.operation import Beforehand, Operation, Route, Task
from api.pictures.measuring import measure
from api.schemas.cases import (
    AcceptIn,
    CaseOut,
    CommentIn,
    CommentOut,
    CommentWithdrawal,
    SpecimenIn,
    asked_of,
    case_out,
    clicked_in,
    comment_out,
)
from api.schemas.evidence import ReasonIn
from api.schemas.requests import to_observations
from catalog.accounts.access import Permission, allowed, require
from catalog.cases import lifecycle
from catalog.cases.confirmation import Evidence, evidence_of
from catalog.cases.retrieval import Case, Seer, comments_of, get_case, seer, seer_of
from catalog.cases.specimens import COMMENT, SPECIMEN, Comment, Judged, Specimen, Summary
from catalog.contribute.submission import withdraw_document
from catalog.history.documents import DocumentRecord, get_document
from catalog.history.preconditions import tag_of
from catalog.model.errors import NotFoundError

OBSERVED_REFUSALS = ("invalid-observations", "unknown-half", "unknown-entry")
"""Problems of observations, and of halves that are named."""


@dataclass(frozen=True, kw_only=True)
class RankedSpecimen:
    """A specimen to save, its ranking, and the ranking of the suggested halves."""

    given: SpecimenIn
    summary: Summary
    judged: tuple[Judged, ...]


@dataclass(frozen=True, kw_only=True)
class JudgedComment:
    """A comment, and the ranking of the half that it suggests."""

    comment: Comment
    judged: Judged | None


def case_of(session: Session, key: str, seen_by: Seer) -> CaseOut:
    """A case in the interface's form. Raises NotFoundError if there is none, or if ``seen_by`` may not see it."""
    case = get_case(session, key, seen_by)
    comments = tuple(comments_of(session, case.document, seen_by))
    return case_out(case, comments, tag_of(session, SPECIMEN, key))


def evidence_in(case: Case) -> Evidence:
    """The observations of a case as evidence about a half."""
    request = asked_of(Specimen.model_validate(case.document.content))
    return evidence_of(to_observations(request), tools_of(request), request.remains)


def ranked(before: Beforehand, body: SpecimenIn) -> RankedSpecimen:
    """Rank a specimen. Raises errors for observations and points that make no sense."""
    return _ranked(before, body, ())


def ranked_anew(before: Beforehand, body: SpecimenIn) -> RankedSpecimen:
    """Rank a case's new content, and the suggested halves."""
    with before.catalogue.reading() as session:
        halves = suggested(session, get_case(session, before.key, seer(before.who)))
    return _ranked(before, body, halves)


def _ranked(before: Beforehand, body: SpecimenIn, halves: Sequence[str]) -> RankedSpecimen:
    if body.pictures:
        measure(clicked_in(body))
    summary, judged = checked_summary(before.source.current(), asked_of(body.specimen()), halves)
    return RankedSpecimen(given=body, summary=summary, judged=judged)


def save(task: Task, body: RankedSpecimen) -> CaseOut:
    """Save a case.

    A case holds the observations of a part that is not identified yet. It is ranked again whenever the catalogue
    changes.

    Only people with its key, which nobody can guess, see a private case; it is on no list and in no feed. A public case
    is listed among the open cases. Photos are never saved, only the points clicked in them.
    """
    given = body.given
    document = lifecycle.save(task.session, task.act, given.specimen(), body.summary, private=given.private)
    return case_of(task.session, document.key, seer_of(task.act))


def revise(task: Task, body: RankedSpecimen) -> CaseOut:
    """Revise your case.

    Send the whole new content. `visibility` may change; what was public stays in the journal.
    """
    found, given = _own_case(task), body.given
    lifecycle.revise(task.session, task.act, found, given.specimen(), body.summary, body.judged, private=given.private)
    return case_of(task.session, task.key, seer_of(task.act))


def _own_case(task: Task, *, maintained: bool = False) -> Case:
    """The case, if it may be changed. Raises the error of a case that is hidden or another person's first, then that of
    one that has changed since it was read."""
    found = lifecycle.own_case(task.session, task.act, task.key, maintained=maintained)
    task.require_unchanged()
    return found


def judged_comment(before: Beforehand, body: CommentIn) -> JudgedComment:
    """Rank the half that a comment suggests."""
    judged, revision = None, None
    if body.half is not None:
        snapshot = before.source.current()
        require_half(snapshot, body.half)
        with before.catalogue.reading() as session:
            specimen = Specimen.model_validate(get_case(session, before.key, seer(before.who)).document.content)
        judged, revision = judged_half(snapshot, asked_of(specimen), body.half), revision_of(snapshot, body.half)
    made = Comment(specimen=before.key, text=body.text, half=body.half, revision=revision)
    return JudgedComment(comment=made, judged=judged)


def comment(task: Task, body: JudgedComment) -> CommentOut:
    """Comment on a case, or suggest a half.

    A suggestion names a half, listed or inferred, and gives the reason; the rank of that half is saved with it.
    """
    found = get_case(task.session, task.key, seer_of(task.act))
    document = lifecycle.comment(task.session, task.act, found, body.comment, body.judged)
    return _comment_out(task, document, body.judged)


def withdraw_comment(task: Task, body: CommentWithdrawal) -> CommentOut:
    """Withdraw a comment.

    Your own, or as a maintainer anybody's. It is no longer shown, but stays in the journal.
    """
    found = get_case(task.session, task.key, seer_of(task.act))
    if get_document(task.session, COMMENT, body.comment).about != found.document.key:
        raise NotFoundError("this case has no comment with this key", field="comment", value=body.comment)
    return _comment_out(task, withdraw_document(task.session, task.act, COMMENT, body.comment), None)


def _comment_out(task: Task, document: DocumentRecord, judged: Judged | None) -> CommentOut:
    known = {} if judged is None else {judged.half: judged}
    return comment_out(document, known, tag_of(task.session, COMMENT, document.key))


def chosen(before: Beforehand, body: AcceptIn) -> lifecycle.Choice:
    """The accepted half. Raises ApiError if the catalogue does not have the half, and the refusal if the observations
    are to become evidence and the person may not give evidence."""
    snapshot = before.source.current()
    require_half(snapshot, body.half)
    if body.confirm:
        require(before.who, Permission.GIVE_EVIDENCE)
    return lifecycle.Choice(
        half=body.half,
        listed=snapshot.halves[body.half].origin == "listed",
        reason=body.reason,
        comment=body.comment,
        confirm=body.confirm,
        may_confirm=allowed(before.who, Permission.GIVE_EVIDENCE) is None,
        revision=body.revision,
        acknowledged=body.acknowledge,
    )


def accept(task: Task, body: lifecycle.Choice) -> CaseOut:
    """Accept a half and close the case.

    The half may be a suggestion, a candidate or any other.

    In the same step the author's observations become a measured confirmation of that half, as far as possible:
    `solution.left_out` says what was not used and why. For this the token also needs the scope 'evidence'.
    """
    found = _own_case(task, maintained=True)
    lifecycle.accept(task.session, task.act, found, body, lambda: evidence_in(found))
    return case_of(task.session, task.key, seer_of(task.act))


def withdraw(task: Task, _: ReasonIn) -> CaseOut:
    """Withdraw a case.

    Your own, or as a maintainer anybody's. People with its key can still read it.
    """
    lifecycle.withdraw(task.session, task.act, _own_case(task, maintained=True))
    return case_of(task.session, task.key, seer_of(task.act))


def reopen(task: Task, _: ReasonIn) -> CaseOut:
    """Reopen a case.

    Your own solved case; a maintainer can also reopen a withdrawn one. The confirmation that came from it stays until
    it is withdrawn.
    """
    lifecycle.reopen(task.session, task.act, _own_case(task, maintained=True))
    return case_of(task.session, task.key, seer_of(task.act))


SAVE_CASE = Operation(
    name="save case",
    permission=Permission.SAVE_SPECIMEN,
    body=SpecimenIn,
    result=CaseOut,
    run=save,
    prepare=ranked,
    status=201,
    refusals=OBSERVED_REFUSALS,
    routes=(Route(at="POST /specimens", name="save_specimen"),),
)
REVISE_CASE = Operation(
    name="revise case",
    permission=Permission.SAVE_SPECIMEN,
    body=SpecimenIn,
    result=CaseOut,
    run=revise,
    prepare=ranked_anew,
    needs_tag=True,
    refusals=OBSERVED_REFUSALS,
    routes=(Route(at="PUT /specimens/{key}", name="revise_specimen", record=SPECIMEN),),
)
COMMENT_ON_CASE = Operation(
    name="comment",
    permission=Permission.DISCUSS,
    body=CommentIn,
    result=CommentOut,
    run=comment,
    prepare=judged_comment,
    status=201,
    refusals=OBSERVED_REFUSALS,
    routes=(Route(at="POST /specimens/{key}/comments", name="add_comment"),),
)
WITHDRAW_COMMENT = Operation(
    name="withdraw comment",
    permission=Permission.DISCUSS,
    body=CommentWithdrawal,
    result=CommentOut,
    run=withdraw_comment,
    refusals=OBSERVED_REFUSALS,
    routes=(Route(at="POST /specimens/{key}/comments/{comment}/withdraw", name="withdraw_comment", body=ReasonIn),),
)
ACCEPT = Operation(
    name="accept",
    permission=Permission.SAVE_SPECIMEN,
    body=AcceptIn,
    result=CaseOut,
    run=accept,
    prepare=chosen,
    needs_tag=True,
    refusals=(*OBSERVED_REFUSALS, "own-evidence", "review-refused"),
    routes=(Route(at="POST /specimens/{key}/accept", name="accept", record=SPECIMEN),),
)
WITHDRAW_CASE = Operation(
    name="withdraw case",
    permission=Permission.SAVE_SPECIMEN,
    body=ReasonIn,
    result=CaseOut,
    run=withdraw,
    needs_tag=True,
    refusals=OBSERVED_REFUSALS,
    routes=(Route(at="POST /specimens/{key}/withdraw", name="withdraw_specimen", record=SPECIMEN),),
)
REOPEN_CASE = Operation(
    name="reopen case",
    permission=Permission.SAVE_SPECIMEN,
    body=ReasonIn,
    result=CaseOut,
    run=reopen,
    needs_tag=True,
    refusals=OBSERVED_REFUSALS,
    routes=(Route(at="POST /specimens/{key}/reopen", name="reopen_specimen", record=SPECIMEN),),
)

OPERATIONS = (SAVE_CASE, REVISE_CASE, COMMENT_ON_CASE, WITHDRAW_COMMENT, ACCEPT, WITHDRAW_CASE, REOPEN_CASE)
"""All operations on cases."""
