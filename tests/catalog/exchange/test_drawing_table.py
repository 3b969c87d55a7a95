"""A drawing's table pasted as text becomes a series with laws."""

from __future__ import annotations

from typing import Any

import pytest

from catalog.exchange.drawing_table import IGNORE, Drawing, FittedTable, fit_table
from catalog.exchange.pasted_table import LONGEST_TABLE
from catalog.model.entry_parts import DimensionLaw
from catalog.model.errors import FileError, FileRefusedError
from catalog.model.series_laws import expand

LETTERS = {"A": "body_length", "B": "body_width", "C": IGNORE}

TABLE = """
contacts | A    | B   | C
---------|------|-----|---
10       | 3.80 | 2.0 | x
20       | 5.80 | 2.0 | y
30       | 7.80 | 2.0 | -
"""


def _drawing(**changes: Any) -> Drawing:
    described = {"maker": "Nuthatch", "name": "NU", "half_kind": "plug", "part_number": "NU-{contacts:2}", "rows": 2}
    return Drawing.model_validate(described | {"pitch": 0.4} | changes)


def _fit(
    text: str, tolerate: float | None = None, letters: dict[str, str] | None = None, **changes: Any
) -> FittedTable:
    return fit_table(text, letters=letters or LETTERS, drawing=_drawing(**changes), tolerate=tolerate)


def _laws(text: str, **changes: Any) -> dict[str, DimensionLaw]:
    return _fit(text, **changes).series.kinds[0].dimensions


def _errors(text: str, **changes: Any) -> tuple[FileError, ...]:
    with pytest.raises(FileRefusedError) as caught:
        _fit(text, **changes)
    return caught.value.errors


def test_each_letter_becomes_a_law_of_its_dimension() -> None:
    laws = _laws(TABLE)
    assert laws["body_length"] == DimensionLaw(intercept=1.8, slope=0.4)
    assert laws["body_width"] == DimensionLaw(intercept=2.0)
    assert laws["pitch"] == DimensionLaw(intercept=0.4)


def test_the_series_expands_to_the_numbers_of_the_table() -> None:
    halves = expand(fit_table(TABLE, letters=LETTERS, drawing=_drawing()).series).halves
    assert [half.part_number for half in halves] == ["NU-10", "NU-20", "NU-30"]
    assert [half.dimensions["body_length"].value for half in halves] == [3.8, 5.8, 7.8]


def test_the_residual_of_every_number_is_reported() -> None:
    residuals = _fit(TABLE).residuals
    assert len(residuals) == 6
    assert [each.line for each in residuals[:3]] == [4, 5, 6]
    assert max(abs(each.residual) for each in residuals) < 1e-9


@pytest.mark.parametrize(
    "text",
    [
        "contacts\tA\tB\n10\t3.8\t2\n20\t5.8\t2",
        "contacts,A,B\n10,3.8,2.0\n20,5.8,2.0",
        "contacts; A; B\n10; 3,8; 2,0\n20; 5,8; 2,0",
        "| contacts | A | B |\n|---|---|---|\n| 10 | 3,8 | 2,0 |\n| 20 | 5,8 | 2,0 |",
        "number of contacts   A    B\n10   3.8   2.0\n20   5.8   2.0",
        "contacts A B\n10 3.8 2.0\n\n20 5.8 2.0\n",
        "contacts A (mm) B [mm]\n10 3.8 2.0\n20 5.8 2.0".replace(" (", "(").replace(" [", "["),
        "positions A B\n5 3.8 2.0\n10 5.8 2.0",
    ],
)
def test_tables_are_read_with_any_separator_of_cells(text: str) -> None:
    laws = _laws(text)
    assert laws["body_length"] == DimensionLaw(intercept=1.8, slope=0.4)
    assert laws["body_width"] == DimensionLaw(intercept=2.0)


def test_tolerances_may_be_in_the_header() -> None:
    laws = _laws("contacts | A ±0.1 | B +/- 0,05\n10 | 3.8 | 2.0\n20 | 5.8 | 2.0")
    assert (laws["body_length"].tolerance, laws["body_width"].tolerance) == (0.1, 0.05)


def test_tolerances_may_be_in_a_separate_row() -> None:
    laws = _laws("contacts | A | B\n± | 0.15 | -\n10 | 3.8 | 2.0\n20 | 5.8 | 2.0")
    assert (laws["body_length"].tolerance, laws["body_width"].tolerance) == (0.15, None)


def test_the_header_may_mark_a_dimension_as_a_limit_or_reference() -> None:
    laws = _laws("contacts | A max. | B (ref)\n10 | 3.8 | 2.0\n20 | 5.8 | 2.0")
    assert (laws["body_length"].bound, laws["body_width"].bound) == ("max", "reference")


