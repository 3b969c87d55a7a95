"""Writing of entries: the only place where columns are made from documents."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import insert, update
from sqlalchemy.orm import Session

from catalog.db.engines import chunks
from catalog.db.tables import ENTRY_TABLES
from catalog.model.entries import Half, Mating, document, slug
from catalog.model.entry_states import EntryState

Row = dict[str, Any]


def columns_of(after: EntryState) -> Row:
    """All columns that follow from the state of an entry. Nothing else writes them, so they always agree with it."""
    entry = after.content
    row: Row = {
        "key": entry.key,
        "content": document(entry),
        "clean": after.clean,
        "state": after.state,
        "successor": after.successor,
    }
    if isinstance(entry, Half):
        sizes = {name: _size(entry, name) for name in ("pitch", "body_length", "body_width")}
        named = {name: getattr(entry, name) for name in ("half_kind", "rows", "contact_count")}
        names = "\n".join((entry.part_number, *entry.order_codes, *entry.aliases, *entry.markings))
        own = {"maker": slug(entry.maker), "series": entry.series_key, "names": names, **named, **sizes}
        return row | own | {"from_law": after.from_law}
    if isinstance(entry, Mating):
        named = {name: getattr(entry, name) for name in ("half", "other", "basis", "correspondence")}
        return row | named | {"stack_height": _size(entry, "stack_height"), "from_law": after.from_law}
    return row | {"maker": slug(entry.maker), "stated": after.stated}


def _size(entry: Half | Mating, name: str) -> float | None:
    dimension = entry.dimensions.get(name)
    return None if dimension is None else dimension.value


def insert_entries(session: Session, record: str, rows: Sequence[tuple[EntryState, Mapping[str, Any]]]) -> None:
    """Insert entries of one kind, each with the columns of its revision."""
    table = ENTRY_TABLES[record].__table__
    for chunk in chunks(columns_of(state) | dict(revised) for state, revised in rows):
        session.execute(insert(table), chunk)  # type: ignore[arg-type]


def update_entry(session: Session, key: str, after: EntryState, revised: Mapping[str, Any]) -> None:
    """Update the row of an entry. Its key stays the same."""
    table = ENTRY_TABLES[after.content.record].__table__
    statement = update(table).where(table.c.key == key)  # type: ignore[arg-type]
    session.execute(statement.values(**columns_of(after) | dict(revised) | {"key": key}))
