"""Engines for the two kinds of databases, and how each of them begins reading and writing transactions."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Literal, TypeVar
from urllib.parse import quote

from sqlalchemy import Connection, Engine, NullPool, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from catalog.db.driver_errors import BUSY_SECONDS
from catalog.model.errors import UnavailableError

Use = Literal["reading", "writing"]
USE = "otherhalf_use"
"""Execution option that names the purpose of a transaction."""

WRITER_LOCK = 0x6F74_6865
"""PostgreSQL advisory lock for the writers of one catalogue; any fixed number will do."""

CHUNK = 500
"""Most values in one IN list: below the limit of both engines."""

T = TypeVar("T")

_EXAMPLE = "Write it as sqlite:////folder/catalogue.sqlite3 or postgresql://user@host/database"


def chunks(values: Iterable[T]) -> Iterator[list[T]]:
    """The values in lists of at most `CHUNK`."""
    rest = list(values)
    for start in range(0, len(rest), CHUNK):
        yield rest[start : start + CHUNK]


def parse(url: str) -> URL:
    """The checked address. Raises UnavailableError if it is not the address of a usable database."""
    try:
        parsed = make_url(url)
    except ArgumentError as error:
        raise UnavailableError(
            "this is not a database address", field="database", value=url, remedy=_EXAMPLE
        ) from error
    backend = parsed.get_backend_name()
    if backend == "postgresql":
        return parsed.set(drivername="postgresql+psycopg")
    shown = shown_address(parsed)
    if backend != "sqlite":
        raise UnavailableError(f"{backend} databases cannot be used", field="database", value=shown, remedy=_EXAMPLE)
    if parsed.database in (None, "", ":memory:"):
        raise UnavailableError(
            "every connection to a catalogue in memory would see a new one",
            field="database",
            value=shown,
            remedy=_EXAMPLE,
        )
    return parsed


def shown_address(url: URL) -> str:
    """The address without its password."""
    return url.render_as_string(hide_password=True)


def make_engine(url: URL) -> Engine:
    """An engine. The execution option `USE` determines how its transactions begin (default: reading)."""
    if url.get_backend_name() == "sqlite":
        _check_folder(url)
        if _is_unwritable(url):
            # No pool, so that each reader opens the file again: SQLite never checks an immutable file for changes.
            engine = create_engine(_immutable(url), connect_args={"timeout": BUSY_SECONDS}, poolclass=NullPool)
        else:
            engine = create_engine(url, connect_args={"timeout": BUSY_SECONDS})
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    milliseconds = int(BUSY_SECONDS * 1000)
    try:
        engine = create_engine(url, connect_args={"options": f"-c lock_timeout={milliseconds}"}, pool_pre_ping=True)
    except ModuleNotFoundError as error:
        raise UnavailableError(
            "the driver for PostgreSQL is not installed",
            field="database",
            value=shown_address(url),
            remedy="Run: pip install 'otherhalf[postgresql]'",
        ) from error
    event.listen(engine, "begin", _begin_postgresql)
    return engine


def _check_folder(url: URL) -> None:
    folder = Path(str(url.database).removeprefix("file:")).parent
    if not folder.is_dir():
        raise UnavailableError(
            f"the folder {folder} does not exist",
            field="database",
            value=shown_address(url),
            remedy="Create the folder first, or correct the address",
        )


def _is_unwritable(url: URL) -> bool:
    """Whether the file exists in a folder without write permission, so that SQLite cannot create its log there.

    False if there is a log of another user: then the file alone is not the whole catalogue.
    """
    file = Path(str(url.database))
    log = file.with_name(f"{file.name}-wal")
    return file.is_file() and not os.access(file.parent, os.W_OK) and not log.exists()


def _immutable(url: URL) -> URL:
    """The address with which SQLite reads a file without a log; https://www.sqlite.org/wal.html, section 5."""
    address = f"file:{quote(str(Path(str(url.database)).resolve()))}"
    return url.set(database=address, query={**url.query, "immutable": "1", "uri": "true"})


def _prepare_sqlite(connection: Any, _record: object) -> None:
    # The driver would begin transactions late and deferred; _begin_sqlite does it instead.
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = FULL")


def _begin_sqlite(connection: Connection) -> None:
    writing = connection.get_execution_options().get(USE) == "writing"
    # With query_only, writing in a reading transaction is an error instead of being lost.
    connection.exec_driver_sql(f"PRAGMA query_only = {'OFF' if writing else 'ON'}")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN DEFERRED")


def _begin_postgresql(connection: Connection) -> None:
    if connection.get_execution_options().get(USE) == "writing":
        connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": WRITER_LOCK})
    else:
        # The reader sees one state of the catalogue until the end of the transaction.
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
