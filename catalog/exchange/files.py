"""Common parts of all file formats: reading text, the place of each entry, and errors.

Files must be UTF-8 and of limited size. All errors of a file are collected before it is refused, up to a limit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from catalog.model.entries import AnyEntry
from catalog.model.errors import FileError, FileRefusedError

LARGEST_FILE = 64 * 1024 * 1024
"""Most bytes of a file: ten times a catalogue of ten thousand halves that are listed one by one."""

_BOM = "\ufeff"


def read_text(path: Path) -> str:
    """The text of a file without its byte order mark. Raises FileError."""
    data = _bytes(path)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise FileError("the file is UTF-16", path=str(path), line=1, column=1, remedy="Save it as UTF-8")
    try:
        return data.decode("utf-8").removeprefix(_BOM)
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line_start = before.rfind(b"\n") + 1
        raise FileError(
            f"the byte 0x{data[error.start]:02x} is not UTF-8",
            path=str(path),
            line=before.count(b"\n") + 1,
            column=len(before[line_start:].decode("utf-8").removeprefix(_BOM)) + 1,
            remedy="Save the file as UTF-8",
        ) from error


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except OSError as error:
        raise unreadable(path, error) from error
    if len(data) > LARGEST_FILE:
        raise FileError(
            f"the file is larger than {LARGEST_FILE // 1024 // 1024} MiB",
            path=str(path),
            remedy="Split it into smaller files",
        )
    return data


def unreadable(path: Path, error: OSError) -> FileError:
    """The error for a file that cannot be opened."""
    reason = error.strerror or str(error)
    return FileError(f"cannot be read: {reason}", path=str(path), remedy="Check the path and its permissions")


@dataclass(frozen=True, kw_only=True)
class Placed:
    """An entry, and the line (from 1) of the file where it begins."""

    entry: AnyEntry
    path: str
    line: int


MOST_ERRORS = 100
"""Most errors reported for one file; then reading stops."""

LONGEST_VALUE = 80
"""Most characters of a wrong value in an error."""


class Problems:
    """The errors of one file."""

    def __init__(self, path: str) -> None:
        self.path = path
        self._errors: list[FileError] = []

    def add(
        self,
        message: str,
        *,
        line: int | None = None,
        column: int | None = None,
        field: str | None = None,
        value: object = None,
        remedy: str = "",
    ) -> None:
        """Add an error; raises FileRefusedError when there are `MOST_ERRORS`."""
        error = FileError(
            message, path=self.path, line=line, column=column, field=field, value=shortened(value), remedy=remedy
        )
        self._errors.append(error)
        if len(self._errors) == MOST_ERRORS:
            raise FileRefusedError(self._errors, more=True)

    def add_complaint(
        self,
        complaint: Mapping[str, Any],
        path: Iterable[str | int],
        *,
        line: int | None = None,
        column: int | None = None,
    ) -> None:
        """Add one of pydantic's errors, about the value at a path in an entry."""
        self.add(
            message_of(complaint),
            line=line,
            column=column,
            field=".".join(map(str, path)) or None,
            value=complaint["input"],
            remedy=remedy_for(complaint),
        )

    def refusal(self, message: str, **facts: Any) -> FileRefusedError:
        """The refusal of the file for one more error, with the facts that `add` takes."""
        self.add(message, **facts)
        return self.refused()

    def refused(self) -> FileRefusedError:
        """The refusal of the file for all its errors."""
        return FileRefusedError(self._errors, more=False)

    def refuse_if_any(self) -> None:
        """Raise FileRefusedError if there are errors."""
        if self._errors:
            raise self.refused()


def shortened(value: object) -> object:
    """The value, or its beginning if it is long."""
    if isinstance(value, int | float | bool) or value is None:
        return value
    text = value if isinstance(value, str) else repr(value)
    return text if len(text) <= LONGEST_VALUE else f"{text[:LONGEST_VALUE]}…"


def remedy_for(error: Mapping[str, Any]) -> str:
    """What to do about one of pydantic's errors."""
    kind = str(error["type"])
    if kind == "missing":
        return "Add it"
    if kind == "extra_forbidden":
        return "Correct its name, or remove it"
    if kind in ("float_parsing", "int_parsing"):
        return "Write a plain number with a decimal point and no unit"
    if kind.startswith("union_tag"):
        return 'Set "record" to "series", "half" or "mating"'
    return "Correct the value"


def message_of(error: Mapping[str, Any]) -> str:
    """Pydantic's message without its prefix for a ValueError."""
    return str(error["msg"]).removeprefix("Value error, ")
