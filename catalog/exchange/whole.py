"""The whole catalogue with its history as one file: it holds the journal, and everything else follows from it.

The file is JSON Lines: a heading, every row of the journal, and a last line with their number and SHA-256, so that a
file that breaks off or was altered is noticed. A heading with ``origin`` and ``signed_off_by`` makes it a publication
that other catalogues may merge.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal, TextIO

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from sqlalchemy import false, select
from sqlalchemy.orm import Session

from catalog.db.database import read_version
from catalog.db.tables import JournalTable
from catalog.exchange.files import message_of
from catalog.exchange.jsonl import LONGEST_LINE
from catalog.history.journal import JournalEntry
from catalog.model.entry_states import ENTRIES, EntryState, Place, entry_state, substance
from catalog.model.errors import FileError
from catalog.model.text_fields import Line, Passage
from catalog.model.timestamps import now

FORM = 1
"""Form of the file; a reader refuses any other."""


class Heading(BaseModel):
    """The first line. ``version`` is the catalogue's; ``origin`` and ``signed_off_by`` make it a publication."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    record: Literal["catalogue"] = "catalogue"
    form: int = FORM
    version: int
    written_at: str
    origin: Line | None = None
    signed_off_by: Line | None = None
    note: Passage = ""


class Row(JournalEntry):
    """One row of the journal, with whether it is private."""

    model_config = ConfigDict(frozen=True, from_attributes=True, extra="forbid")

    line: Literal["journal"] = "journal"
    private: bool = False


class End(BaseModel):
    """The last line: how many rows there are, and the SHA-256 of their lines, line ends included."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    record: Literal["end"] = "end"
    rows: Annotated[int, Field(ge=0)]
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


def write_whole(
    session: Session,
    stream: TextIO,
    *,
    private: bool = False,
    origin: str | None = None,
    signed_off_by: str | None = None,
    note: str = "",
) -> int:
    """Write the catalogue's whole history; returns the number of rows. ``private``: of private records too."""
    heading = Heading(
        version=read_version(session), written_at=now(), origin=origin, signed_off_by=signed_off_by, note=note
    )
    stream.write(heading.model_dump_json(exclude_none=True) + "\n")
    statement = select(JournalTable).order_by(JournalTable.id)
    if not private:
        statement = statement.where(JournalTable.private == false())
    digest, number = hashlib.sha256(), 0
    for row in session.execute(statement.execution_options(yield_per=500)).scalars():
        line = Row.model_validate(row).model_dump_json(exclude_defaults=True) + "\n"
        digest.update(line.encode())
        stream.write(line)
        number += 1
    stream.write(End(rows=number, sha256=digest.hexdigest()).model_dump_json() + "\n")
    return number


def is_whole(path: Path) -> bool:
    """Whether a file begins as one that `write_whole` wrote."""
    if path.suffix.lower() != ".jsonl" or not path.is_file():
        return False
    with path.open("rb") as file:
        first = file.readline(LONGEST_LINE)
    try:
        begun = json.loads(first)
    except ValueError:
        return False
    return isinstance(begun, dict) and begun.get("record") == "catalogue"


def read_heading(path: Path) -> Heading:
    """The heading of a file. Raises FileError."""
    with _opened(path) as file:
        return _heading(path, file.readline(LONGEST_LINE))


def read_rows(path: Path) -> Iterator[Row]:
    """The journal's rows in a file, in order. Raises FileError, also at the end where the file is not whole.

    Whoever uses the rows must do so in one transaction, since what is wrong may only show at the end.
    """
    with _opened(path) as file:
        _heading(path, file.readline(LONGEST_LINE))
        digest, number, last = hashlib.sha256(), 0, 0
        for place, line in enumerate(iter(lambda: file.readline(LONGEST_LINE), ""), start=2):
            if line.startswith('{"record":"end"'):
                _check_end(path, place, line, number, digest.hexdigest())
                if file.readline(LONGEST_LINE):
                    raise _fault(path, place + 1, "something follows the last line", "Cut it off")
                return
            row = _row(path, place, line)
            if row.id <= last:
                raise _fault(path, place, f"row {row.id} follows row {last}", "Export the catalogue anew")
            digest.update(line.encode())
            number, last = number + 1, row.id
            yield row
        raise _fault(path, number + 2, "the file breaks off", "Export the catalogue anew, or copy the file again")


