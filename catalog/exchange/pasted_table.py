"""A table pasted as text from a drawing or a page: cells with their places, and numbers with their resolution.

Cells are separated by tabs, vertical bars, semicolons, commas (then numbers need a decimal point) or several spaces,
depending on the first line. A line of bars and hyphens is ignored.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from catalog.exchange.files import Problems

LONGEST_TABLE = 200_000
"""Most characters of a table; a drawing's table has a few thousand."""

PLUS_MINUS = "±"
_PLUS_MINUS = re.compile(r"[ \t]*(?:±|\+/-|\+-)[ \t]*")
_RULE = re.compile(r"[\s|+:=-]*")
_SEPARATORS = {
    "\t": re.compile(r"[ ]*\t[ ]*"),
    "|": re.compile(r"[ \t]*\|[ \t]*"),
    ";": re.compile(r"[ \t]*;[ \t]*"),
    ",": re.compile(r"[ \t]*,[ \t]*"),
    "  ": re.compile(r"[ ]{2,}"),
}
_SPACES = re.compile(r"[ ]+")
_NUMBER = re.compile(r"(\d+)(?:[.,](\d+))?(?:[eE][+-]?\d+)?")


@dataclass(frozen=True, kw_only=True)
class TableCell:
    """The text of a cell, its line and its number in the line, both counted from 1."""

    text: str
    line: int
    column: int


@dataclass(frozen=True, kw_only=True)
class Printed:
    """A printed number and its resolution: the value of one ``step`` of its last digit."""

    value: float
    step: float


def printed(text: str) -> Printed | None:
    """The number in a text, with a decimal point or comma; None if it is not a number."""
    match = _NUMBER.fullmatch(text.strip())
    if match is None:
        return None
    decimals = len(match[2] or "")
    return Printed(value=float(text.strip().replace(",", ".")), step=10.0**-decimals)


def table_rows(text: str, problems: Problems) -> list[list[TableCell]]:
    """The rows of a pasted table. Raises FileRefusedError if they do not all have as many cells as the first."""
    if len(text) > LONGEST_TABLE:
        raise problems.refusal(f"the table has {len(text)} characters", remedy=f"Paste at most {LONGEST_TABLE}")
    lines = list(_lines(text))
    if len(lines) < 2:
        remedy = "Paste a header line and one line for each size"
        raise problems.refusal("there is no table", line=1, column=1, remedy=remedy)
    separator = _separator(lines[0][1])
    rows = [_cells(line, number, separator) for number, line in lines]
    for row in rows:
        if len(row) != len(rows[0]):
            problems.add(
                f"row and header differ in their number of cells: {len(row)} and {len(rows[0])}",
                line=row[0].line,
                column=min(len(row), len(rows[0])) + 1,
                remedy="Separate cells by tabs or vertical bars; with commas, numbers need a decimal point",
            )
    problems.refuse_if_any()
    return rows


def _lines(text: str) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(text.splitlines(), start=1):
        if not _RULE.fullmatch(line):
            yield number, _PLUS_MINUS.sub(PLUS_MINUS, line).strip(" ")


def _separator(header: str) -> re.Pattern[str]:
    return next((pattern for mark, pattern in _SEPARATORS.items() if mark in header), _SPACES)


def _cells(line: str, number: int, separator: re.Pattern[str]) -> list[TableCell]:
    if separator is _SEPARATORS["|"]:
        line = line.removeprefix("|").removesuffix("|").strip(" ")
    return [
        TableCell(text=cell.strip(), line=number, column=column)
        for column, cell in enumerate(separator.split(line), start=1)
    ]
