"""The columns of a drawing's table: the meaning of their headers, and their numbers."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field, FiniteFloat

from catalog.exchange.files import Problems
from catalog.exchange.pasted_table import PLUS_MINUS, Printed, TableCell, printed
from catalog.model.entry_parts import DIGITS_MM, LARGEST_DIMENSION, Bound, Citation, Entry, HalfKind
from catalog.model.text_fields import Line
from matcher.features import DIMENSIONS, FEATURES
from matcher.vocabulary import MM_PER_UNIT, SPELLINGS

IGNORE = "ignore"
"""The meaning of a column that is ignored."""

Size = Literal["positions", "contacts"]
_SIZE_WORDS: Mapping[str, Size] = {
    **dict.fromkeys(("positions", "positions per row", "contacts per row", "n"), "positions"),
    **dict.fromkeys(("contacts", "contact_count", *FEATURES["contact_count"].synonyms), "contacts"),
}
_BOUNDS: Mapping[str, Bound] = {
    "max": "max",
    "max.": "max",
    "min": "min",
    "min.": "min",
    "ref": "reference",
    "ref.": "reference",
    "nom": "nominal",
    "nom.": "nominal",
}
_UNITS = {word: unit for unit, words in SPELLINGS.items() if unit in MM_PER_UNIT for word in (unit, *words)}
_TOLERANCE_WORDS = ("tolerance", "tolerances", "tol", "tol.", PLUS_MINUS)
_WORDS = re.compile(r"[\s()\[\]]+")


class Drawing(Entry):
    """Facts stated on a drawing outside its table.

    ``part_number`` and ``order_codes`` are patterns as in `KindLaw`. ``size`` is the meaning of the first column if its
    header does not say it, ``unit`` is the unit of columns without one, and ``pitch`` (mm) is for tables without a
    pitch.
    """

    maker: Line
    name: Line
    half_kind: HalfKind
    part_number: Line
    rows: Annotated[int, Field(ge=1, le=20)]
    size: Size | None = None
    unit: Literal["mm", "in", "mil", "um"] = "mm"
    pitch: Annotated[FiniteFloat, Field(gt=0, le=100)] | None = None
    counts: dict[str, int] = Field(default_factory=dict)
    categories: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    order_codes: tuple[Line, ...] = ()
    datasheet: Citation | None = None


@dataclass(frozen=True, kw_only=True)
class Column:
    """The column of one dimension, with one number for each size. ``scale`` is mm per unit."""

    feature: str
    cells: tuple[TableCell, ...]
    numbers: tuple[Printed, ...]
    bound: Bound
    tolerance: float | None
    scale: float

    @property
    def values(self) -> list[float]:
        return [round(number.value * self.scale, DIGITS_MM) for number in self.numbers]


@dataclass(frozen=True, kw_only=True)
class Sizes:
    """The sizes in the first column: contacts, and contacts per row."""

    contacts: tuple[int, ...]
    positions: tuple[int, ...]


def read_columns(
    rows: Sequence[Sequence[TableCell]], letters: Mapping[str, str], drawing: Drawing, problems: Problems
) -> tuple[list[Column], Sizes]:
    """The columns that are not ignored, and the sizes of the rows. Raises FileRefusedError with all errors."""
    header, *body = rows
    sized = [row for row in body if not _is_tolerance_row(row)]
    tolerances = _tolerance_cells([row for row in body if _is_tolerance_row(row)], problems)
    sizes = _sizes(header[0], sized, drawing, problems)
    columns = [
        column
        for number, cell in enumerate(header[1:], start=1)
        if (column := _column(cell, [row[number] for row in sized], tolerances.get(number), letters, drawing, problems))
    ]
    _check_features(columns, header, drawing, problems)
    problems.refuse_if_any()
    return columns, sizes


def _is_tolerance_row(row: Sequence[TableCell]) -> bool:
    return row[0].text.lower() in _TOLERANCE_WORDS


def _tolerance_cells(rows: Sequence[Sequence[TableCell]], problems: Problems) -> dict[int, TableCell]:
    if len(rows) > 1:
        problems.add("there is a second row of tolerances", line=rows[1][0].line, column=1, remedy="Leave one out")
    return {
        number: cell for row in rows[:1] for number, cell in enumerate(row) if number and cell.text not in ("", "-")
    }


def _sizes(header: TableCell, rows: Sequence[Sequence[TableCell]], drawing: Drawing, problems: Problems) -> Sizes:
    meaning = drawing.size or _SIZE_WORDS.get(header.text.lower().strip("."))
    if meaning is None:
        problems.add(
            f"{header.text!r} does not say whether it counts all contacts or those of one row",
            line=header.line,
            column=1,
            value=header.text,
            remedy="Write contacts or positions (per row) there, or give the size separately",
        )
    numbers = [_whole(row[0], problems) for row in rows]
    for row, number in zip(rows, numbers, strict=True):
        if numbers.count(number) > 1:
            problems.add(f"the size {number} appears twice", line=row[0].line, column=1, remedy="Leave one out")
    problems.refuse_if_any()
    if meaning == "contacts":
        positions = tuple(-(-number // drawing.rows) for number in numbers)
        return Sizes(contacts=tuple(numbers), positions=positions)
    return Sizes(contacts=tuple(number * drawing.rows for number in numbers), positions=tuple(numbers))


def _whole(cell: TableCell, problems: Problems) -> int:
    if cell.text.isdecimal() and int(cell.text) > 0:
        return int(cell.text)
    problems.add(
        f"{cell.text!r} is not a number of contacts",
        line=cell.line,
        column=cell.column,
        value=cell.text,
        remedy="Give 1 or more",
    )
    return 0


def _column(
    header: TableCell,
    cells: Sequence[TableCell],
    tolerance_cell: TableCell | None,
    letters: Mapping[str, str],
    drawing: Drawing,
    problems: Problems,
) -> Column | None:
    """The column of a dimension; None if it is ignored or wrong."""
    name, _, stated = header.text.partition(PLUS_MINUS)
    words = [word for word in _WORDS.split(f"{name} {''.join(stated.split()[1:])}") if word]
    bound: Bound = next((_BOUNDS[word.lower()] for word in words if word.lower() in _BOUNDS), "nominal")
    unit = next((_UNITS[word.lower()] for word in words if word.lower() in _UNITS), drawing.unit)
    letter = " ".join(word for word in words if word.lower() not in _BOUNDS and word.lower() not in _UNITS)
    feature = _meaning(letter, header, letters, problems)
    if feature is None:
        return None
    tolerance = header if stated else tolerance_cell
    scale = MM_PER_UNIT[unit]
    numbers = [_number(cell, scale, problems) for cell in cells]
    return Column(
        feature=feature,
        cells=tuple(cells),
        numbers=tuple(number for number in numbers if number is not None),
        bound=bound,
        tolerance=None if tolerance is None else _tolerance(tolerance, stated, scale, problems),
        scale=scale,
    )


def _meaning(letter: str, header: TableCell, letters: Mapping[str, str], problems: Problems) -> str | None:
    meaning = letters.get(letter)
    if meaning == IGNORE:
        return None
    if meaning in DIMENSIONS:
        return meaning
    what = f"{letter!r} has no meaning" if meaning is None else f"{meaning!r} is not a dimension of a half"
    problems.add(
        what,
        line=header.line,
        column=header.column,
        value=meaning or letter,
        remedy=f"Give it one of these meanings: {', '.join(DIMENSIONS)}, or {IGNORE}",
    )
    return None


def _number(cell: TableCell, scale: float, problems: Problems) -> Printed | None:
    number = printed(cell.text)
    if number is None or not 0 < number.value * scale <= LARGEST_DIMENSION:
        problems.add(
            f"{cell.text!r} is not a length",
            line=cell.line,
            column=cell.column,
            value=cell.text,
            remedy=f"Give a number above 0 and up to {LARGEST_DIMENSION:g} mm, or leave the column out",
        )
    return number


def _tolerance(cell: TableCell, stated: str, scale: float, problems: Problems) -> float | None:
    text = stated.split()[0] if stated.strip() else cell.text.lstrip(PLUS_MINUS)
    number = printed(text)
    if number is None:
        problems.add(
            f"{text!r} is not a tolerance",
            line=cell.line,
            column=cell.column,
            value=cell.text,
            remedy="Write ± and one number; only symmetrical tolerances are possible",
        )
        return None
    return round(number.value * scale, DIGITS_MM)


def _check_features(
    columns: Sequence[Column], header: Sequence[TableCell], drawing: Drawing, problems: Problems
) -> None:
    features = [column.feature for column in columns]
    for name in {name for name in features if features.count(name) > 1}:
        problems.add(f"{name} has two columns", line=header[0].line, column=1, remedy=f"Give one the meaning {IGNORE}")
    if not columns:
        problems.add(
            "no column of the table is a dimension", line=header[0].line, column=1, remedy="Give a letter a meaning"
        )
    if "pitch" in features and drawing.pitch is not None:
        problems.add("the pitch is given twice", line=header[0].line, column=1, remedy="Leave it out of one place")
