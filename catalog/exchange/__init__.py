"""The catalogue in files: JSON Lines (one `.jsonl` file) and CSV (a `.csv` table, or a folder with three of them).

Both are lossless. JSON Lines is suitable for writing series by hand, CSV for spreadsheets. A file is imported as a
whole or not at all, and every error is reported with line and column.
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

__all__ = ["add_file", "is_exchange", "read_placed", "stored_entries", "write_csv", "write_jsonl"]


def is_exchange(path: Path) -> bool:
    """Whether a path looks like an exchange file or a folder of tables."""
    if path.is_dir():
        return any((path / name).is_file() for name in FILE_NAMES.values())
    return path.suffix.lower() in (".jsonl", ".csv")


def read_placed(path: Path) -> list[Placed]:
    """The entries of a file or of a folder of tables, with their places. Raises FileError, FileRefusedError."""
    if path.is_dir():
        files = [path / name for name in FILE_NAMES.values() if (path / name).is_file()]
        if not files:
            names = ", ".join(FILE_NAMES.values())
            raise FileError("the folder contains no tables", path=str(path), remedy=f"Name the tables {names}")
        return [placed for file in files for placed in read_placed(file)]
    kind = path.suffix.lower()
    if kind not in (".jsonl", ".csv"):
        raise FileError(
            "this kind of file cannot be read", path=str(path), value=path.suffix, remedy="Name it .jsonl or .csv"
        )
    text = read_text(path)
    return read_jsonl(text, str(path)) if kind == ".jsonl" else read_csv(text, str(path))


def add_file(session: Session, path: Path) -> AddReport:
    """Add a file's entries in the session's writing transaction.

    Raises what `read_placed` raises. If the catalogue refuses an entry, raises FileRefusedError with the entry's line.
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
    """The listed entries of the catalogue: described series, and the halves and matings that no law makes."""
    yield from (record.series for record in load_series(session) if record.stated)
    yield from (record.half for record in load_halves(session) if not record.from_law)
    yield from (record.mating for record in load_matings(session) if not record.from_law)
