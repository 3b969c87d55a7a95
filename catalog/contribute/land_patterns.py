"""Land patterns of halves, kept as documents with their history: one for each half."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy.orm import Session

from catalog.db.engines import chunks
from catalog.history.acts import Act
from catalog.history.documents import DocumentRecord, add_documents, documents, revise_document, written
from catalog.model.land_pattern import RECORD, LandPattern

LISTED = "listed"


def keep_patterns(session: Session, act: Act, patterns: Sequence[LandPattern]) -> int:
    """Store patterns of halves that are in the catalogue; returns how many are new, different or were undone."""
    known: dict[str | None, DocumentRecord] = {}
    for chunk in chunks(pattern.half for pattern in patterns):
        known |= {document.about: document for document in documents(session, RECORD, of="half", among=chunk)}
    new = [pattern for pattern in patterns if pattern.half not in known]
    changed = [
        pattern
        for pattern in patterns
        if (before := known.get(pattern.half)) and (before.content, before.state) != (written(pattern), LISTED)
    ]
    add_documents(session, act, RECORD, [(pattern, pattern.half) for pattern in new], of="half")
    for pattern in changed:
        revise_document(session, act, known[pattern.half], "revise", content=pattern, state=LISTED)
    return len(new) + len(changed)


def pattern_of(session: Session, half: str) -> LandPattern | None:
    """The land pattern of a half; None where its lands are not known one by one."""
    known = documents(session, RECORD, of="half", about=half, state=LISTED, limit=1)
    return LandPattern.model_validate(known[0].content) if known else None
