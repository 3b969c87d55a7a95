"""Makes a series with laws from a drawing's table of dimensions, which is pasted as text.

The first column is the size (contacts, or positions per row), and the others are dimensions with letters::

    contacts | A ±0.1 | B
    10       | 3.8    | 2,0
    20       | 5.8    | 2,0

The meaning of each letter is given separately. Tolerances are in the header or in a row that begins with ±.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from pydantic import ValidationError

from catalog.exchange.drawing_columns import IGNORE, Column, Drawing, Sizes, read_columns
from catalog.exchange.files import Problems
from catalog.exchange.pasted_table import table_rows
from catalog.model.entries import KindLaw, Series
from catalog.model.entry_parts import DIGITS_MM, DimensionLaw
from matcher.columns.dimension_laws import Law, fit_law
from matcher.features import FEATURES

__all__ = ["IGNORE", "Drawing", "FittedTable", "Residual", "fit_table"]

SLOPE_DIGITS = 9
"""Decimals kept of a slope: a picometre per position."""


@dataclass(frozen=True, kw_only=True)
class Residual:
    """A number of the table and the value of the law, mm; ``line`` is its line in the pasted text."""

    line: int
    positions: int
    feature: str
    printed: float
    expected: float

    @property
    def residual(self) -> float:
        """Printed minus expected, mm."""
        return self.printed - self.expected


@dataclass(frozen=True, kw_only=True)
class FittedTable:
    """The series, and the residual of every number in the table."""

    series: Series
    residuals: tuple[Residual, ...]


def fit_table(text: str, *, letters: Mapping[str, str], drawing: Drawing, tolerate: float | None = None) -> FittedTable:
    """Read a pasted table and fit the laws of its dimensions.

    Parameters
    ----------
    letters: by column header, without tolerance and unit, the dimension it is, or `IGNORE`.
    tolerate: largest residual that passes, mm; None: half a step of the column's last printed figure.

    Raises
    ------
    FileRefusedError: with line and cell number, for cells that are no numbers, letters without a meaning, too few
        sizes, and rows that disagree with the law of the others (the expected value is named).
    """
    problems = Problems("table")
    columns, sizes = read_columns(table_rows(text, problems), letters, drawing, problems)
    return _fitted(columns, sizes, drawing, tolerate, problems)


def _fitted(
    columns: Sequence[Column], sizes: Sizes, drawing: Drawing, tolerate: float | None, problems: Problems
) -> FittedTable:
    pitch = drawing.pitch or next((median(column.values) for column in columns if column.feature == "pitch"), None)
    laws = {column.feature: _law(column, sizes, pitch, problems) for column in columns}
    residuals = [
        each for column in columns for each in _residuals(column, sizes, laws[column.feature], tolerate, problems)
    ]
    problems.refuse_if_any()
    try:
        series = _series({column.feature: _stated(column, laws[column.feature]) for column in columns}, sizes, drawing)
    except ValidationError as error:
        for each in error.errors(include_url=False):
            problems.add_complaint(each, each["loc"])
        raise problems.refused() from error
    return FittedTable(series=series, residuals=tuple(residuals))


def _stated(column: Column, law: Law) -> DimensionLaw:
    return DimensionLaw(
        intercept=round(law.intercept, DIGITS_MM),
        slope=round(law.slope, SLOPE_DIGITS),
        bound=column.bound,
        tolerance=column.tolerance,
    )


def _law(column: Column, sizes: Sizes, pitch: float | None, problems: Problems) -> Law:
    along = FEATURES[column.feature].along_rows
    try:
        return fit_law(sizes.positions, column.values, snap_slope_to=pitch if along else None)
    except ValueError as error:
        raise problems.refusal(
            f"no law can be fitted: {error}", line=column.cells[0].line, column=1, remedy="Give at least two sizes"
        ) from error


def _residuals(column: Column, sizes: Sizes, law: Law, tolerate: float | None, problems: Problems) -> list[Residual]:
    found = []
    for cell, number, value, positions in zip(
        column.cells, column.numbers, column.values, sizes.positions, strict=True
    ):
        expected = round(law.value(positions), DIGITS_MM)
        each = Residual(line=cell.line, positions=positions, feature=column.feature, printed=value, expected=expected)
        found.append(each)
        allowed = number.step * column.scale / 2 if tolerate is None else tolerate
        if abs(each.residual) > allowed + 10.0**-DIGITS_MM:
            problems.add(
                f"{column.feature} is {value:g} mm, but {expected:g} mm is expected from the other rows",
                line=cell.line,
                column=cell.column,
                field=column.feature,
                value=cell.text,
                remedy=f"Correct the row, or tolerate {abs(each.residual):.3g} mm",
            )
    return found


def _series(laws: Mapping[str, DimensionLaw], sizes: Sizes, drawing: Drawing) -> Series:
    stated = laws if drawing.pitch is None else {**laws, "pitch": DimensionLaw(intercept=drawing.pitch)}
    kind = KindLaw(
        half_kind=drawing.half_kind,
        part_number=drawing.part_number,
        rows=drawing.rows,
        contact_counts=sizes.contacts,
        dimensions=dict(stated),
        counts=drawing.counts,
        categories=drawing.categories,
        order_codes=drawing.order_codes,
    )
    return Series(maker=drawing.maker, name=drawing.name, kinds=(kind,), datasheet=drawing.datasheet)
