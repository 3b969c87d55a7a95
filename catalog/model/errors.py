"""Errors of the catalogue: they carry facts (field, value, remedy) and know no HTTP."""

from __future__ import annotations

from collections.abc import Sequence


class CatalogueError(Exception):
    """Base of everything the catalogue refuses.

    ``message`` says what is wrong, ``field`` the path of the offending part (None where there is none), ``value`` what
    was given and ``remedy`` what to do instead. ``entry`` is the place of the offending entry in the batch, from 0.
    """

    def __init__(
        self,
        message: str,
        *,
        field: str | None = None,
        value: object = None,
        remedy: str = "",
        entry: int | None = None,
    ) -> None:
        super().__init__(f"{message}. {remedy}" if remedy else message)
        self.message = message
        self.field = field
        self.value = value
        self.remedy = remedy
        self.entry = entry


class UnavailableError(CatalogueError):
    """The database cannot be reached or opened, or is damaged or full."""


class SchemaError(CatalogueError):
    """The database's tables are older or newer than this program, or belong to something else."""


class LockedError(CatalogueError):
    """Somebody else is writing, and went on for longer than the program waits."""


class ReadOnlyError(CatalogueError):
    """The database, or this session, may only be read."""


class NotFoundError(CatalogueError):
    """No entry has this key."""


class DuplicateError(CatalogueError):
    """An entry of this key stands in the catalogue (or earlier in the same batch) with other content."""


class StaleError(CatalogueError):
    """Somebody changed the record, or said something of it, since the asker looked at it."""


class PreconditionError(CatalogueError):
    """A change names no revision that it was made from."""


class KeyReusedError(CatalogueError):
    """A request carries the key of an earlier one but asks for something else."""


class EntryError(CatalogueError):
    """An entry contradicts itself, its law cannot be carried out, or it names something that is not there."""


class UnauthorisedError(CatalogueError):
    """Who asks is not known: no token where one is needed, or one that is unknown, has ended or was revoked."""


class ForbiddenError(CatalogueError):
    """Who asks is known, and may not do this: the role or the token's scopes do not reach, or it is not theirs."""


class SuspendedError(CatalogueError):
    """Nothing is taken from this contributor until the suspension is lifted."""


class OwnEvidenceError(CatalogueError):
    """Evidence about an entry has to come from somebody else than its author."""


class FileError(CatalogueError):
    """One place in a file cannot be used. ``line`` and ``column`` count from 1; in CSV a column is a field, and
    ``field`` its name."""

    def __init__(
        self,
        message: str,
        *,
        path: str,
        line: int | None = None,
        column: int | None = None,
        field: str | None = None,
        value: object = None,
        remedy: str = "",
    ) -> None:
        place = "".join((path, f", line {line}" if line else "", f", column {column}" if column else ""))
        super().__init__(f"{place}: {message}", field=field, value=value, remedy=remedy)
        self.reason = message
        self.path = path
        self.line = line
        self.column = column


class FileRefusedError(CatalogueError):
    """Everything found wrong with one file, up to a stated limit; nothing of the file was used.

    ``errors`` holds at least one `FileError`; ``more`` tells that reading stopped at the limit.
    """

    def __init__(self, errors: Sequence[FileError], *, more: bool) -> None:
        if not errors:
            raise TypeError("FileRefusedError needs at least one error")
        tail = "; stopped there, more may follow" if more else ""
        super().__init__("; ".join(str(error) for error in errors) + tail, remedy="Nothing of the file was used")
        self.errors = tuple(errors)
        self.more = more
