"""The state of a database's tables, and moving them to this program's with Alembic."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, inspect, text

from catalog.db.engines import USE
from catalog.model.errors import SchemaError, UnavailableError

UPGRADE_COMMAND = "otherhalf upgrade"
"""The command line's name for `catalog.history.upgrade.upgrade`."""


def migration_config(connection: Connection | None = None) -> Config:
    """Alembic's configuration for the scripts inside the package; ``connection``: an open one, to migrate over."""
    config = Config()
    config.set_main_option("script_location", "catalog.db:migrations")
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def head_revision() -> str:
    """The revision this program works with."""
    head = ScriptDirectory.from_config(migration_config()).get_current_head()
    if head is None:
        raise SchemaError("the package holds no migrations", remedy="Install otherhalf anew")
    return head


def known_revisions() -> frozenset[str]:
    """Every revision that this program can come from."""
    scripts = ScriptDirectory.from_config(migration_config())
    return frozenset(script.revision for script in scripts.walk_revisions())


def is_current(connection: Connection, where: str) -> bool:
    """True for this program's tables, False for an empty database.

    Raises SchemaError for older or newer tables and for tables that are not a catalogue's.
    """
    current = MigrationContext.configure(connection).get_current_revision()
    if current == head_revision():
        return True
    if current is None and not inspect(connection).get_table_names():
        return False
    raise _refusal(current, where)


def _refusal(current: str | None, where: str) -> SchemaError:
    if current is None:
        message, remedy = "the database holds tables that are not a catalogue's", "Choose another database"
    elif current in known_revisions():
        message = "the catalogue's tables are older than this program"
        remedy = f"Copy the database, then run: {UPGRADE_COMMAND}"
    else:
        message = "the catalogue's tables are newer than this program"
        remedy = "Update the program: pip install --upgrade otherhalf"
    return SchemaError(message, field="database", value=where, remedy=f"{remedy} (database {where}, schema {current})")


def prepare(engine: Engine, where: str, *, create: bool) -> None:
    """Check the tables, and make them where the database is empty and ``create`` allows it."""
    with engine.connect() as connection, connection.begin():
        if is_current(connection, where):
            return
    if not create:
        raise UnavailableError(
            "there is no catalogue here", field="database", value=where, remedy="Fill one first: otherhalf import PATH"
        )
    upgrade_engine(engine, where, only_if_empty=True)


def upgrade_engine(engine: Engine, where: str, *, only_if_empty: bool = False) -> None:
    """Move the tables to this program's revision in one writing transaction.

    ``only_if_empty``: refuse tables that another program may just have made, unless they are current.
    """
    sqlite = engine.dialect.name == "sqlite"
    if sqlite:
        _pragma(engine, "journal_mode = WAL")  # once for the file: readers and the one writer do not block each other
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
                "the catalogue's rows do not fit together after the upgrade; it was taken back",
                field="database",
                value=where,
                remedy="Report this; the catalogue is as it was",
            )


def _pragma(engine: Engine, setting: str) -> None:
    raw = engine.raw_connection()
    try:
        raw.cursor().execute(f"PRAGMA {setting}")
    finally:
        raw.close()


@contextmanager
def _foreign_keys_off(connection: Connection) -> Iterator[None]:
    """SQLite changes a table by making it anew; with foreign keys on, dropping the old one would be refused.

    They are checked as a whole before the end instead, and no other transaction sees the time between. The setting can
    only be changed outside of a transaction.
    """
    cursor = connection.connection.cursor()
    cursor.execute("PRAGMA foreign_keys = OFF")
    try:
        yield
    finally:
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.close()
