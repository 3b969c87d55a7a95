"""Storing a case's answer: in place while it says the same, with a row in the journal when it changes.

An answer changes a little with every change of the catalogue. If each change were a revision, the journal would fill
up, the catalogue's version would move, and the next ranking would start. So the answer gets a revision, by the
operator, only when it says something else or the author changed the case; otherwise its probabilities, its version and
the judgements of suggestions are replaced in place. A history replayed elsewhere holds the answer as it was at its last
revision and ranks it again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sqlalchemy import update
from sqlalchemy.orm import Session

from catalog.cases.retrieval import Case, case_now
from catalog.cases.specimens import CASE_ANSWER, CHANGED, OPEN, SAME, SPECIMEN, CaseAnswer, Judged, Summary
from catalog.db.tables import DocumentTable
from catalog.history.acts import OPERATOR, Act
from catalog.history.documents import DocumentRecord, add_document, revise_document, written
from catalog.history.journal import revision_of
from catalog.model.entry_parts import Entry
from catalog.model.timestamps import now
from matcher.results import VERDICT_WORDS


def add_answer(session: Session, at: str, case: DocumentRecord, summary: Summary) -> DocumentRecord:
    """Store a new case's first answer."""
    return add_document(
        session,
        Act(actor=OPERATOR, at=at),
        CASE_ANSWER,
        CaseAnswer(asked=case.revision, now=summary),
        of=SPECIMEN,
        about=case.key,
        state=SAME,
        private=case.private,
    )


def judge_again(session: Session, case: Case, judged: Judged) -> None:
    """Store the judgement of a suggested half, replacing an earlier one."""
    others = tuple(each for each in case.answer.judged if each.half != judged.half)
    _replace(session, case.answer_document, case.answer.model_copy(update={"judged": (*others, judged)}))


def begin_anew(
    session: Session, case: Case, revised: DocumentRecord, summary: Summary, judged: Sequence[Judged]
) -> None:
    """Store the first answer to a case that was ``revised``."""
    act = Act(actor=OPERATOR, at=revised.changed_at, reason="the case was revised")
    document = _as_journaled(session, case.answer_document)
    answer = CaseAnswer(asked=revised.revision, now=summary, judged=tuple(judged))
    revise_visibly(session, act, document, "rank", content=answer, private=revised.private, state=SAME)


def revise_visibly(
    session: Session,
    act: Act,
    document: DocumentRecord,
    action: str,
    *,
    content: Entry,
    private: bool,
    state: str | None = None,
) -> DocumentRecord:
    """Make the next revision of a document that may be private.

    If that makes it public, its row in the journal also shows the private state before and so stays private; a second
    revision without changes then shows the public state to everybody.
    """
    after = revise_document(session, act, document, action, content=content, private=private, state=state)
    return revise_document(session, act, after, "publish") if document.private and not private else after


def _replace(session: Session, document: DocumentRecord, answer: CaseAnswer) -> None:
    values = {"content": written(answer)}
    session.execute(update(DocumentTable).where(DocumentTable.id == document.id).values(**values))


def _as_journaled(session: Session, document: DocumentRecord) -> DocumentRecord:
    """The document as in its last row of the journal, from which the next row continues."""
    row = revision_of(session, document.record, document.key, document.revision)
    return document.model_copy(update={"content": row.new["content"]})


def renew_answer(session: Session, case: Case, summary: Summary, judged: Sequence[Judged] = ()) -> tuple[str, ...]:
    """Store the catalogue's present answer to a case; returns what changed, in words.

    Nothing is stored if the case was closed or changed since it was read, or was ranked by a later catalogue.
    """
    present = case_now(session, case.document.key)
    kept, asked = present.answer, present.document.revision
    written_to = asked != case.document.revision or present.document.state != OPEN
    if written_to or (kept.asked == asked and kept.now.catalogue_version >= summary.catalogue_version):
        return ()
    news = changes(kept.now, summary)
    if not news:
        same = {"asked": asked, "now": summary, "judged": tuple(judged)}
        _replace(session, present.answer_document, kept.model_copy(update=same))
        return ()
    changed = CaseAnswer(asked=asked, now=summary, before=kept.now, changes=news, judged=tuple(judged))
    act = Act(actor=OPERATOR, at=now(), reason="the catalogue changed")
    document = _as_journaled(session, present.answer_document)
    revise_document(session, act, document, "rank", content=changed, state=CHANGED)
    return news


LEVELS = (0.5, 0.95)
"""Probabilities whose crossing is reported: more likely than everything else together, and nearly certain."""


def changes(before: Summary, after: Summary) -> tuple[str, ...]:
    """The changes that matter between two answers, in words; empty if there are none.

    These are another verdict, another leading geometry, or its probability crossing one of `LEVELS`. Without a match
    the order of improbable halves does not matter.
    """
    return tuple(_changes(before, after))


def _changes(before: Summary, after: Summary) -> Iterator[str]:
    if before.verdict != after.verdict:
        yield f"was {VERDICT_WORDS[before.verdict]}, is {VERDICT_WORDS[after.verdict]}"
    elif after.verdict == "no_match":
        return
    if not before.keys & after.keys:
        if before.keys or after.keys:
            yield f"{after.leader} now leads instead of {before.leader}"
        return
    was, now = before.probability or 0.0, after.probability or 0.0
    for level in LEVELS:
        if (was < level) != (now < level):
            direction = "rose above" if now >= level else "fell below"
            yield f"{after.leader} {direction} {100 * level:g} %, from {100 * was:.1f} % to {100 * now:.1f} %"
