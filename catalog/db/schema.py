"""The version of a database's tables, and their upgrade with Alembic."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager, nullcontext
from functools import cache

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, inspect, text

from catalog.db.engines import USE
from catalog.model.errors import SchemaError

UPGRADE_COMMAND = "otherhalf upgrade"
"""The command for `catalog.history.upgrade.upgrade`."""


def migration_config(connection: Connection | None = None) -> Config:
    """Alembic's configuration for the scripts of this package; ``connection`` is an open one for the migration."""
    config = Config()
    config.set_main_option("script_location", "catalog.db:migrations")
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


@cache
def head_revision() -> str:
    """The schema revision of this program. Reading its migrations takes longer than all else in opening a catalogue."""
    head = ScriptDirectory.from_config(migration_config()).get_current_head()
    if head is None:
        raise SchemaError("the package has no migrations", remedy="Install otherhalf again")
    return head


def known_revisions() -> frozenset[str]:
    """Every schema revision that this program can upgrade."""
    scripts = ScriptDirectory.from_config(migration_config())
    return frozenset(script.revision for script in scripts.walk_revisions())


def is_current(connection: Connection, where: str) -> bool:
    """True for tables of this program's version, False for an empty database.

    Raises SchemaError for older or newer tables, and for tables that do not belong to a catalogue.
    """
    current = MigrationContext.configure(connection).get_current_revision()
    if current == head_revision():
        return True
    if current is None and not inspect(connection).get_table_names():
        return False
    raise _refusal(current, where)


def _refusal(current: str | None, where: str) -> SchemaError:
    if current is None:
        message, remedy = "the database has tables that do not belong to a catalogue", "Choose another database"
    elif current in known_revisions():
        message = "the catalogue's tables are older than this program"
        remedy = f"Copy the database, then run: {UPGRADE_COMMAND}"
    else:
        message = "the catalogue's tables are newer than this program"
        remedy = "Update the program: pip install --upgrade otherhalf"
    return SchemaError(message, field="database", value=where, remedy=f"{remedy} (database {where}, schema {current})")


def prepare(engine: Engine, where: str) -> None:
    """Check the tables, and create them in an empty database."""
    with engine.connect() as connection, connection.begin():
        if is_current(connection, where):
            return
    upgrade_engine(engine, where, only_if_empty=True)


def upgrade_engine(engine: Engine, where: str, *, only_if_empty: bool = False) -> None:
    """Upgrade the tables to this program's revision in one writing transaction.

    ``only_if_empty``: refuse tables of another version, which another program may have created in the meantime.
    """
    sqlite = engine.dialect.name == "sqlite"
    if sqlite:
        _use_write_ahead_log(engine)
    with (
        engine.connect().execution_options(**{USE: "writing"}) as connection,
        _foreign_keys_off(connection) if sqlite else nullcontext(),
        connection.begin(),
    ):
        if only_if_empty and is_current(connection, where):
            return
        current = MigrationContext.configure(connection).get_current_revision()
        if current is not None and current not in known_revisions():
            raise _refusal(current, where)
        command.upgrade(migration_config(connection), "head")
        if sqlite and connection.execute(text("PRAGMA foreign_key_check")).first() is not None:
            raise SchemaError(
                "the upgrade broke references between rows, so it was undone",
                field="database",
                value=where,
                remedy="Report this; the catalogue was not changed",
            )


def _use_write_ahead_log(engine: Engine) -> None:
    """Set the file's journal mode, so that readers and the writer do not block each other."""
    with closing(engine.raw_connection()) as raw:
        raw.cursor().execute("PRAGMA journal_mode = WAL")


@contextmanager
def _foreign_keys_off(connection: Connection) -> Iterator[None]:
    """Turn foreign keys off: to change a table, SQLite creates a new one and drops the old one, which they forbid.

    All references are checked before the transaction ends instead. The setting can only be changed outside a
    transaction.
    """
    cursor = connection.connection.cursor()
    cursor.execute("PRAGMA foreign_keys = OFF")
    try:
        yield
    finally:
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.close()
