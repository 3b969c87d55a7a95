"""The columns of the three CSV tables (halves, matings, series), made from the feature table, and their cells.

A dimension has the columns ``<name>``, ``<name>.tolerance``, ``<name>.bound``, ``<name>.extra_u``, ``<name>.doubt``,
``<name>.unit``, ``<name>.given``, ``<name>.given_tolerance``.
Lists are parted by semicolons. What has more structure than a cell can show in the open (a series' kinds and stack, a
map of contacts) is JSON in its cell.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType
from typing import Any

from catalog.exchange.json_places import Path, parse_strictly
from catalog.model.entries import Citation, Dimension, Ratings
from matcher.features import DIMENSIONS, ENTRY_CATEGORIES, ENTRY_COUNTS, PAIR_DIMENSIONS

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


class Cell(Enum):
    """How a value is written in a cell."""

    TEXT = "text"
    NUMBER = "number"
    LIST = "list"
    SITES = "sites"
    JSON = "JSON"


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column: its name, where its value stands in the entry, and how it is written."""

    name: str
    path: Path
    cell: Cell
    required: bool = False

    def write(self, value: Any) -> str:
        """The cell of a value; None is an empty cell."""
        if value is None:
            return ""
        if self.cell is Cell.NUMBER:
            return number_cell(value)
        return guarded(self._text(value))

    def _text(self, value: Any) -> str:
        if self.cell is Cell.JSON:
            return json.dumps(value, ensure_ascii=False, separators=(",", ":"))
        if self.cell is Cell.SITES:
            return joined(f"{site['row']}/{site['position']}" for site in value)
        return joined(map(str, value)) if self.cell is Cell.LIST else str(value)

    def read(self, cell: str) -> Any:
        """The value of a cell that is not empty, still to be validated. Raises JsonFaultError for JSON that is none."""
        text = unguarded(cell)
        if self.cell is Cell.JSON:
            return parse_strictly(text)
        if self.cell is Cell.SITES:
            sites = [part.partition("/") for part in parted(text)]
            return [{"row": row, "position": position} for row, _, position in sites]
        return parted(text) if self.cell is Cell.LIST else text


def _columns(cell: Cell, *names: str, required: bool = False) -> tuple[Column, ...]:
    return tuple(Column(name=name, path=(name,), cell=cell, required=required) for name in names)


def _dimension(name: str, path: Path) -> tuple[Column, ...]:
    text_fields = ("bound", "doubt", "unit")
    return tuple(
        Column(
            name=name if field == "value" else f"{name}.{field}",
            path=(*path, name, field),
            cell=Cell.TEXT if field in text_fields else Cell.NUMBER,
        )
        for field in Dimension.model_fields
    )


def _citation(name: str) -> tuple[Column, ...]:
    return tuple(Column(name=f"{name}.{field}", path=(name, field), cell=Cell.TEXT) for field in Citation.model_fields)


_COMMON = (
    *_columns(Cell.TEXT, "lifecycle"),
    *_columns(Cell.NUMBER, "mating_cycles"),
    *(Column(name=f"ratings.{name}", path=("ratings", name), cell=Cell.NUMBER) for name in Ratings.model_fields),
    *_citation("datasheet"),
    *_columns(Cell.TEXT, "note"),
)

HALF_COLUMNS = (
    *_columns(Cell.TEXT, "maker", "series", "part_number", required=True),
    *_columns(Cell.TEXT, "half_kind"),
    *_columns(Cell.NUMBER, "rows", "contact_count", required=True),
    *_columns(Cell.NUMBER, "positions"),
    *_columns(Cell.LIST, "row_contacts"),
    *_columns(Cell.SITES, "blocked"),
    *(column for name in DIMENSIONS for column in _dimension(name, ("dimensions",))),
    *(Column(name=name, path=("counts", name), cell=Cell.NUMBER) for name in ENTRY_COUNTS),
    *(Column(name=name, path=("categories", name), cell=Cell.LIST) for name in ENTRY_CATEGORIES),
    *_columns(Cell.LIST, "markings", "aliases", "order_codes"),
    *_COMMON,
)

MATING_COLUMNS = (
    *_columns(Cell.TEXT, "half", "other", "basis", required=True),
    *(column for name in PAIR_DIMENSIONS for column in _dimension(name, ())),
    *_columns(Cell.TEXT, "correspondence"),
    *_columns(Cell.JSON, "contact_map"),
    *_citation("citation"),
    *_columns(Cell.TEXT, "note"),
)

SERIES_COLUMNS = (
    *_columns(Cell.TEXT, "maker", "name", required=True),
    *_columns(Cell.LIST, "aliases"),
    *_columns(Cell.JSON, "kinds", "stack"),
    *_columns(Cell.NUMBER, "stack_tolerance"),
    *_columns(Cell.TEXT, "correspondence"),
    *_COMMON,
)

TABLES: Mapping[str, tuple[Column, ...]] = MappingProxyType(
    {"half": HALF_COLUMNS, "mating": MATING_COLUMNS, "series": SERIES_COLUMNS}
)
"""The columns of each record's table."""

FILE_NAMES: Mapping[str, str] = MappingProxyType(
    {"series": "series.csv", "half": "halves.csv", "mating": "matings.csv"}
)
"""The file of each record in a folder of tables."""
