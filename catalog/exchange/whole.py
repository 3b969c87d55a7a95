"""The whole catalogue with its history in one file, which contains the journal; everything else follows from it.

The file is JSON Lines: a heading, every row of the journal, and a last line with the number of rows and their SHA-256,
which shows whether the file is complete and unchanged. With ``origin`` and ``signed_off_by`` in its heading it is a
publication, which other catalogues can merge.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, TextIO, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from sqlalchemy import false, select
from sqlalchemy.orm import Session

from catalog.db.database import read_version
from catalog.db.tables import JournalTable
from catalog.exchange.files import message_of, unreadable
from catalog.exchange.jsonl import LONGEST_LINE
from catalog.history.journal import JournalEntry
from catalog.model.entry_states import ENTRIES, EntryState, Place, entry_state, substance
from catalog.model.errors import FileError
from catalog.model.text_fields import Line, Passage
from catalog.model.timestamps import now

FORM = 1
"""Version of the file format; other versions are refused."""

M = TypeVar("M", bound=BaseModel)


class Heading(BaseModel):
    """The first line. ``version`` is that of the catalogue; a publication has ``origin`` and ``signed_off_by``."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    record: Literal["catalogue"] = "catalogue"
    form: int = FORM
    version: int
    written_at: str
    origin: Line | None = None
    signed_off_by: Line | None = None
    note: Passage = ""


class Row(JournalEntry):
    """One row of the journal, also saying whether it is private."""

    model_config = ConfigDict(frozen=True, from_attributes=True, extra="forbid")

    line: Literal["journal"] = "journal"
    private: bool = False


class End(BaseModel):
    """The last line: the number of rows, and the SHA-256 of their lines, including line ends."""

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
    """Write the whole journal; returns the number of rows. ``private``: including rows of private records."""
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
    """Whether a file begins like one written by `write_whole`."""
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
        heading = _parsed(Heading, file.readline(LONGEST_LINE), path, 1)
    if heading.form != FORM:
        message = f"the file has format {heading.form}, this program reads format {FORM}"
        raise _fault(path, 1, message, "Update the program")
    return heading


def read_rows(path: Path) -> Iterator[Row]:
    """The rows of the journal in a file, in order; the heading is not checked again. Raises FileError.

    An incomplete file is only noticed at its end, so all rows must be used in one transaction.
    """
    with _opened(path) as file:
        file.readline(LONGEST_LINE)
        digest, number, last = hashlib.sha256(), 0, 0
        for place, line in enumerate(iter(lambda: file.readline(LONGEST_LINE), ""), start=2):
            if line.startswith('{"record":"end"'):
                end = _parsed(End, line, path, place)
                if (end.rows, end.sha256) != (number, digest.hexdigest()):
                    raise _fault(path, place, "the file was changed after it was written", "Get it again")
                if file.readline(LONGEST_LINE):
                    raise _fault(path, place + 1, "there is text after the last line", "Remove it")
                return
            row = _parsed(Row, line, path, place)
            if row.id <= last:
                raise _fault(path, place, f"row {row.id} follows row {last}", "Export the catalogue again")
            digest.update(line.encode())
            number, last = number + 1, row.id
            yield row
        raise _fault(path, number + 2, "the file is incomplete", "Export the catalogue again, or copy the file again")


def _opened(path: Path) -> TextIO:
    try:
        return path.open(encoding="utf-8", newline="\n")
    except OSError as error:
        raise unreadable(path, error) from error


def _parsed(model: type[M], line: str, path: Path, place: int) -> M:
    try:
        return model.model_validate_json(line)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        raise FileError(
            message_of(first),
            path=str(path),
            line=place,
            column=1,
            field=".".join(map(str, first["loc"])) or None,
            remedy="Export the catalogue again; such a file cannot be written by hand",
        ) from error


def _fault(path: Path, place: int, message: str, remedy: str) -> FileError:
    return FileError(message, path=str(path), line=place, column=1, remedy=remedy)


# --- the history of each record ----------------------------------------------------------------------------------


@dataclass(kw_only=True)
class DocumentHistory:
    """The first and the last row of a record."""

    first: Row
    last: Row


@dataclass(kw_only=True)
class EntryHistory(DocumentHistory):
    """The history of an entry: also its ``latest`` state, and for each of its figures (`substance`) the first revision
    with them and its author."""

    latest: EntryState
    substances: dict[str, tuple[int, str]]

    @property
    def substance(self) -> tuple[int, str]:
        """The first revision with the latest figures, and its author."""
        return self.substances[_digest(self.latest)]


@dataclass(frozen=True, kw_only=True)
class Histories:
    """The history of every record of a journal, in the order of their first rows."""

    entries: Mapping[Place, EntryHistory]
    documents: Mapping[Place, DocumentHistory]


def _digest(entry: EntryState) -> str:
    return repr(substance(entry.content))


def histories(rows: Iterable[Row], path: str) -> Histories:
    """The histories that rows of a journal contain. Raises FileError if a revision is missing, or if a row does not
    continue from the state that the previous one left."""
    entries: dict[Place, EntryHistory] = {}
    documents: dict[Place, DocumentHistory] = {}
    for row in rows:
        place = (row.record, row.key)
        if row.record in ENTRIES:
            _check_follows(row, entries.get(place), path)
            now = _state(row, row.new, path)
            entry = entries.setdefault(place, EntryHistory(first=row, last=row, latest=now, substances={}))
            entry.last, entry.latest = row, now
            entry.substances.setdefault(_digest(now), (row.revision, row.actor))
        else:
            _check_follows(row, documents.get(place), path)
            documents.setdefault(place, DocumentHistory(first=row, last=row)).last = row
    return Histories(entries=entries, documents=documents)


def _state(row: Row, written: Mapping[str, Any], path: str) -> EntryState:
    try:
        return entry_state(written)
    except (ValidationError, KeyError, TypeError) as error:
        raise _broken(row, path, f"contains no valid {row.record}: {error}") from error


def _check_follows(row: Row, history: DocumentHistory | None, path: str) -> None:
    """A record may begin at any revision, since it may be older than the journal, or have been private."""
    if history is None:
        return
    before = history.last
    apart = row.record not in ENTRIES and row.revision > before.revision + 1  # it was private in between
    if not apart and (row.revision != before.revision + 1 or not _continues(row, history, path)):
        raise _broken(row, path, f"does not follow revision {before.revision}")


def _continues(row: Row, history: DocumentHistory, path: str) -> bool:
    """Whether the row begins with what the previous one left. Entries are compared as they are read: a later version of
    the program may write the same entry by other names (`matcher.vocabulary.present_category`)."""
    if row.old == history.last.new:
        return True
    return isinstance(history, EntryHistory) and row.old is not None and _state(row, row.old, path) == history.latest


def _broken(row: Row, path: str, what: str) -> FileError:
    return FileError(
        f"row {row.id}, {row.record} {row.key} revision {row.revision}, {what}",
        path=path,
        field=f"journal[{row.id}]",
        remedy="Export the catalogue again",
    )
