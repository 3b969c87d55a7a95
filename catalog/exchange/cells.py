"""Values in the cells of a table: lists, numbers, and text that no spreadsheet takes for a formula."""

from __future__ import annotations

import re
from collections.abc import Iterable

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""What makes a spreadsheet calculate a cell; see OWASP, "CSV Injection"."""

GUARD = "'"
_GUARDED = (*FORMULA_STARTS, GUARD)
_PART = re.compile(r"(?:[^;\\]|\\.|\\$)+", re.DOTALL)
_ESCAPED = re.compile(r"\\(.)", re.DOTALL)


def guarded(text: str) -> str:
    """The text with an apostrophe before it where a spreadsheet would calculate it; `unguarded` takes it away again."""
    return f"{GUARD}{text}" if text.startswith(_GUARDED) else text


def unguarded(cell: str) -> str:
    """The text of a cell; an apostrophe that guards nothing stays."""
    return cell[1:] if cell.startswith(GUARD) and cell[1:].startswith(_GUARDED) else cell


def joined(texts: Iterable[str]) -> str:
    """Texts in one cell, semicolons between; those within are escaped by a backslash."""
    return "; ".join(text.replace("\\", "\\\\").replace(";", "\\;") for text in texts)


def parted(cell: str) -> list[str]:
    """The texts of a cell written by `joined`, or by hand; empty ones are left out."""
    parts = [_ESCAPED.sub(r"\1", part).strip() for part in _PART.findall(cell)]
    return [part for part in parts if part]


def number_cell(value: float | int | None) -> str:
    """A number so that reading gives the same one back."""
    return "" if value is None else repr(value)