def _opened(path: Path) -> TextIO:
    try:
        return path.open(encoding="utf-8", newline="\n")
    except OSError as error:
        reason = error.strerror or str(error)
        raise FileError(f"cannot be read: {reason}", path=str(path), remedy="Check the path and its rights") from error


def _heading(path: Path, line: str) -> Heading:
    try:
        heading = Heading.model_validate_json(line)
    except ValidationError as error:
        raise _invalid(path, 1, error) from error
    if heading.form != FORM:
        raise _fault(path, 1, f"the file has form {heading.form}, this program reads {FORM}", "Update the program")
    return heading


def _row(path: Path, place: int, line: str) -> Row:
    try:
        return Row.model_validate_json(line)
    except ValidationError as error:
        raise _invalid(path, place, error) from error


def _check_end(path: Path, place: int, line: str, number: int, sha256: str) -> None:
    try:
        end = End.model_validate_json(line)
    except ValidationError as error:
        raise _invalid(path, place, error) from error
    if (end.rows, end.sha256) != (number, sha256):
        raise _fault(path, place, "the file was altered after it was written", "Take it from its source again")


def _invalid(path: Path, place: int, error: ValidationError) -> FileError:
    first = error.errors(include_url=False)[0]
    field = ".".join(map(str, first["loc"]))
    return FileError(
        message_of(first),
        path=str(path),
        line=place,
        column=1,
        field=field or None,
        remedy="Export the catalogue anew; such a file is not meant to be written by hand",
    )


def _fault(path: Path, place: int, message: str, remedy: str) -> FileError:
    return FileError(message, path=str(path), line=place, column=1, remedy=remedy)


# --- what the rows come to ---------------------------------------------------------------------------------------


@dataclass(kw_only=True)
class ToldDocument:
    """A document as its rows tell it: the first and the last of them."""

    first: Row
    last: Row


@dataclass(kw_only=True)
class ToldEntry(ToldDocument):
    """An entry as its rows tell it; ``substances``: revision and author that first gave each substance."""

    stood: EntryState
    substances: dict[str, tuple[int, str]]

    @property
    def substance(self) -> tuple[int, str]:
        """Revision and author that first gave the substance that is in force."""
        return self.substances[_digest(self.stood)]


@dataclass(frozen=True, kw_only=True)
class Told:
    """Every record of a journal as its last row left it, in the order in which they began."""

    entries: Mapping[Place, ToldEntry]
    documents: Mapping[Place, ToldDocument]


def _digest(entry: EntryState) -> str:
    return repr(substance(entry.content))


def told(rows: Iterable[Row], path: str) -> Told:
    """What rows come to. Raises FileError for rows that leave a revision out or begin from another state than the one
    before left."""
    entries: dict[Place, ToldEntry] = {}
    documents: dict[Place, ToldDocument] = {}
    for row in rows:
        place = (row.record, row.key)
        if row.record in ENTRIES:
            _check_follows(row, entries.get(place), path)
            now = _stood(row, path)
            entry = entries.setdefault(place, ToldEntry(first=row, last=row, stood=now, substances={}))
            entry.last, entry.stood = row, now
            entry.substances.setdefault(_digest(now), (row.revision, row.actor))
        else:
            _check_follows(row, documents.get(place), path)
            documents.setdefault(place, ToldDocument(first=row, last=row)).last = row
    return Told(entries=entries, documents=documents)


def _stood(row: Row, path: str) -> EntryState:
    try:
        return entry_state(row.new)
    except (ValidationError, KeyError, TypeError) as error:
        raise _broken(row, path, f"holds no {row.record}: {error}") from error


def _check_follows(row: Row, told: ToldDocument | None, path: str) -> None:
    """A record may begin at any revision: what stood before there was a journal, and what was private, left no row."""
    if told is None:
        return
    before = told.last
    apart = row.record not in ENTRIES and row.revision > before.revision + 1  # private meanwhile
    if not apart and (row.revision != before.revision + 1 or row.old != before.new):
        raise _broken(row, path, f"does not follow revision {before.revision}")


def _broken(row: Row, path: str, what: str) -> FileError:
    return FileError(
        f"row {row.id}, {row.record} {row.key} revision {row.revision}, {what}",
        path=path,
        field=f"journal[{row.id}]",
        remedy="Export the catalogue anew",
    )
