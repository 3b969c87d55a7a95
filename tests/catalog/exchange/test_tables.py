"""CSV in and out without loss and safe in spreadsheets; every error names line and cell."""

from __future__ import annotations

import csv
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.exchange import write_csv
from catalog.exchange.columns import FORMULA_STARTS, guarded, joined, separated, unguarded
from catalog.model.errors import FileError, FileRefusedError
from catalog.model.series_laws import expand
from tests.catalog.exchange.exchange_files import read_entries
from tests.catalog.model.entry_examples import half, mating, series

HEADER = "maker,series,part_number,rows,contact_count"
ROW = "Siskin,SK,SK1,2,10"


def _file(tmp_path: Path, content: str | bytes) -> Path:
    path = tmp_path / "table.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def _errors(tmp_path: Path, content: str) -> tuple[FileError, ...]:
    with pytest.raises(FileRefusedError) as caught:
        read_entries(_file(tmp_path, content))
    assert all(error.line and error.column and error.remedy for error in caught.value.errors)
    return caught.value.errors


def test_a_round_trip_of_a_folder_loses_nothing(tmp_path: Path) -> None:
    made = expand(series())
    entries = [series(), half(), *made.halves, mating(), *made.matings]
    assert write_csv(entries, tmp_path / "out") == {"series": 1, "half": 10, "mating": 7}
    assert read_entries(tmp_path / "out") == entries


def test_each_table_can_be_read_by_itself(tmp_path: Path) -> None:
    write_csv([series(), half(), mating()], tmp_path)
    assert read_entries(tmp_path / "halves.csv") == [half()]
    assert read_entries(tmp_path / "matings.csv") == [mating()]
    assert read_entries(tmp_path / "series.csv") == [series()]


def test_tables_without_entries_have_a_header_only(tmp_path: Path) -> None:
    write_csv([], tmp_path)
    assert read_entries(tmp_path) == []
    assert (tmp_path / "halves.csv").read_text() == HEADER + "\n"


def test_columns_that_no_entry_uses_are_left_out(tmp_path: Path) -> None:
    write_csv([half()], tmp_path)
    header = (tmp_path / "halves.csv").read_text().splitlines()[0].split(",")
    assert "body_length.tolerance" in header
    assert "tail_span" not in header


def test_no_cell_of_text_begins_as_a_formula(tmp_path: Path) -> None:
    write_csv([half(part_number="=1+1", series="@S", note="\tx", order_codes=["-1"], aliases=["'='"])], tmp_path)
    with (tmp_path / "halves.csv").open(newline="") as stream:
        cells = [cell for row in csv.reader(stream) for cell in row]
    assert not [cell for cell in cells if cell.startswith(FORMULA_STARTS)]


