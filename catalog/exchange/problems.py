"""Gathering everything that is wrong with one file before refusing it, up to a stated number."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from catalog.model.errors import FileError, FileRefusedError

MOST_ERRORS = 100
"""Errors told of one file; reading stops there and says so."""

LONGEST_VALUE = 80
"""Characters of an offending value that an error shows."""


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
        """Note an error; raises FileRefusedError when there are `MOST_ERRORS`."""
        error = FileError(
            message, path=self.path, line=line, column=column, field=field, value=shortened(value), remedy=remedy
        )
        self._errors.append(error)
        if len(self._errors) == MOST_ERRORS:
            raise FileRefusedError(self._errors, more=True)

    def refuse_if_any(self) -> None:
        """Raise FileRefusedError where anything was noted."""
        if self._errors:
            raise FileRefusedError(self._errors, more=False)


def shortened(value: object) -> object:
    """The value, or its beginning where it would fill the screen."""
    if isinstance(value, int | float | bool) or value is None:
        return value
    text = value if isinstance(value, str) else repr(value)
    return text if len(text) <= LONGEST_VALUE else f"{text[:LONGEST_VALUE]}…"


def remedy_for(error: Mapping[str, Any]) -> str:
    """What to do about one of pydantic's complaints."""
    kind = str(error["type"])
    if kind == "missing":
        return "Add it"
    if kind == "extra_forbidden":
        return "Correct its name, or leave it out"
    if kind in ("float_parsing", "int_parsing"):
        return "Write a plain number with a decimal point and no unit"
    if kind.startswith("union_tag"):
        return 'Say "record": "series", "half" or "mating"'
    return "Correct the value"


def message_of(error: Mapping[str, Any]) -> str:
    """Pydantic's complaint without its prefix for plain ValueErrors."""
    return str(error["msg"]).removeprefix("Value error, ")
