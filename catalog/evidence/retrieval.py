"""Statements about entries read from the catalogue and assessed: for one entry, a page, or all entries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import select
from sqlalchemy.orm import Session

from catalog.db.engines import CHUNK
from catalog.db.tables import DocumentTable, JournalTable
from catalog.evidence.assessment import Assessed, Assessment, Said, assess
from catalog.evidence.statements import Confirmation, Dispute, Sighting
from catalog.model.entry_states import entry_state, substance

_MODELS: Mapping[str, TypeAdapter[Sighting] | TypeAdapter[Confirmation] | TypeAdapter[Dispute]] = {
    "sighting": TypeAdapter(Sighting),
    "confirmation": TypeAdapter(Confirmation),
    "dispute": TypeAdapter(Dispute),
}


def assessments(session: Session, entries: Sequence[Assessed]) -> dict[str, Assessment]:
    """The assessment of each entry, by key. One query for all, and one more for each entry that was changed after
    somebody gave evidence.

    Raises ValueError for entries of several kinds: a half and a series can have one key.
    """
    if not entries:
        return {}
    kinds = {entry.of for entry in entries}
    if len(kinds) > 1:
        raise ValueError(f"entries of one kind at a time, not {' and '.join(sorted(kinds))}")
    (of,) = kinds
    said = said_about(session, of, [entry.key for entry in entries] if len(entries) <= CHUNK else None)
    found = {}
    for entry in entries:
        about = said.get(entry.key, [])
        confirmed = [each.statement.revision for each in about if isinstance(each.statement, Confirmation)]
        found[entry.key] = assess(seen(session, entry, confirmed), about)
    return found


def assessment_of(session: Session, entry: Assessed) -> Assessment:
    """The assessment of one entry."""
    return assessments(session, [entry])[entry.key]


def seen(session: Session, entry: Assessed, revisions: Iterable[int]) -> Assessed:
    """The entry, with those of the given revisions that had other figures than the current ones."""
    between = {revision for revision in revisions if entry.substance_revision < revision < entry.revision}
    if not between:
        return entry
    rows = session.execute(
        select(JournalTable.revision, JournalTable.new).where(
            JournalTable.record == entry.of, JournalTable.key == entry.key, JournalTable.revision.in_(between)
        )
    )
    present = substance(entry.content)
    return replace(
        entry, otherwise=frozenset(revision for revision, new in rows if substance(entry_state(new).content) != present)
    )


def said_about(session: Session, of: str, keys: Sequence[str] | None) -> dict[str, list[Said]]:
    """Sightings, confirmations and disputes about entries of one kind, by key, in the order in which they were added.

    ``keys`` None: about all entries.
    """
    table = DocumentTable
    statement = (
        select(table.about, table.record, table.key, table.author, table.added_at, table.state, table.content)
        .where(table.record.in_(_MODELS), table.of == of)
        .order_by(table.id)
    )
    if keys is not None:
        statement = statement.where(table.about.in_(keys))
    found: dict[Any, list[Said]] = defaultdict(list)
    for about, record, key, author, added_at, state, content in session.execute(statement):
        said = Said(
            key=key,
            author=author,
            added_at=added_at,
            state=state,
            statement=_MODELS[record].validate_python(content),
        )
        found[about].append(said)
    return found
