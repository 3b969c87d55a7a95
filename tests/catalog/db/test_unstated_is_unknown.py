"""Silence about the wiring meant one to one; after the migration it means unknown, unless a document was cited."""

from __future__ import annotations

from typing import Any

import pytest
from alembic import command
from sqlalchemy import select, update

from catalog.db.database import open_catalogue
from catalog.db.schema import migration_config
from catalog.db.tables import JournalTable, MatingTable, SeriesTable
from catalog.history.addition import add
from catalog.history.changes import revert, revise
from catalog.history.upgrade import upgrade
from catalog.model.entries import ENTRY, Series, document
from catalog.records.read import get_records
from catalog.records.read_models import AnyRecord
from tests.catalog.db.test_entries_stored_once import connected
from tests.catalog.history.changed_entries import WREN, by
from tests.catalog.model.entry_examples import half, mating, series


def _named(name: str, **changes: Any) -> Series:
    kinds = [
        {**law, "part_number": f"{name}-{law['part_number']}"} for law in series().model_dump(mode="json")["kinds"]
    ]
    return series(name=name, kinds=kinds, **changes)


CITED, UNCITED = _named("CITED"), _named("UNCITED", datasheet=None)
REVERSED = _named("REVERSED", datasheet=None, correspondence="reversed")
PERSONS = mating(correspondence="identity", contact_map=[], citation=None, other="dunnock-sons:cited-dn40pa-010")
"""What a person said of one pair was never silence."""

NAMES = ("uncited", "cited", "reversed")


@pytest.fixture
def old_url(migrated_url: str) -> str:
    """A catalogue as revision 0003 had it: matings by law say what the silence of their series meant."""
    with open_catalogue(migrated_url) as catalogue, catalogue.writing() as session:
        add(session, [CITED, UNCITED, REVERSED, half(), PERSONS], by(WREN))
        for entry in (CITED, UNCITED):
            revise(session, by(WREN), entry.key, entry.model_copy(update={"note": "a later note"}))
        identity = {"correspondence": "identity"}
        for row in session.scalars(select(MatingTable).where(MatingTable.correspondence == "unknown")):
            row.content, row.correspondence = row.content | identity, "identity"
        for told in session.scalars(select(JournalTable).where(JournalTable.record == "mating")):
            content = {**identity, **told.new["content"]}
            session.execute(
                update(JournalTable).where(JournalTable.id == told.id).values(new=told.new | {"content": content})
            )
    with connected(migrated_url) as connection:
        command.stamp(migration_config(connection), "0003")
    return migrated_url


def _records(url: str, record: str) -> dict[str, AnyRecord]:
    with open_catalogue(url) as catalogue, catalogue.reading() as session:
        table = SeriesTable if record == "series" else MatingTable
        return dict(get_records(session, record, list(session.scalars(select(table.key)))))


def _wiring(url: str, record: str) -> dict[str, set[str]]:
    """The correspondences by the series of the entry."""
    found: dict[str, set[str]] = {}
    for key, each in _records(url, record).items():
        name = "person" if key in (PERSONS.key, half().series_key) else next(n for n in NAMES if n in key)
        found.setdefault(name, set()).add(each.content.correspondence)
    return found


def test_only_what_a_document_is_cited_for_stays_one_to_one(old_url: str) -> None:
    upgrade(old_url)
    expected = {"cited": {"identity"}, "uncited": {"unknown"}, "reversed": {"reversed"}}
    assert _wiring(old_url, "series") == expected | {"person": {"unknown"}}
    assert _wiring(old_url, "mating") == expected | {"person": {"identity"}}


def test_columns_documents_and_the_journals_last_state_agree(old_url: str) -> None:
    upgrade(old_url)
    with open_catalogue(old_url) as catalogue, catalogue.reading() as session:
        for row in session.scalars(select(MatingTable)):
            assert row.correspondence == ENTRY.validate_python(row.content).correspondence
        for table in (SeriesTable, MatingTable):
            for row in session.scalars(select(table)):
                last = select(JournalTable).where(JournalTable.key == row.key).order_by(JournalTable.revision.desc())
                assert session.scalars(last.limit(1)).one().new["content"] == row.content
                assert document(ENTRY.validate_python(row.content)) == row.content


def test_an_earlier_state_of_a_cited_series_is_restored_with_its_wiring(old_url: str) -> None:
    upgrade(old_url)
    with open_catalogue(old_url) as catalogue, catalogue.writing() as session:
        for entry in (CITED, UNCITED):
            revert(session, by(WREN), "series", entry.key, 1)
    assert _wiring(old_url, "series")["cited"] == _wiring(old_url, "mating")["cited"] == {"identity"}
    assert _wiring(old_url, "series")["uncited"] == _wiring(old_url, "mating")["uncited"] == {"unknown"}


def test_nobody_loses_a_standing_and_no_revision_is_counted(old_url: str) -> None:
    def standing(of: AnyRecord) -> tuple[object, ...]:
        return of.revision, of.substance_revision, of.author, of.changed_at

    with connected(old_url) as connection:
        command.stamp(migration_config(connection), "head")
    before = {key: standing(each) for name in ("series", "mating") for key, each in _records(old_url, name).items()}
    with connected(old_url) as connection:
        command.stamp(migration_config(connection), "0003")
    upgrade(old_url)
    after = {key: standing(each) for name in ("series", "mating") for key, each in _records(old_url, name).items()}
    assert after == before


def test_the_earlier_program_reads_unknown_after_a_downgrade_and_nothing_is_lost_on_the_way_back(old_url: str) -> None:
    upgrade(old_url)
    before = _wiring(old_url, "series"), _wiring(old_url, "mating")
    with connected(old_url) as connection:
        command.downgrade(migration_config(connection), "0003")
        query = select(SeriesTable.content).where(SeriesTable.key == UNCITED.key)
        assert connection.execute(query).scalar_one()["correspondence"] == "unknown"
    upgrade(old_url)
    assert (_wiring(old_url, "series"), _wiring(old_url, "mating")) == before
