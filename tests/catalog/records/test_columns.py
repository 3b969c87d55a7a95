"""An entry is stored once: after any change, the columns beside its document follow from the document."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from catalog.db.database import Catalogue
from catalog.db.tables import ENTRY_TABLES, HalfTable, JournalTable, SeriesTable
from catalog.model.entries import ENTRY
from catalog.model.entry_states import ENTRIES, EntryState, entry_state
from catalog.records.write import columns_of
from tests.catalog.history.random_changes import RandomChanges, a_catalogue

STEPS = 60
OUTSIDE = {"revision", "substance_revision", "author", "changed_at"}
"""Columns that neither the document nor the state gives: who changed the entry, when, and how often."""


def _last(session: Session) -> dict[tuple[str, str], tuple[int, EntryState]]:
    """Every entry as given by the journal's last row about it."""
    rows = session.execute(select(JournalTable).where(JournalTable.record.in_(ENTRIES)).order_by(JournalTable.id))
    return {(row.record, row.key): (row.revision, entry_state(row.new)) for row in rows.scalars()}


def _stated(row: Any) -> EntryState:
    """The entry as given by the document and state of its row."""
    own = {name: row[name] for name in ("from_law", "stated") if name in row}
    content = ENTRY.validate_python(row["content"])
    return EntryState(content=content, state=row["state"], successor=row["successor"], clean=row["clean"], **own)


@pytest.mark.parametrize("seed", range(3))
def test_columns_documents_journal_and_spelling_agree_after_any_changes(catalogue: Catalogue, seed: int) -> None:
    with catalogue.writing() as session:
        a_catalogue(session)
    changes = RandomChanges(catalogue, seed, undoing=True)
    for _ in range(STEPS):
        changes.one()
    assert {"respell", "undo", "merge", "withdraw", "other_laws"} <= set(changes.carried_out)
    with catalogue.reading() as session:
        last = _last(session)
        for record, table in ENTRY_TABLES.items():
            for row in session.execute(select(table.__table__)).mappings():
                assert {name: row[name] for name in row if name not in OUTSIDE} == columns_of(_stated(row))
                assert (row["revision"], _stated(row)) == last.pop((record, row["key"]))
        _check_spelling(session)
    assert not last


def _check_spelling(session: Session) -> None:
    """Check that each maker and each series has one spelling."""
    series = {row.key: row.content for row in session.scalars(select(SeriesTable))}
    for half in session.scalars(select(HalfTable)):
        written = series[half.series]
        assert (half.content["maker"], half.content["series"]) == (written["maker"], written["name"])
