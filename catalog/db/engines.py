"""Engines for the two databases: addresses checked, transactions begun as each kind of use needs it."""

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
"""PostgreSQL advisory lock that writers of one catalogue take in turn; any fixed number does."""

CHUNK = 500
"""Values in one IN list: below every engine's limit, and one prepared statement serves them all."""

T = TypeVar("T")

_EXAMPLE = "Write it as sqlite:////folder/catalogue.sqlite3 or postgresql://user@host/database"


def chunks(values: Iterable[T]) -> Iterator[list[T]]:
    """The values in lists of at most `CHUNK`."""
    rest = list(values)
    for start in range(0, len(rest), CHUNK):
        yield rest[start : start + CHUNK]


def parse(url: str) -> URL:
    """The checked address. Raises UnavailableError for what is no address of a usable kind."""
    try:
        parsed = make_url(url)
    except ArgumentError as error:
        raise UnavailableError("this is no database address", field="database", value=url, remedy=_EXAMPLE) from error
    backend = parsed.get_backend_name()
    if backend == "postgresql":
        return parsed.set(drivername="postgresql+psycopg")
    shown = shown_address(parsed)
    if backend != "sqlite":
        raise UnavailableError(f"no use for {backend} databases", field="database", value=shown, remedy=_EXAMPLE)
    if parsed.database in (None, "", ":memory:"):
        raise UnavailableError(
            "a catalogue in memory would be a new one for every user", field="database", value=shown, remedy=_EXAMPLE
        )
    return parsed


def shown_address(url: URL) -> str:
    """The address as it may be shown: without its password."""
    return url.render_as_string(hide_password=True)


def make_engine(url: URL) -> Engine:
    """An engine whose transactions begin according to the execution option `USE` (default: reading)."""
    if url.get_backend_name() == "sqlite":
        _check_folder(url)
        if _is_beyond_writing(url):
            # No pool: each reader sees the file anew, since an immutable one is never checked for changes.
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
            remedy="Make the folder first, or correct the address",
        )


def _is_beyond_writing(url: URL) -> bool:
    """Whether the folder of an existing file cannot be written, so that SQLite cannot make its log and index there.

    Where another user's log lies beside the file, the file alone is not the whole catalogue.
    """
    file = Path(str(url.database))
    log = file.with_name(f"{file.name}-wal")
    return file.is_file() and not os.access(file.parent, os.W_OK) and not log.exists()


def _immutable(url: URL) -> URL:
    """The address by which SQLite reads a file without its log; https://www.sqlite.org/wal.html, section 5."""
    address = f"file:{quote(str(Path(str(url.database)).resolve()))}"
    return url.set(database=address, query={**url.query, "immutable": "1", "uri": "true"})


def _prepare_sqlite(connection: Any, _record: object) -> None:
    # The driver's own transaction handling begins late and deferred; ours begins where it is told.
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = FULL")


def _begin_sqlite(connection: Connection) -> None:
    writing = connection.get_execution_options().get(USE) == "writing"
    # query_only makes a write in a reading transaction an error instead of a loss.
    connection.exec_driver_sql(f"PRAGMA query_only = {'OFF' if writing else 'ON'}")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN DEFERRED")


def _begin_postgresql(connection: Connection) -> None:
    if connection.get_execution_options().get(USE) == "writing":
        connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": WRITER_LOCK})
    else:
        # One picture of the whole catalogue for as long as the reader reads.
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
