"""Cases are saved, commented on, revised, closed and reopened."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from sqlalchemy.orm import Session

from catalog.cases.answer_history import add_answer, begin_anew, judge_again, revise_visibly
from catalog.cases.confirmation import Evidence
from catalog.cases.retrieval import Case, comments_of, get_case, seer_of
from catalog.cases.specimens import (
    COMMENT,
    MOST_COMMENTS,
    OPEN,
    SOLVED,
    SPECIMEN,
    WITHDRAWN,
    Comment,
    Judged,
    Solution,
    Specimen,
    Summary,
)
from catalog.contribute import submission
from catalog.evidence.statements import Confirmation
from catalog.history.acts import Act
from catalog.history.documents import DocumentRecord, add_document, get_document, revise_document
from catalog.model.errors import EntryError, ForbiddenError, OwnEvidenceError, StaleError
from catalog.records.read import get_record
from catalog.records.read_models import require_listed


def save(session: Session, act: Act, specimen: Specimen, summary: Summary, *, private: bool) -> DocumentRecord:
    """Open a case with its first answer."""
    document = add_document(session, act, SPECIMEN, specimen, state=OPEN, private=private)
    add_answer(session, act.at, document, summary)
    return document


def own_case(session: Session, act: Act, key: str, *, maintained: bool = False) -> Case:
    """The case of this key for people who may change it: its author and, if ``maintained``, maintainers.

    Raises NotFoundError if it cannot be seen, ForbiddenError.
    """
    case = get_case(session, key, seer_of(act))
    if act.actor != case.document.author and not (maintained and act.maintainer):
        raise ForbiddenError(
            f"this case is {case.document.author}'s",
            field="key",
            value=key,
            remedy="Comment on it, or suggest a half" if not maintained else "Its author or a maintainer may do this",
        )
    return case


def revise(
    session: Session,
    act: Act,
    case: Case,
    specimen: Specimen,
    summary: Summary,
    judged: Sequence[Judged],
    *,
    private: bool,
) -> DocumentRecord:
    """Give one's own open case new content. Its answer starts again; ``judged`` are the suggested halves."""
    require_open(case)
    document = revise_visibly(session, act, case.document, "revise", content=specimen, private=private)
    begin_anew(session, case, document, summary, judged)
    return document


def require_open(case: Case) -> None:
    """Raise EntryError for a case that is closed."""
    if case.document.state != OPEN:
        raise EntryError(
            f"this case is {case.document.state}",
            field="state",
            value=case.document.state,
            remedy="Reopen it first, with a reason",
        )


def withdraw(session: Session, act: Act, case: Case) -> DocumentRecord:
    """Withdraw a case from the list; people with its key can still read it. Raises EntryError if it is withdrawn."""
    if case.document.state == WITHDRAWN:
        raise EntryError(
            "this case is withdrawn already", field="state", value=WITHDRAWN, remedy="There is nothing left to do"
        )
    return revise_document(session, act, case.document, "withdraw", state=WITHDRAWN)


def reopen(session: Session, act: Act, case: Case) -> DocumentRecord:
    """Open a closed case again, without its solution; evidence from it stays until it is withdrawn.

    Raises EntryError for one that is open, and ForbiddenError if its author reopens a withdrawn case: a maintainer may
    have withdrawn it.
    """
    state = case.document.state
    if state == OPEN:
        raise EntryError("this case is open", field="state", value=OPEN, remedy="There is nothing left to do")
    if state == WITHDRAWN and not act.maintainer:
        raise ForbiddenError(
            "a withdrawn case is reopened by a maintainer",
            field="state",
            value=state,
            remedy="Save it again as a new case, or ask a maintainer",
        )
    content = Specimen.model_validate(case.document.content).model_copy(update={"solution": None})
    return revise_document(session, act, case.document, "reopen", content=content, state=OPEN)


