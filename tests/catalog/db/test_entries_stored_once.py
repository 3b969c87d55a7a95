"""A catalogue that stored entries in parts is migrated without loss, and back again; views answer SQL queries."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from sqlalchemy import Connection, inspect, text

from catalog.db.database import Catalogue, open_catalogue
from catalog.db.engines import USE, make_engine, parse
from catalog.db.schema import migration_config
from catalog.history.addition import add
from catalog.history.changes import withdraw
from catalog.history.journal import page
from catalog.history.upgrade import upgrade
from catalog.model.errors import SchemaError
from catalog.records.read import get_records
from catalog.records.read_models import AnyRecord
from tests.catalog.db.old_catalogue import CHANGED, ENTRIES, ROWS, fill
from tests.catalog.history.changed_entries import HALF, MEMBER, WREN, by
from tests.catalog.model.entry_examples import half, mating, series

OLD = "0002"


@contextmanager
def connected(database_url: str) -> Iterator[Connection]:
    engine = make_engine(parse(database_url))
    with engine.connect().execution_options(**{USE: "writing"}) as connection, connection.begin():
        yield connection
    engine.dispose()


@pytest.fixture
def old_url(database_url: str) -> str:
    """A database with the catalogue of revision 0002."""
    with connected(database_url) as connection:
        command.upgrade(migration_config(connection), OLD)
        fill(connection)
    return database_url


def _read(url: str) -> dict[str, AnyRecord]:
    with open_catalogue(url) as catalogue, catalogue.reading() as session:
        keys = list(ENTRIES)
        return {k: v for record in ("series", "half", "mating") for k, v in get_records(session, record, keys).items()}


def _check_entries(url: str) -> None:
    found = _read(url)
    assert found.keys() == ENTRIES.keys()
    for key, (content, standing, own) in ENTRIES.items():
        record = found[key]
        assert record.content == content, key
        assert {name: getattr(record, name) for name in standing} == standing, key
        assert {name: getattr(record, name) for name in own} == own, key


def test_every_entry_is_migrated_as_the_old_tables_had_it(old_url: str) -> None:
    upgrade(old_url)
    _check_entries(old_url)


def test_the_old_catalogue_has_rows_of_every_kind() -> None:
    assert {name for name, rows in ROWS.items() if not rows} == set()
    assert {standing["state"] for _, standing, _ in ENTRIES.values()} == {"listed", "withdrawn", "merged"}
    assert CHANGED["substance_revision"] < CHANGED["revision"]


def test_an_old_catalogue_is_refused_until_it_is_upgraded(old_url: str) -> None:
    with pytest.raises(SchemaError, match="older"):
        open_catalogue(old_url)


def test_the_tables_decide_where_the_journal_differs(old_url: str) -> None:
    upgrade(old_url)
    with open_catalogue(old_url) as catalogue, catalogue.reading() as session:
        (told,) = page(session, record="half", key="siskin-works:sk-1")
    assert told.new["content"]["contact_count"] == 99
    assert _read(old_url)["siskin-works:sk-1"].content == ENTRIES["siskin-works:sk-1"][0]


def test_entries_without_a_row_in_the_journal_get_a_first_row(old_url: str) -> None:
    upgrade(old_url)
    with open_catalogue(old_url) as catalogue, catalogue.reading() as session:
        (told,) = page(session, record="half", key="dunnock-sons:dn40pa-010")
    assert (told.action, told.actor, told.new["from_law"]) == ("add", "operator", True)


def test_an_upgraded_catalogue_can_be_changed(old_url: str) -> None:
    upgrade(old_url)
    with open_catalogue(old_url) as catalogue:
        with catalogue.writing() as session:
            add(session, [half(part_number="SK-NEW", series="SK")], by(WREN))
            withdraw(session, by(WREN), "half", "siskin-works:sk-1")
        assert catalogue.version() == 2  # the upgrade wrote the entries' first rows


def _structure(connection: Connection) -> dict[str, Any]:
    found = inspect(connection)
    return {
        table: (
            sorted((column["name"], str(column["type"]), column["nullable"]) for column in found.get_columns(table)),
            found.get_pk_constraint(table),
            sorted(str(check["name"]) for check in found.get_check_constraints(table)),
            sorted(str(index["name"]) for index in found.get_indexes(table)),
            sorted(str(key["name"]) for key in found.get_foreign_keys(table)),
        )
        for table in found.get_table_names()
    }


def test_downgrading_restores_the_old_tables_and_upgrading_works_again(old_url: str) -> None:
    with connected(old_url) as connection:
        before = _structure(connection)
        config = migration_config(connection)
        command.upgrade(config, "head")
        command.downgrade(config, OLD)
        assert _structure(connection) == before
        counted = {name: connection.execute(text(f"SELECT count(*) FROM {name}")).scalar_one() for name in ROWS}
        assert counted == {name: len(rows) for name, rows in ROWS.items()}
        connection.execute(text("INSERT INTO makers (key, name) VALUES ('pipit', 'Pipit')"))  # the numbering continues
    upgrade(old_url)
    _check_entries(old_url)


# --- views -------------------------------------------------------------------------------------------------------


@pytest.fixture
def filled(catalogue: Catalogue) -> Catalogue:
    with catalogue.writing() as session:
        add(session, [series(), half(), mating()], by(WREN))
        add(session, [half(part_number="GONE", dimensions={"pitch": {"value": 9.0}})], by(WREN))
        add(session, [mating(half="siskin-works:gone")], by(WREN))
        withdraw(session, by(WREN), "half", "siskin-works:gone")
    return catalogue


def _rows(catalogue: Catalogue, query: str, **given: Any) -> list[tuple[Any, ...]]:
    with catalogue.reading() as session:
        return [tuple(row) for row in session.execute(text(query), given)]


def test_the_view_of_dimensions_contains_listed_halves(filled: Catalogue) -> None:
    query = "SELECT feature, value, bound, tolerance FROM half_dimension WHERE half = :half ORDER BY feature"
    assert _rows(filled, query, half=HALF) == [
        ("body_length", 7.4, "nominal", 0.15),
        ("height", 1.0, "max", None),
        ("pitch", 0.635, "nominal", None),
    ]
    assert _rows(filled, query, half="siskin-works:gone") == []


def test_the_view_of_counts_includes_contacts_and_rows(filled: Catalogue) -> None:
    query = "SELECT feature, value FROM half_count WHERE half = :half ORDER BY feature"
    counts = [("contact_count", 13), ("hold_down_count", 2), ("power_contact_count", 0), ("rows", 2)]
    assert _rows(filled, query, half=HALF) == counts
    assert _rows(filled, query, half="siskin-works:gone") == []


def test_the_view_of_matings_contains_pairs_with_both_halves_listed(filled: Catalogue) -> None:
    query = "SELECT * FROM mating WHERE half = :half OR other = :half"
    assert _rows(filled, query, half=HALF) == [
        (mating().key, HALF, MEMBER, "trial_fit", "listed", 1.2, 0.1, 3.0),
    ]
    assert _rows(filled, query, half="siskin-works:gone") == []


DOCUMENT = Path(__file__).parents[3] / "DEVELOPERS.md"
EXAMPLES = re.findall(
    r"```sql\n(.*?)```", DOCUMENT.read_text(encoding="utf-8").partition("## Asking with SQL")[2], re.DOTALL
)


def test_three_examples_are_documented() -> None:
    assert len(EXAMPLES) == 3


@pytest.mark.parametrize("example", EXAMPLES)
def test_every_documented_example_returns_rows(filled: Catalogue, example: str) -> None:
    assert _rows(filled, example)
