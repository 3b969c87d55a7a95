"""Keeping a case's answer: quietly while it says the same, with a row in the journal where it says something else.

An answer moves a little with every change of the catalogue. Written as revisions, that would fill the journal with what
nobody did, move the catalogue's version and so call for the next ranking. So the answer gets a revision, by the
operator, only where it became another; its probabilities and version are otherwise replaced in place, and so is the
whole answer when the author changes the observations: the journal tells of that already.
"""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import update
from sqlalchemy.orm import Session

from catalog.cases.finding import Case, case_now
from catalog.cases.specimens import OPEN, SPECIMEN
from catalog.cases.summaries import CHANGED, RECORD, SAME, CaseAnswer, Judged, Summary, changes
from catalog.history.acts import OPERATOR, Act
from catalog.history.documents import DocumentRecord, add_document, revise_document, written
from catalog.moments import now
from catalog.record_tables import DocumentTable


def add_answer(session: Session, at: str, case: DocumentRecord, summary: Summary) -> DocumentRecord:
    """Keep a new case's first answer."""
    return add_document(
        session,
        Act(actor=OPERATOR, at=at),
        RECORD,
        CaseAnswer(now=summary),
        of=SPECIMEN,
        about=case.key,
        state=SAME,
        private=case.private,
    )


def replace_answer(session: Session, case: Case, answer: CaseAnswer, *, private: bool, state: str = SAME) -> None:
    """Replace a case's answer in place."""
    content = written(answer)
    values = {"content": content, "private": private, "state": state}
    session.execute(update(DocumentTable).where(DocumentTable.id == case.answer_document.id).values(**values))


def renew_answer(session: Session, case: Case, summary: Summary, judged: Sequence[Judged] = ()) -> tuple[str, ...]:
    """Keep what the catalogue now makes of a case; returns what changed, in words.

    Nothing happens where the case was closed or written to since it was read, or was ranked by a later catalogue.
    """
    present = case_now(session, case.document.key)
    written_to = present.document.revision != case.document.revision or present.document.state != OPEN
    kept = present.answer
    if written_to or kept.now.catalogue_version >= summary.catalogue_version:
        return ()
    news = changes(kept.now, summary)
    if not news:
        same = kept.model_copy(update={"now": summary, "judged": tuple(judged)})
        document = present.answer_document
        replace_answer(session, present, same, private=document.private, state=document.state)
        return ()
    changed = CaseAnswer(now=summary, before=kept.now, changes=news, judged=tuple(judged))
    act = Act(actor=OPERATOR, at=now(), reason="the catalogue changed")
    revise_document(session, act, present.answer_document, "rank", content=changed, state=CHANGED)
    return news
