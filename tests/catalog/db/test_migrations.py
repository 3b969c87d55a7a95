"""The migrations make exactly the tables that the program declares, and can be reversed."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Connection, inspect

from catalog.db.engines import USE, make_engine, parse
from catalog.db.schema import head_revision, migration_config
from catalog.db.tables import Base


@pytest.fixture
def connection(database_url: str) -> Iterator[Connection]:
    engine = make_engine(parse(database_url))
    with engine.connect().execution_options(**{USE: "writing"}) as opened, opened.begin():
        yield opened
    engine.dispose()


def _names(connection: Connection) -> set[str]:
    return set(inspect(connection).get_table_names()) - {"alembic_version"}


def _checks(connection: Connection) -> set[tuple[str, str]]:
    inspector = inspect(connection)
    return {
        (table, str(check["name"])) for table in _names(connection) for check in inspector.get_check_constraints(table)
    }


def test_migrating_an_empty_database_gives_the_declared_tables(connection: Connection) -> None:
    command.upgrade(migration_config(connection), "head")
    assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []
    assert _names(connection) == set(Base.metadata.tables)


def test_every_declared_check_constraint_is_created(connection: Connection) -> None:
    # Alembic's comparison leaves check constraints out.
    command.upgrade(migration_config(connection), "head")
    migrated = _checks(connection)
    command.downgrade(migration_config(connection), "base")
    Base.metadata.create_all(connection)
    assert migrated == _checks(connection)
    assert len(migrated) > 20


def test_downgrading_to_nothing_and_upgrading_again_works(connection: Connection) -> None:
    config = migration_config(connection)
    command.upgrade(config, "head")
    command.downgrade(config, "base")
    assert _names(connection) == set()
    command.upgrade(config, "head")
    assert MigrationContext.configure(connection).get_current_revision() == head_revision()


def test_no_foreign_key_deletes_rows_by_cascade() -> None:
    for table in Base.metadata.tables.values():
        for key in table.foreign_keys:
            assert key.ondelete is None, f"{table.name}: {key}"
