"""Upgrade of an older catalogue to this program's tables, with journal rows for entries that have none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from catalog.db.database import Catalogue, connect
from catalog.db.driver_errors import driver_errors
from catalog.db.schema import upgrade_engine
from catalog.db.tables import JournalTable
from catalog.history.acts import operators
from catalog.history.journal import Change, append
from catalog.records.read import load_halves, load_matings, load_series
from catalog.records.read_models import AnyRecord, state_of


def upgrade(url: str | None = None) -> None:
    """Upgrade a catalogue's tables to this program's version; raises what `catalog.db.database.open_catalogue` does."""
    engine, where = connect(url)
    with Catalogue(engine, where) as catalogue:
        with driver_errors(where):
            upgrade_engine(engine, where)
        with catalogue.writing() as session:
            journal_missing(session)


def journal_missing(session: Session) -> None:
    """Add a row by the operator for every entry that is older than the journal."""
    known = {(record, key) for record, key in session.execute(select(JournalTable.record, JournalTable.key))}
    records: Sequence[AnyRecord] = [*load_series(session), *load_halves(session), *load_matings(session)]
    changes = (
        Change(
            record=record.content.record,
            key=record.content.key,
            revision=record.revision,
            new=state_of(record).written(),
        )
        for record in records
        if (record.content.record, record.content.key) not in known
    )
    if records:
        act = operators("listed before the journal began")
        append(session, replace(act, at=records[0].changed_at), "add", changes)
