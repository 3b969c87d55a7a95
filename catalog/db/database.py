"""Opening a catalogue, and its two kinds of transaction: reading and writing."""

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
    """``OTHERHALF_DATABASE``, or a SQLite file in the user's data folder (made when it is missing)."""
    given = os.environ.get(DATABASE_VARIABLE)
    if given:
        return given
    folder = platformdirs.user_data_path("otherhalf", ensure_exists=True)
    return f"sqlite:///{folder / 'catalogue.sqlite3'}"


def mark_changed(session: Session) -> None:
    """Say that this writing transaction changed entries, so that the catalogue's version moves when it ends."""
    session.info[_CHANGED] = True


def read_version(session: Session) -> int:
    """The catalogue's version as this transaction sees it."""
    return session.execute(select(CatalogueState.version)).scalar_one()


class Catalogue:
    """An open catalogue; safe to share between threads. Made by `open_catalogue`."""

    def __init__(self, engine: Engine, where: str) -> None:
        self._engine = engine
        self._writer = threading.Lock()
        self.where = where
        """The database's address, without its password."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give back all connections."""
        self._engine.dispose()

    def version(self) -> int:
        """How many writing transactions have changed entries so far."""
        with self.reading() as session:
            return read_version(session)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """One transaction that sees one state of the catalogue and cannot write (ReadOnlyError)."""
        with driver_errors(self.where), self._session("reading") as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """One transaction that may write: committed at the end, rolled back on any error.

        Writers take turns. Raises LockedError after `BUSY_SECONDS`, ReadOnlyError.
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
            session.connection()  # begin now: a writer waits for its turn here, not at its first statement
            yield session

    @contextmanager
    def _turn(self) -> Iterator[None]:
        # SQLite's waiting writers poll with growing pauses and starve; a queue within the process does not.
        if not self._writer.acquire(timeout=BUSY_SECONDS):
            raise LockedError(
                "another writer of this program holds the catalogue",
                field="database",
                value=self.where,
                remedy="Wait until it has finished, then do it again; nothing was changed",
            )
        try:
            yield
        finally:
            self._writer.release()


def open_catalogue(url: str | None = None, *, create: bool = True) -> Catalogue:
    """Open the catalogue at a database address; an empty database gets its tables when ``create``.

    Raises SchemaError for tables of another version, UnavailableError where nothing can be opened, LockedError,
    ReadOnlyError.
    """
    engine, where = connect(url)
    try:
        with driver_errors(where):
            prepare(engine, where, create=create)
    except BaseException:
        engine.dispose()
        raise
    return Catalogue(engine, where)


def connect(url: str | None) -> tuple[Engine, str]:
    """An engine for a database address, and the address as it may be shown."""
    parsed = parse(url if url is not None else default_url())
    return make_engine(parsed), shown_address(parsed)