@given(st.text())
def test_the_guard_against_formulas_is_removed_exactly(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(FORMULA_STARTS)


def test_an_apostrophe_that_is_not_a_guard_is_kept() -> None:
    assert unguarded("'s morgens") == "'s morgens"


@given(st.lists(st.text().map(str.strip).filter(bool)))
def test_lists_in_a_cell_are_split_exactly(texts: list[str]) -> None:
    assert separated(joined(texts)) == texts


@given(st.text(alphabet="'=+-@;\\a\"", min_size=1).map(str.strip).filter(bool))
def test_any_text_survives_a_file(text: str) -> None:
    entry = half(part_number=text, markings=[text, "x"], aliases=[text], note=f"{text}\n{text}")
    with tempfile.TemporaryDirectory() as folder:
        write_csv([entry], Path(folder))
        assert read_entries(Path(folder)) == [entry]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_delimiter_is_read_from_the_header(tmp_path: Path, delimiter: str) -> None:
    text = f"{HEADER}\n{ROW}\n".replace(",", delimiter)
    assert read_entries(_file(tmp_path, "\ufeff" + text.replace("\n", "\r\n")))[0].key == "siskin:sk1"


def test_rows_of_empty_cells_are_skipped(tmp_path: Path) -> None:
    assert len(read_entries(_file(tmp_path, f"{HEADER}\n,,,,\n{ROW}\n\n"))) == 1


def test_an_invalid_cell_is_reported_with_line_and_number(tmp_path: Path) -> None:
    (error,) = _errors(tmp_path, f"{HEADER},pitch\n{ROW},0.4\n{ROW},wide\n")
    assert (error.line, error.column, error.field, error.value) == (3, 6, "dimensions.pitch.value", "wide")


def test_line_numbers_are_right_after_cells_of_several_lines(tmp_path: Path) -> None:
    text = f'{HEADER},note\n{ROW},"one\ntwo\nthree"\nSiskin,SK,SK2,0,10,\n'
    assert [(error.line, error.column) for error in _errors(tmp_path, text)] == [(5, 4)]


@pytest.mark.parametrize("cell", ["nan", "inf", "-0.4", "0", "0.4 mm", '"0,4"', "1e9"])
def test_an_impossible_dimension_is_refused(tmp_path: Path, cell: str) -> None:
    (error,) = _errors(tmp_path, f"{HEADER},pitch\n{ROW},{cell}\n")
    assert (error.line, error.column) == (2, 6)


def test_a_tolerance_without_its_dimension_is_refused(tmp_path: Path) -> None:
    (error,) = _errors(tmp_path, f"{HEADER},pitch,pitch.tolerance\n{ROW},,0.1\n")
    assert error.column == 6


def test_an_unknown_column_is_refused_with_a_suggestion(tmp_path: Path) -> None:
    (error,) = _errors(tmp_path, f"{HEADER},body_lenght\n{ROW},4\n")
    assert (error.line, error.column) == (1, 6)
    assert "body_length" in error.remedy


def test_a_repeated_and_a_missing_column_are_refused(tmp_path: Path) -> None:
    errors = _errors(tmp_path, "maker,part_number,rows,rows,contact_count\n")
    assert [error.column for error in errors] == [4, 5]
    assert errors[1].field == "series"


def test_a_missing_cell_of_a_required_column_is_refused(tmp_path: Path) -> None:
    (error,) = _errors(tmp_path, f"{HEADER}\nSiskin,SK,,2,10\n")
    assert (error.line, error.column, error.field) == (2, 3, "part_number")


@pytest.mark.parametrize(("row", "column"), [("Siskin,SK,SK1,2", 5), (ROW + ",7", 6)])
def test_a_row_with_the_wrong_number_of_cells_is_refused(tmp_path: Path, row: str, column: int) -> None:
    (error,) = _errors(tmp_path, f"{HEADER}\n{row}\n")
    assert (error.line, error.column) == (2, column)


@pytest.mark.parametrize("text", ["", "\n\n", "birds,songs\nwren,loud\n"])
def test_a_table_of_unknown_kind_is_refused(tmp_path: Path, text: str) -> None:
    assert _errors(tmp_path, text)[0].line == 1


def test_an_unclosed_quote_is_reported_where_it_begins(tmp_path: Path) -> None:
    assert _errors(tmp_path, f'{HEADER}\n{ROW}\nSiskin,SK,"SK2,2,10\n{ROW}\n')[0].line == 3


def test_an_oversized_cell_is_refused(tmp_path: Path) -> None:
    text = f"{HEADER},note\n{ROW},{'x' * (csv.field_size_limit() + 1)}\n"
    assert _errors(tmp_path, text)[0].line == 2


def test_invalid_json_in_a_cell_is_reported_with_cell_and_character(tmp_path: Path) -> None:
    (error,) = _errors(tmp_path, 'maker,name,kinds\nSiskin,SK,"[{]"\n')
    assert (error.line, error.column) == (2, 3)
    assert "character 3" in error.message


def test_an_invalid_law_in_a_cell_is_reported_with_its_path(tmp_path: Path) -> None:
    kinds = '[{""half_kind"":""plug"",""part_number"":""P"",""rows"":0,""contact_counts"":[2],""dimensions"":{}}]'
    (error,) = _errors(tmp_path, f'maker,name,kinds\nSiskin,SK,"{kinds}"\n')
    assert (error.line, error.column, error.field) == (2, 3, "kinds.0.rows")


@pytest.mark.parametrize("cell", ["1", "1/x", "0/1", "1/2/3"])
def test_an_invalid_blocked_site_is_refused(tmp_path: Path, cell: str) -> None:
    errors = _errors(tmp_path, f"{HEADER},blocked\n{ROW},{cell}\n")
    assert {error.column for error in errors} == {6}


def test_a_row_that_contradicts_itself_is_refused(tmp_path: Path) -> None:
    (error,) = _errors(tmp_path, f"{HEADER},positions\n{ROW},2\n")
    assert "larger than rows" in error.message


def test_a_folder_is_replaced_file_by_file(tmp_path: Path) -> None:
    write_csv([half()], tmp_path)
    write_csv([half(note="new")], tmp_path)
    assert read_entries(tmp_path) == [half(note="new")]
    assert not list(tmp_path.glob("*.part"))
