"""JSON Lines in and out without loss; every error names line and column."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from catalog.db.database import Catalogue, open_catalogue
from catalog.exchange import add_file, files, is_exchange, jsonl, stored_entries, write_jsonl
from catalog.exchange.files import MOST_ERRORS
from catalog.exchange.json_places import DEEPEST, places
from catalog.history.acts import operators
from catalog.history.addition import add
from catalog.history.changes import revise
from catalog.model.entries import AnyEntry
from catalog.model.errors import FileError, FileRefusedError
from catalog.model.series_laws import expand
from catalog.records.read import load_halves, load_matings, load_series
from catalog.records.read_models import Record
from tests import catalogues
from tests.catalog.exchange.exchange_files import read_entries
from tests.catalog.model.entry_examples import half, mating, series


def _everything() -> list[AnyEntry]:
    made = expand(series())
    return [series(), half(), mating(), *made.halves, *made.matings]


def _lines(*entries: AnyEntry) -> str:
    stream = io.StringIO()
    assert write_jsonl(entries, stream) == len(entries)
    return stream.getvalue()


def _file(tmp_path: Path, content: str | bytes) -> Path:
    path = tmp_path / "entries.jsonl"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def _errors(tmp_path: Path, content: str | bytes) -> tuple[FileError, ...]:
    with pytest.raises(FileRefusedError) as caught:
        read_entries(_file(tmp_path, content))
    return caught.value.errors


def _places(tmp_path: Path, content: str | bytes) -> list[tuple[int | None, int | None]]:
    return [(error.line, error.column) for error in _errors(tmp_path, content)]


HALF = json.dumps({"record": "half", "maker": "M", "series": "S", "part_number": "P", "rows": 2, "contact_count": 10})


def test_a_round_trip_loses_nothing(tmp_path: Path) -> None:
    assert read_entries(_file(tmp_path, _lines(*_everything()))) == _everything()


def test_fields_that_are_not_stated_are_not_written() -> None:
    assert _lines(half(note="")).count("note") == 0


def test_a_byte_order_mark_carriage_returns_and_blank_lines_do_no_harm(tmp_path: Path) -> None:
    text = "\ufeff" + _lines(half()).replace("\n", "\r\n") + "\r\n  \r\n"
    assert read_entries(_file(tmp_path, text)) == [half()]


def test_an_empty_file_has_no_entries(tmp_path: Path) -> None:
    assert read_entries(_file(tmp_path, "")) == []


def test_line_separators_inside_a_text_do_not_split_lines_and_are_refused(tmp_path: Path) -> None:
    odd = json.dumps(json.loads(HALF) | {"note": "a\u2028b\u0085c"}, ensure_ascii=False)
    (error,) = _errors(tmp_path, f"{HALF}\n{odd}\n")
    assert (error.line, error.field) == (2, "note")
    assert "U+2028" in str(error)


def test_an_invalid_value_is_reported_at_its_column(tmp_path: Path) -> None:
    line = HALF.replace("10", '"ten"')
    error = _errors(tmp_path, f"{HALF}\n{line}\n")[0]
    assert (error.line, error.column) == (2, line.index('"contact_count"') + 1)
    assert error.field == "contact_count"
    assert error.value == "ten"
    assert error.remedy


def test_an_invalid_nested_value_is_reported_at_its_own_column(tmp_path: Path) -> None:
    line = _lines(series(stack_tolerance=0.25)).replace('"slope":0.4', '"slope":"x"', 1)
    error = _errors(tmp_path, line)[0]
    assert error.column == line.index('"slope":"x"') + 1
    assert error.field == "kinds.0.dimensions.body_length.slope"


def test_columns_count_characters_and_not_bytes(tmp_path: Path) -> None:
    line = HALF.replace('"M"', '"Müßig"').replace("10", "-1")
    assert _places(tmp_path, line) == [(1, line.index('"contact_count"') + 1)]


def test_all_errors_of_a_file_are_reported(tmp_path: Path) -> None:
    bad = HALF.replace("10", "0").replace('"rows": 2', '"rows": 0')
    assert len(_errors(tmp_path, f"{bad}\n{HALF}\n{{\n")) == 3


def test_the_list_of_errors_stops_at_a_limit_and_says_so(tmp_path: Path) -> None:
    with pytest.raises(FileRefusedError, match="there may be more errors") as caught:
        read_entries(_file(tmp_path, "{\n" * (MOST_ERRORS + 50)))
    assert caught.value.more
    assert len(caught.value.errors) == MOST_ERRORS


@pytest.mark.parametrize(
    ("line", "column"),
    [
        ('{"record": "half", ', 20),
        ("half", 1),
        ("[]", 1),
        ("7", 1),
        ('"half"', 1),
        ("{}", 1),
        ('{"record": "bird"}', 1),
        ('{"record": "half", "rows": 1, "rows": 2}', 31),
        ('{"record": "half", "rows": NaN}', 28),
        ('{"record": "half", "rows": [1, -Infinity]}', 32),
        (HALF[:-1] + ', "song": 1}', len(HALF) + 2),
        (HALF + HALF, len(HALF) + 1),
        ('{"record": "half", "rows": ' + "1" * 5000 + "}", 28),
        ('{"record": "half", "note": "a\tb"}', 30),
    ],
)
def test_a_line_that_is_not_an_entry_is_reported_with_its_column(tmp_path: Path, line: str, column: int) -> None:
    errors = _errors(tmp_path, f"{HALF}\n{line}\n")
    assert (errors[0].line, errors[0].column) == (2, column)
    assert errors[0].remedy


@pytest.mark.parametrize("levels", [DEEPEST + 1, 100_000])
def test_hostile_nesting_is_refused(tmp_path: Path, levels: int) -> None:
    errors = _errors(tmp_path, '{"record": "half", "note": ' + "[" * levels + "]" * levels + "}")
    assert errors[0].line == 1


def test_missing_fields_are_all_named(tmp_path: Path) -> None:
    fields = {error.field for error in _errors(tmp_path, '{"record": "half", "maker": "M"}')}
    assert fields == {"series", "part_number", "rows", "contact_count"}


def test_bytes_that_are_not_utf_8_are_reported_with_their_position(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="0xfc") as caught:
        read_entries(_file(tmp_path, HALF.encode() + b'\n{"maker": "M\xfcller"}'))
    assert (caught.value.line, caught.value.column) == (2, 13)
    assert "UTF-8" in caught.value.remedy


def test_utf_16_is_recognised_and_named(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="UTF-16"):
        read_entries(_file(tmp_path, HALF.encode("utf-16")))


def test_a_huge_file_is_refused_before_it_is_parsed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "LARGEST_FILE", 1024 * 1024)
    with pytest.raises(FileError, match="larger than 1 MiB"):
        read_entries(_file(tmp_path, b" " * (1024 * 1024 + 1)))


def test_a_huge_line_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jsonl, "LONGEST_LINE", 1000)
    assert _places(tmp_path, f"{HALF}\n" + " " * 1000 + "{\n") == [(2, 1001)]


def test_a_missing_file_a_folder_and_an_unknown_kind_are_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("x")
    for path in (tmp_path / "gone.jsonl", tmp_path, tmp_path / "notes.txt"):
        with pytest.raises(FileError) as caught:
            read_entries(path)
        assert caught.value.remedy
        assert caught.value.line is None


def test_exchange_files_are_known_by_their_names(tmp_path: Path) -> None:
    assert is_exchange(Path("a.JSONL"))
    assert is_exchange(Path("a.csv"))
    assert not is_exchange(Path("a.kicad_mod"))
    assert not is_exchange(tmp_path)
    (tmp_path / "halves.csv").touch()
    assert is_exchange(tmp_path)


def test_a_file_with_one_refused_entry_adds_nothing_and_the_error_names_the_line(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    path = _file(tmp_path, _lines(half(), mating(other="nobody:x"), series()))
    with pytest.raises(FileRefusedError, match="no half") as caught, catalogue.writing() as session:
        add_file(session, path)
    assert caught.value.errors[0].line == 2
    assert caught.value.errors[0].field == "other"
    with catalogue.reading() as session:
        assert list(stored_entries(session)) == []


def test_the_whole_catalogue_can_be_exported_and_imported_again(catalogue: Catalogue, tmp_path: Path) -> None:
    with catalogue.writing() as session:
        add(session, [series(), half(), mating()])
    with catalogue.reading() as session:
        path = _file(tmp_path, _lines(*stored_entries(session)))
    with open_catalogue(catalogues.placed(tmp_path / "another.sqlite3", catalogues.empty())) as another:
        with another.writing() as session:
            add_file(session, path)
        with catalogue.reading() as old, another.reading() as new:
            for load in (load_halves, load_matings, load_series):
                assert [_unmoved(record) for record in load(new)] == [_unmoved(record) for record in load(old)]


def _unmoved(record: Record) -> Record:
    """The record without the time at which it was added."""
    return record.model_copy(update={"changed_at": ""})


def test_the_position_of_every_value_of_a_line_is_known() -> None:
    text = ' {"a": [1, {"b\\u0041": "}"}], "c" : {} }'
    assert places(text) == {
        (): 1,
        ("a",): 2,
        ("a", 0): 8,
        ("a", 1): 11,
        ("a", 1, "bA"): 12,
        ("c",): 30,
    }


def test_a_half_corrected_by_hand_is_imported_beside_its_series(catalogue: Catalogue, tmp_path: Path) -> None:
    with catalogue.writing() as session:
        add(session, [series()])
        member = load_halves(session)[0].half
        corrected = member.model_copy(update={"note": "measured longer", "markings": ("DN7",)})
        revise(session, operators(), member.key, corrected)
    with catalogue.reading() as session:
        path = _file(tmp_path, _lines(*stored_entries(session)))
    with open_catalogue(catalogues.placed(tmp_path / "another.sqlite3", catalogues.empty())) as another:
        with another.writing() as session:
            add_file(session, path)
        with another.reading() as session:
            found = {record.key: record for record in load_halves(session)}
        assert found[member.key].half == corrected
        assert not found[member.key].from_law
        with another.writing() as session:
            assert set(add_file(session, path).added.values()) == {0}
