"""The whole catalogue as one file, history included: the journal is all there is, everything else follows from it.

The file is JSON Lines: a heading, every row of the journal, and a last line with their number and SHA-256, so that a
file that breaks off or was altered is noticed. A heading with ``origin`` and ``signed_off_by`` makes it a publication
that other catalogues may merge.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal, TextIO

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError
from sqlalchemy import false, select
from sqlalchemy.orm import Session

from catalog.db.database import read_version
from catalog.db.tables import JournalTable
from catalog.exchange.jsonl import LONGEST_LINE
from catalog.exchange.problems import message_of
from catalog.history.journal import JournalEntry
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


_HEADING: TypeAdapter[Heading] = TypeAdapter(Heading)
_ROW: TypeAdapter[Row] = TypeAdapter(Row)
_END: TypeAdapter[End] = TypeAdapter(End)


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
        heading = _HEADING.validate_json(line)
    except ValidationError as error:
        raise _invalid(path, 1, error) from error
    if heading.form != FORM:
        raise _fault(path, 1, f"the file has form {heading.form}, this program reads {FORM}", "Update the program")
    return heading


def _row(path: Path, place: int, line: str) -> Row:
    try:
        return _ROW.validate_json(line)
    except ValidationError as error:
        raise _invalid(path, place, error) from error


def _check_end(path: Path, place: int, line: str, number: int, sha256: str) -> None:
    try:
        end = _END.validate_json(line)
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
