"""A table pasted as text, from a drawing or a page: cells with their places, numbers with their last figure.

Cells are parted by tabs, upright strokes, semicolons, commas (then decimals need a point) or runs of spaces, whichever
the first line shows. A line of strokes and hyphens is passed over.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from catalog.exchange.files import Problems

LONGEST_TABLE = 200_000
"""Characters; a drawing's table has a few thousand."""

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
    """A cell's text, and the line and the cell number where it stands, from 1."""

    text: str
    line: int
    column: int


@dataclass(frozen=True, kw_only=True)
class Printed:
    """A printed number, and what one step of its last figure is worth."""

    value: float
    step: float


def printed(text: str) -> Printed | None:
    """The number that a text is, with a decimal point or comma; None where it is none."""
    match = _NUMBER.fullmatch(text.strip())
    if match is None:
        return None
    decimals = len(match[2] or "")
    return Printed(value=float(text.strip().replace(",", ".")), step=10.0**-decimals)


def table_rows(text: str, problems: Problems) -> list[list[TableCell]]:
    """Rows of a pasted table, all of as many cells as the first. Raises FileRefusedError where they are not."""
    if len(text) > LONGEST_TABLE:
        problems.add(f"the table has {len(text)} characters", remedy=f"Paste at most {LONGEST_TABLE}")
        problems.refuse_if_any()
    lines = list(_lines(text))
    if len(lines) < 2:
        problems.add("there is no table", line=1, column=1, remedy="Paste a header line and one line for each size")
        problems.refuse_if_any()
    separator = _separator(lines[0][1])
    rows = [_cells(line, number, separator) for number, line in lines]
    for row in rows:
        if len(row) != len(rows[0]):
            problems.add(
                f"{len(row)} cells where the header has {len(rows[0])}",
                line=row[0].line,
                column=min(len(row), len(rows[0])) + 1,
                remedy="Part cells by tabs or upright strokes; between commas, numbers need a decimal point",
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