def comment(session: Session, act: Act, case: Case, said: Comment, judged: Judged | None) -> DocumentRecord:
    """Add a comment or suggestion, ``judged`` by the ranking. It is as private as the case is now.

    Raises EntryError for a withdrawn case, and for one that has `MOST_COMMENTS`.
    """
    if case.document.state == WITHDRAWN:
        require_open(case)
    if len(comments_of(session, case.document, replace(seer_of(act), maintainer=True))) >= MOST_COMMENTS:
        raise EntryError(
            f"this case has {MOST_COMMENTS} comments, and cannot take more",
            field="specimen",
            value=case.document.key,
            remedy="Ask its author to close it and to open another one with what is known now",
        )
    if judged is not None:
        judge_again(session, case, judged)
    return add_document(
        session, act, COMMENT, said, of=SPECIMEN, about=case.document.key, private=case.document.private
    )


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The half that is accepted, ``listed`` or inferred, with or without a suggestion.

    ``confirm``: the observations must become evidence (True), must not (False), or become evidence if they can (None).
    ``may_confirm``: whether the person who accepts may give evidence. ``revision`` is the revision of the half that was
    looked at; None: the one used by the answer or the suggestion. ``acknowledged``: reasons for what the machine review
    finds severe.
    """

    half: str
    listed: bool
    reason: str = ""
    comment: str | None = None
    confirm: bool | None = None
    may_confirm: bool = True
    revision: int | None = None
    acknowledged: Mapping[str, str] = field(default_factory=dict)


def accept(session: Session, act: Act, case: Case, choice: Choice, evidence: Callable[[], Evidence]) -> DocumentRecord:
    """Close a case with its solution, and in the same step confirm the half by what was measured.

    Raises EntryError for a closed case, NotFoundError for a half or suggestion that is not there, ReviewRefusedError,
    and if evidence is required whatever `catalog.contribute.submission.confirm` raises.
    """
    require_open(case)
    said = _suggestion(session, case, choice)
    if choice.listed:
        require_listed(get_record(session, "half", choice.half), field="half")
    confirmation, left_out = (
        (None, ()) if choice.confirm is False else _confirm(session, act, case, choice, said, evidence)
    )
    solution = Solution(
        half=choice.half,
        accepted_by=act.actor,
        reason=choice.reason,
        comment=choice.comment,
        confirmation=confirmation,
        left_out=left_out,
    )
    content = Specimen.model_validate(case.document.content).model_copy(update={"solution": solution})
    return revise_document(session, act, case.document, "accept", content=content, state=SOLVED)


def _suggestion(session: Session, case: Case, choice: Choice) -> Comment | None:
    if choice.comment is None:
        return None
    document = get_document(session, COMMENT, choice.comment)
    said = Comment.model_validate(document.content)
    if document.about != case.document.key or document.state != "listed" or said.half != choice.half:
        raise EntryError(
            f"no comment on this case with this key suggests {choice.half}",
            field="comment",
            value=choice.comment,
            remedy="Name the suggestion that is accepted, or leave it out",
        )
    return said


def _confirm(
    session: Session,
    act: Act,
    case: Case,
    choice: Choice,
    said: Comment | None,
    evidence: Callable[[], Evidence],
) -> tuple[str | None, tuple[str, ...]]:
    """Key of the confirmation, if there is one, and what was left out."""
    found = evidence()
    why, revision = _why_none(act, case, choice, found), _revision_seen(case, choice, said)
    if not why and revision is None:
        why = "the revision of the half that was looked at is not named"
    if why or revision is None:
        return None, _insisted(choice, (f"nothing became evidence: {why}", *found.left_out))
    public = not case.document.private
    given = Confirmation(
        of="half",
        key=choice.half,
        revision=revision,
        basis="measured",
        values=found.values,
        note=f"measured on the case {case.document.key}" if public else "",
    )
    # A private case leaves no trace in what is public about the half.
    told = act if public else replace(act, reason="")
    try:
        document, _ = submission.confirm(session, told, given, choice.acknowledged)
    except (OwnEvidenceError, StaleError) as error:
        if choice.confirm:
            raise
        return None, (f"nothing became evidence: {error.message}", *found.left_out)
    return document.key, found.left_out


def _insisted(choice: Choice, left_out: tuple[str, ...]) -> tuple[str, ...]:
    if choice.confirm:
        raise EntryError(left_out[0], field="confirm", value=True, remedy="Leave confirm out, or add what is missing")
    return left_out


def _why_none(act: Act, case: Case, choice: Choice, found: Evidence) -> str:
    if act.actor != case.document.author:
        return f"the measurements are {case.document.author}'s, and only they can give them as evidence"
    if not choice.may_confirm:
        return "the token that accepted it does not have the scope for evidence"
    if not choice.listed:
        return "this half is not listed; add it, then confirm it"
    if not found.measured:
        return "no length of it was measured with an uncertainty or an instrument"
    return ""


def _revision_seen(case: Case, choice: Choice, said: Comment | None) -> int | None:
    if choice.revision is not None:
        return choice.revision
    led = {half.key: half.revision for half in case.answer.now.halves}
    return led.get(choice.half) or (said.revision if said is not None else None)
