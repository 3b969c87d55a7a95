"""The catalogue in files: JSON Lines (`.jsonl`, one file) and CSV (`.csv`, a table; or a folder of three).

Both are lossless. Use JSON Lines to write series by hand, and tables for spreadsheets. A file is imported as a whole or
not at all, and every error is reported with line and column.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from sqlalchemy.orm import Session

from catalog.exchange.columns import FILE_NAMES
from catalog.exchange.files import Placed, read_text
from catalog.exchange.jsonl import read_jsonl, write_jsonl
from catalog.exchange.tables import read_csv, write_csv
from catalog.history.addition import AddReport, add
from catalog.model.entries import AnyEntry
from catalog.model.errors import DuplicateError, EntryError, FileError, FileRefusedError
from catalog.records.read import load_halves, load_matings, load_series

__all__ = ["add_file", "is_exchange", "read_entries", "read_placed", "stored_entries", "write_csv", "write_jsonl"]


def is_exchange(path: Path) -> bool:
    """Whether a path looks like an exchange file, or a folder of tables."""
    if path.is_dir():
        return any((path / name).is_file() for name in FILE_NAMES.values())
    return path.suffix.lower() in (".jsonl", ".csv")


def read_entries(path: Path) -> list[AnyEntry]:
    """The entries of a file, or of a folder of tables. Raises FileError, FileRefusedError."""
    return [placed.entry for placed in read_placed(path)]


def read_placed(path: Path) -> list[Placed]:
    """The entries with their places. Raises FileError, FileRefusedError."""
    if path.is_dir():
        files = [path / name for name in FILE_NAMES.values() if (path / name).is_file()]
        if not files:
            names = ", ".join(FILE_NAMES.values())
            raise FileError("the folder holds no tables", path=str(path), remedy=f"It may hold {names}")
        return [placed for file in files for placed in read_placed(file)]
    kind = path.suffix.lower()
    if kind not in (".jsonl", ".csv"):
        raise FileError(
            "this kind of file is not read", path=str(path), value=path.suffix, remedy="Name it .jsonl or .csv"
        )
    text = read_text(path)
    return read_jsonl(text, str(path)) if kind == ".jsonl" else read_csv(text, str(path))


def add_file(session: Session, path: Path) -> AddReport:
    """Add a file's entries in the session's writing transaction. Raises what reading raises.

    An entry that the catalogue refuses is told as FileRefusedError with its line too.
    """
    placed = read_placed(path)
    try:
        return add(session, [each.entry for each in placed])
    except (DuplicateError, EntryError) as error:
        if error.entry is None:
            raise
        at = placed[error.entry]
        field = error.field.partition(".")[2] or None if error.field else None
        place = FileError(
            error.message, path=at.path, line=at.line, column=1, field=field, value=error.value, remedy=error.remedy
        )
        raise FileRefusedError([place], more=False) from error


def stored_entries(session: Session) -> Iterator[AnyEntry]:
    """The catalogue as entries: described series, and the halves and matings that no law makes."""
    yield from (record.series for record in load_series(session) if record.stated)
    yield from (record.half for record in load_halves(session) if not record.from_law)
    yield from (record.mating for record in load_matings(session) if not record.from_law)
