"""Import of a whole catalogue into an empty one, with its entries, evidence and history."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import func, insert, select, text, update
from sqlalchemy.orm import Session

from catalog.db.database import mark_changed
from catalog.db.engines import chunks
from catalog.db.tables import (
    ENTRY_TABLES,
    Base,
    CatalogueState,
    ContributorTable,
    DocumentTable,
    JournalTable,
)
from catalog.exchange.whole import DocumentHistory, EntryHistory, Row, histories, read_heading, read_rows
from catalog.model.entry_states import ENTRIES, EntryState
from catalog.model.errors import EntryError
from catalog.records.write import Row as Columns
from catalog.records.write import insert_entries

Progress = Callable[[int, int], None]

OF_ACCOUNTS = ("contributor", "token")
"""Records of people. Contributors are imported without their tokens, since only digests of tokens exist."""


def import_whole(session: Session, path: Path, progress: Progress | None = None) -> Mapping[str, int]:
    """Import a whole catalogue into an empty one; returns the number of records of each kind.

    Raises EntryError if the catalogue is not empty, FileError for a file that is damaged or contradicts itself.
    """
    _require_empty(session)
    heading = read_heading(path)
    rows = list(read_rows(path))
    found = histories(rows, str(path))
    _store_journal(session, rows, progress)
    _store_entries(session, found.entries.values())
    documents = found.documents.values()
    _store(session, DocumentTable, (_document(each) for each in documents if each.last.record not in OF_ACCOUNTS))
    _store(session, ContributorTable, (_contributor(each) for each in documents if each.last.record == "contributor"))
    # The version continues from the exported one; this transaction increases it by one.
    session.execute(update(CatalogueState).values(version=max(heading.version - 1, 0)))
    mark_changed(session)
    return Counter(record for record, _ in (*found.entries, *found.documents))


def _require_empty(session: Session) -> None:
    tables: tuple[type[Base], ...] = (JournalTable, *ENTRY_TABLES.values())
    for table in tables:
        if session.execute(select(func.count()).select_from(table)).scalar_one():
            raise EntryError(
                "a whole catalogue can only be imported into an empty one",
                field="database",
                remedy="Choose another database, or merge a publication into this one: otherhalf merge",
            )


def _store_journal(session: Session, rows: Sequence[Row], progress: Progress | None) -> None:
    done = 0
    for chunk in chunks(rows):
        session.execute(insert(JournalTable), [row.model_dump(exclude={"line"}) for row in chunk])
        done += len(chunk)
        if progress is not None:
            progress(done, len(rows))
    if session.get_bind().dialect.name == "postgresql":  # inserted ids do not advance its sequence
        session.execute(text("SELECT setval(pg_get_serial_sequence('journal', 'id'), (SELECT max(id) FROM journal))"))


def _store(session: Session, table: Any, rows: Iterable[Columns]) -> None:
    for chunk in chunks(rows):
        session.execute(insert(table), chunk)


def _document(document: DocumentHistory) -> Columns:
    last = document.last
    return {
        "record": last.record,
        "key": last.key,
        "of": last.of,
        "about": last.about,
        "state": last.new["state"],
        "private": last.new["private"],
        "revision": last.revision,
        "author": document.first.actor,
        "added_at": document.first.at,
        "changed_at": last.at,
        "content": last.new["content"],
    }


def _contributor(document: DocumentHistory) -> Columns:
    return {"key": document.last.key, "added_at": document.first.at, **document.last.new}


def _store_entries(session: Session, entries: Iterable[EntryHistory]) -> None:
    of: dict[str, list[tuple[EntryState, Columns]]] = {record: [] for record in ENTRIES}
    for each in entries:
        since, author = each.substance
        standing = {"revision": each.last.revision, "substance_revision": since, "author": author}
        of[each.last.record].append((each.latest, standing | {"key": each.last.key, "changed_at": each.last.at}))
    for record, rows in of.items():
        insert_entries(session, record, rows)
