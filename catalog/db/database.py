"""Opens a catalogue. It has two kinds of transactions: reading and writing."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Self

import platformdirs
from sqlalchemy import Engine, select, update
from sqlalchemy.orm import Session

from catalog.db.driver_errors import BUSY_SECONDS, driver_errors
from catalog.db.engines import USE, Use, make_engine, parse, shown_address
from catalog.db.schema import prepare
from catalog.db.tables import CatalogueState
from catalog.model.errors import LockedError

DATABASE_VARIABLE = "OTHERHALF_DATABASE"
_CHANGED = "otherhalf_changed"


def default_url() -> str:
    """``OTHERHALF_DATABASE``, or a SQLite file in the user's data folder, which is created if it is missing."""
    given = os.environ.get(DATABASE_VARIABLE)
    if given:
        return given
    folder = platformdirs.user_data_path("otherhalf", ensure_exists=True)
    return f"sqlite:///{folder / 'catalogue.sqlite3'}"


def mark_changed(session: Session) -> None:
    """Note that this writing transaction changed records, so that it increases the catalogue's version at the end."""
    session.info[_CHANGED] = True


def read_version(session: Session) -> int:
    """The catalogue's version in this transaction."""
    return session.execute(select(CatalogueState.version)).scalar_one()


class Catalogue:
    """An open catalogue, made by `open_catalogue`. It is safe to share between threads."""

    def __init__(self, engine: Engine, where: str) -> None:
        self._engine = engine
        self._writer = threading.Lock()
        self.where = where
        """The address of the database, without its password."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()

    def version(self) -> int:
        """The number of transactions that have changed records so far."""
        with self.reading() as session:
            return read_version(session)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A transaction that sees one state of the catalogue. Writing raises ReadOnlyError."""
        with driver_errors(self.where), self._session("reading") as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A transaction that can write. It is committed at the end, and rolled back on any error.

        Writers wait for each other. Raises LockedError after `BUSY_SECONDS`, ReadOnlyError.
        """
        with self._turn(), driver_errors(self.where), self._session("writing") as session:
            yield session
            session.flush()
            if session.info.pop(_CHANGED, False):
                session.execute(update(CatalogueState).values(version=CatalogueState.version + 1))
            session.commit()

    @contextmanager
    def _session(self, use: Use) -> Iterator[Session]:
        with Session(self._engine.execution_options(**{USE: use}), expire_on_commit=False) as session:
            session.connection()  # begin now, so that a writer waits here and not at its first statement
            yield session

    @contextmanager
    def _turn(self) -> Iterator[None]:
        # SQLite's writers poll with growing pauses while they wait, and may starve. Waiting for a lock is fair.
        if not self._writer.acquire(timeout=BUSY_SECONDS):
            raise LockedError(
                "another writer in this program is using the catalogue",
                field="database",
                value=self.where,
                remedy="Wait until it has finished, then try again; nothing was changed",
            )
        try:
            yield
        finally:
            self._writer.release()


def open_catalogue(url: str | None = None) -> Catalogue:
    """Open the catalogue at a database address; an empty database gets its tables.

    Raises SchemaError for tables of another version, UnavailableError if it cannot be opened, LockedError and
    ReadOnlyError.
    """
    engine, where = connect(url)
    try:
        with driver_errors(where):
            prepare(engine, where)
    except BaseException:
        engine.dispose()
        raise
    return Catalogue(engine, where)


def connect(url: str | None) -> tuple[Engine, str]:
    """An engine for a database address, and the address without its password."""
    parsed = parse(url if url is not None else default_url())
    return make_engine(parsed), shown_address(parsed)
