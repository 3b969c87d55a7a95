"""The columns of the three CSV tables (halves, matings, series), made from the feature table, and their cells.

A dimension has the columns ``<name>``, ``<name>.tolerance``, ``<name>.bound``, ``<name>.extra_u``, ``<name>.doubt``,
``<name>.unit``, ``<name>.given`` and ``<name>.given_tolerance``. Lists are separated by semicolons. Values with more
structure (the kinds and stack of a series, a contact map) are written as JSON.
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
from catalog.model.entry_parts import Citation, Dimension, Ratings
from catalog.model.numbering import Numbering
from matcher.features import DIMENSIONS, ENTRY_CATEGORIES, ENTRY_COUNTS, PAIR_DIMENSIONS

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""Spreadsheets treat a cell that begins like this as a formula; see OWASP, "CSV Injection"."""

GUARD = "'"
_GUARDED = (*FORMULA_STARTS, GUARD)
_PART = re.compile(r"(?:[^;\\]|\\.|\\$)+", re.DOTALL)
_ESCAPED = re.compile(r"\\(.)", re.DOTALL)


def guarded(text: str) -> str:
    """The text, with an apostrophe before it if a spreadsheet would treat it as a formula; `unguarded` removes it."""
    return f"{GUARD}{text}" if text.startswith(_GUARDED) else text


def unguarded(cell: str) -> str:
    """The text of a cell, without the apostrophe that `guarded` adds; any other apostrophe stays."""
    return cell[1:] if cell.startswith(GUARD) and cell[1:].startswith(_GUARDED) else cell


def joined(texts: Iterable[str]) -> str:
    """Texts in one cell, separated by semicolons; semicolons within a text are escaped with a backslash."""
    return "; ".join(text.replace("\\", "\\\\").replace(";", "\\;") for text in texts)


def separated(cell: str) -> list[str]:
    """The texts of a cell written by `joined` or by hand, without empty ones."""
    parts = [_ESCAPED.sub(r"\1", part).strip() for part in _PART.findall(cell)]
    return [part for part in parts if part]


def number_cell(value: float | int | None) -> str:
    """A number, written so that reading it gives exactly the same number."""
    return "" if value is None else repr(value)


class Cell(Enum):
    """The forms of values in cells."""

    TEXT = "text"
    NUMBER = "number"
    LIST = "list"
    SITES = "sites"
    JSON = "JSON"


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column: its name, the path of its value in the entry, and the form of its cells."""

    name: str
    path: Path
    cell: Cell
    required: bool = False

    def write(self, value: Any) -> str:
        """The cell for a value; empty for None."""
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
        """The value of a cell that is not empty, not validated yet. Raises JsonFaultError for invalid JSON."""
        text = unguarded(cell)
        if self.cell is Cell.JSON:
            return parse_strictly(text)
        if self.cell is Cell.SITES:
            sites = [part.partition("/") for part in separated(text)]
            return [{"row": row, "position": position} for row, _, position in sites]
        return separated(text) if self.cell is Cell.LIST else text


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
    *(Column(name=f"numbering.{name}", path=("numbering", name), cell=Cell.TEXT) for name in Numbering.model_fields),
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
"""The columns of the table for each record."""

FILE_NAMES: Mapping[str, str] = MappingProxyType(
    {"series": "series.csv", "half": "halves.csv", "mating": "matings.csv"}
)
"""The file name for each record in a folder of tables."""