def test_inches_become_millimetres() -> None:
    # 25.4 mm to the inch, exactly.
    laws = _laws("contacts | A (in) ±0.004 | B\n10 | 0.150 | 50\n20 | 0.250 | 50", pitch=0.508, unit="mil")
    assert laws["body_length"] == DimensionLaw(intercept=1.27, slope=0.508, tolerance=0.1016)
    assert laws["body_width"].intercept == 1.27


def test_a_column_of_the_pitch_gives_the_slope_of_lengths() -> None:
    laws = _laws("contacts | A | P\n10 | 3.8 | 0.4\n20 | 5.8 | 0.4", letters=LETTERS | {"P": "pitch"}, pitch=None)
    assert laws["body_length"].slope == 0.4
    assert laws["pitch"].intercept == 0.4


def test_a_length_rounded_in_print_still_agrees_with_its_law() -> None:
    # 1.3 + 0.635 n printed to 0.01: every residual is within half a step.
    rows = "\n".join(f"{n} {1.3 + 0.635 * n:.2f}" for n in (5, 8, 13, 20))
    laws = _laws(f"positions A\n{rows}", pitch=0.635)
    assert laws["body_length"].slope == 0.635
    assert laws["body_length"].intercept == pytest.approx(1.3, abs=0.005)


WRONG = TABLE.replace("5.80", "5.90")


def test_a_row_that_disagrees_is_refused_with_its_number_and_the_expected_value() -> None:
    (error,) = _errors(WRONG)
    assert (error.line, error.column, error.field, error.value) == (5, 2, "body_length", "5.90")
    assert "5.8 mm is expected" in error.message


def test_a_row_that_disagrees_is_accepted_within_the_allowed_residual() -> None:
    fitted = _fit(WRONG, tolerate=0.1)
    assert [round(each.residual, 9) for each in fitted.residuals[:3]] == [0, 0.1, 0]
    assert _errors(WRONG, tolerate=0.09)


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        ("", 1, 1),
        ("contacts A", 1, 1),
        ("pos. A\n10 3.8\n20 5.8", 1, 1),
        ("contacts Q\n10 3.8\n20 5.8", 1, 2),
        ("contacts C\n10 3.8\n20 5.8", 1, 1),
        ("contacts A A\n10 3.8 3.8\n20 5.8 5.8", 1, 1),
        ("contacts A\nten 3.8\n20 5.8", 2, 1),
        ("contacts A\n0 3.8\n20 5.8", 2, 1),
        ("contacts A\n10 3.8\n10 5.8", 2, 1),
        ("contacts A\n10 3.8\n20 long", 3, 2),
        ("contacts A\n10 0\n20 5.8", 2, 2),
        ("contacts A\n10 -3\n20 5.8", 2, 2),
        ("contacts A\n10 nan\n20 5.8", 2, 2),
        ("contacts A\n10 3e9\n20 5.8", 2, 2),
        ("contacts A\n10 3.8", 2, 1),
        ("contacts A\n10 3.8 7\n20 5.8", 2, 3),
        ("contacts,A,B\n10,3,8,2,0\n20,5,8,2,0", 2, 4),
        ("contacts A±x\n10 3.8\n20 5.8", 1, 2),
        ("contacts|A\n±|x\n10|3.8\n20|5.8", 2, 2),
        ("contacts|A\n±|1\ntol|1\n10|3.8\n20|5.8", 3, 1),
    ],
)
def test_an_unusable_table_is_refused_with_the_place_of_the_fault(text: str, line: int, column: int) -> None:
    error = _errors(text)[0]
    assert (error.line, error.column) == (line, column)
    assert error.remedy


def test_a_pitch_given_twice_is_refused() -> None:
    assert "twice" in _errors("contacts P\n10 0.4\n20 0.4", letters={"P": "pitch"})[0].message


def test_a_letter_with_an_unknown_dimension_is_refused() -> None:
    error = _errors("contacts A\n10 3.8\n20 5.8", letters={"A": "stack_height"})[0]
    assert error.value == "stack_height"


def test_a_very_long_text_is_refused() -> None:
    assert "characters" in _errors("x" * (LONGEST_TABLE + 1))[0].message


def test_a_law_outside_all_bounds_is_refused() -> None:
    # From 1 mm at 498 positions to 999 mm at 500: the intercept lies beyond what a law may have.
    errors = _errors("positions A\n498 1\n500 999", rows=1)
    assert errors[0].field == "intercept"
