"""Translation of a database driver's errors into the catalogue's errors."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import exc

from catalog.model.errors import CatalogueError, LockedError, ReadOnlyError, UnavailableError

BUSY_SECONDS = 10.0
"""How long a writer waits for another one: long enough for an import of thousands of halves."""

_WAIT = "Wait until the other program has finished writing, then try again; nothing was changed"
_WRITABLE = "Use an account that can write the file and its folder, or choose another database with --database"
_CHECK = "Check the address given by --database or OTHERHALF_DATABASE"

# SQLite's result codes (https://www.sqlite.org/rescode.html); an extended code begins with the primary one.
_SQLITE: tuple[tuple[str, type[CatalogueError], str, str], ...] = (
    ("SQLITE_BUSY", LockedError, "the catalogue is locked by another writer", _WAIT),
    ("SQLITE_LOCKED", LockedError, "the catalogue is locked by another writer", _WAIT),
    ("SQLITE_READONLY", ReadOnlyError, "this catalogue can only be read", _WRITABLE),
    (
        "SQLITE_NOTADB",
        UnavailableError,
        "the file is not a database",
        "Choose another file; this one was not changed",
    ),
    (
        "SQLITE_CANTOPEN",
        UnavailableError,
        "the database file cannot be opened",
        "Check that its folder exists and is writable",
    ),
    ("SQLITE_FULL", UnavailableError, "the disk is full", "Free some space, then try again; nothing was changed"),
    ("SQLITE_CORRUPT", UnavailableError, "the database file is damaged", "Restore it from a backup"),
)

# PostgreSQL's SQLSTATE codes (https://www.postgresql.org/docs/15/errcodes-appendix.html).
_POSTGRESQL: tuple[tuple[str, type[CatalogueError], str, str], ...] = (
    ("55P03", LockedError, "the catalogue is locked by another writer", _WAIT),
    ("40P01", LockedError, "two writers blocked each other", _WAIT),
    ("40001", LockedError, "another writer came first", _WAIT),
    ("25006", ReadOnlyError, "this catalogue can only be read", _WRITABLE),
    ("42501", ReadOnlyError, "this database user is not permitted to do that", _WRITABLE),
    ("53", UnavailableError, "the database server is out of resources", "Ask its operator; nothing was changed"),
)


def _codes(error: exc.DBAPIError) -> tuple[str, tuple[tuple[str, type[CatalogueError], str, str], ...]]:
    sqlite_name = getattr(error.orig, "sqlite_errorname", None)
    if sqlite_name is not None:
        return str(sqlite_name), _SQLITE
    return str(getattr(error.orig, "sqlstate", None) or ""), _POSTGRESQL


def translated(error: exc.DBAPIError, where: str) -> CatalogueError | None:
    """The catalogue's error for a driver's error; None if the error is a fault of this program."""
    code, table = _codes(error)
    for prefix, kind, message, remedy in table:
        if code.startswith(prefix):
            return kind(message, field="database", value=where, remedy=remedy)
    if isinstance(error, exc.OperationalError):
        said = str(error.orig).strip().splitlines()[0] if error.orig else "no reason given"
        return UnavailableError(f"the database cannot be used: {said}", field="database", value=where, remedy=_CHECK)
    return None


@contextmanager
def driver_errors(where: str) -> Iterator[None]:
    """Raise the catalogue's errors instead of the driver's; ``where`` is the address without its password."""
    try:
        yield
    except exc.TimeoutError as error:
        raise LockedError(
            "too many people use the catalogue at once", field="database", value=where, remedy=_WAIT
        ) from error
    except exc.DBAPIError as error:
        ours = translated(error, where)
        if ours is None:
            raise
        raise ours from error
