"""Keeping a case's answer: quietly while it says the same, with a row in the journal where it says something else.

An answer moves a little with every change of the catalogue. Written as revisions, that would fill the journal with what
nobody did, move the catalogue's version and so call for the next ranking. So the answer gets a revision, by the
operator, only where it became another, and where the author changed what is asked; its probabilities, its version and
the judgements of suggestions are otherwise replaced in place. A history that is replayed elsewhere holds the answer as
it last became another, and ranks it anew.
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
from catalog.model.entries import Entry
from catalog.model.timestamps import now


def add_answer(session: Session, at: str, case: DocumentRecord, summary: Summary) -> DocumentRecord:
    """Keep a new case's first answer."""
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
    """Keep the judgement of a half that was suggested, in place of an earlier one."""
    others = tuple(each for each in case.answer.judged if each.half != judged.half)
    _replace(session, case.answer_document, case.answer.model_copy(update={"judged": (*others, judged)}))


def begin_anew(
    session: Session, case: Case, revised: DocumentRecord, summary: Summary, judged: Sequence[Judged]
) -> None:
    """Keep the first answer to what the author asks now, in a case that was ``revised``."""
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
    """Make the next revision of what may be private.

    Where that makes it public, its row in the journal tells of what was private before and so is private too; another
    revision follows, that changes nothing, so that the journal tells everybody what is public now.
    """
    after = revise_document(session, act, document, action, content=content, private=private, state=state)
    return revise_document(session, act, after, "publish") if document.private and not private else after


def _replace(session: Session, document: DocumentRecord, answer: CaseAnswer) -> None:
    values = {"content": written(answer)}
    session.execute(update(DocumentTable).where(DocumentTable.id == document.id).values(**values))


def _as_journaled(session: Session, document: DocumentRecord) -> DocumentRecord:
    """The document as its last row in the journal left it: the next row goes on from there."""
    row = revision_of(session, document.record, document.key, document.revision)
    return document.model_copy(update={"content": row.new["content"]})


def renew_answer(session: Session, case: Case, summary: Summary, judged: Sequence[Judged] = ()) -> tuple[str, ...]:
    """Keep what the catalogue now makes of a case; returns what changed, in words.

    Nothing happens where the case was closed or written to since it was read, or was ranked by a later catalogue.
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
"""Probabilities whose crossing is news: likelier than all else together, and nearly sure."""

VERDICTS = {"identified": "identified", "shortlist": "not settled", "no_match": "no match"}


def changes(before: Summary, after: Summary) -> tuple[str, ...]:
    """What is news in an answer, in words; nothing where it says the same.

    News is another verdict, another leading geometry, or its probability crossing one of `LEVELS`. Among answers that
    are no match it is not: the order of what is improbable says nothing.
    """
    return tuple(_changes(before, after))


def _changes(before: Summary, after: Summary) -> Iterator[str]:
    if before.verdict != after.verdict:
        yield f"was {VERDICTS[before.verdict]}, is {VERDICTS[after.verdict]}"
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
