"""Errors of the catalogue. They hold the facts (field, value, remedy) and know nothing about HTTP."""

from __future__ import annotations

from collections.abc import Sequence


class CatalogueError(Exception):
    """Base of all errors of the catalogue.

    ``message`` says what is wrong, ``field`` is the path of the wrong field (None if there is none), ``value`` its
    value, and ``remedy`` says what to do instead. ``entry`` is the index of the wrong entry in its batch.
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
    """The tables of the database are older or newer than this program, or belong to something else."""


class LockedError(CatalogueError):
    """Another process was writing for longer than the program waits."""


class ReadOnlyError(CatalogueError):
    """The database or this session can only be read."""


class NotFoundError(CatalogueError):
    """Nothing has this key."""


class DuplicateError(CatalogueError):
    """The catalogue, or an earlier entry of the same batch, has other content under this key."""


class StaleError(CatalogueError):
    """The record was changed, or something was said about it, since it was read."""


class PreconditionError(CatalogueError):
    """A change does not say which state of the record it was made from."""


class KeyReusedError(CatalogueError):
    """A request has the idempotency key of an earlier one but asks for something else."""


class EntryError(CatalogueError):
    """An entry contradicts itself, its laws cannot be carried out, or it names something that does not exist."""


class UnauthorisedError(CatalogueError):
    """A token is required and is missing, unknown, expired or revoked."""


class ForbiddenError(CatalogueError):
    """The person's role or the token's scopes do not permit this, or it belongs to another person."""


class SuspendedError(CatalogueError):
    """The contributor is suspended and cannot contribute until the suspension is lifted."""


class OwnEvidenceError(CatalogueError):
    """Evidence about an entry must come from a person other than its author."""


class FileError(CatalogueError):
    """An error at one place in a file. ``line`` and ``column`` count from 1; in CSV the column is the number of the
    cell, and ``field`` the name of its column."""

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
    """All errors of one file, up to a limit. Nothing of the file was used.

    ``errors`` holds at least one `FileError`; ``more`` says that reading stopped at the limit.
    """

    def __init__(self, errors: Sequence[FileError], *, more: bool) -> None:
        if not errors:
            raise TypeError("FileRefusedError needs at least one error")
        tail = "; reading stopped here, there may be more errors" if more else ""
        super().__init__("; ".join(str(error) for error in errors) + tail, remedy="Nothing of the file was used")
        self.errors = tuple(errors)
        self.more = more
