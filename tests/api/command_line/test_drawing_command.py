"""``otherhalf table``: input, output, what it stores and what it refuses. Makers, series and drawings are invented."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from api.command_line.cli import app
from api.command_line.commands.common import ExitCode
from catalog.db.database import open_catalogue
from catalog.exchange import stored_entries
from catalog.exchange.pasted_table import LONGEST_TABLE
from catalog.model.entries import AnyEntry, Series
from catalog.model.entry_parts import Citation, DimensionLaw
from tests.catalog.exchange.exchange_files import read_entries

TABLE = """\
contacts | A ±0.1 | B   | C
10       | 3.80   | 2.0 | x
20       | 5.80   | 2.0 | y
30       | 7.80   | 2.0 | y
"""
WRONG = TABLE.replace("5.80", "5.90")
DESCRIBED = (
    *("--maker", "Ouzelby", "--series", "Twitlet", "--kind", "plug", "--rows", "2"),
    *("--part-number", "TWL-P{contacts:2}", "--pitch", "0.4"),
)
LETTERS = ("--letter", "A=body_length", "--letter", "B=body_width", "--letter", "C=ignore")


def run(*arguments: str, stdin: str | bytes = TABLE) -> Result:
    result = CliRunner().invoke(app, ["table", *arguments], input=stdin)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def read(*more: str, stdin: str | bytes = TABLE) -> Result:
    return run("-", *DESCRIBED, *LETTERS, *more, stdin=stdin)


def refusal(*more: str, stdin: str | bytes = TABLE) -> str:
    """The error message about refused input, without line breaks and frames of the terminal."""
    return told(read(*more, stdin=stdin))


def told(result: Result) -> str:
    assert result.exit_code == ExitCode.BAD_INPUT
    assert result.stdout == ""
    return " ".join(re.sub("[│─╭╮╰╯]", " ", result.stderr).split())


def series_of(line: str) -> Series:
    return Series.model_validate(json.loads(line))


def stored(url: str) -> list[AnyEntry]:
    with open_catalogue(url) as catalogue, catalogue.reading() as session:
        return list(stored_entries(session))


def test_the_laws_and_the_residual_of_every_row_are_printed() -> None:
    result = read()
    assert result.exit_code == ExitCode.ANSWERED, result.stderr
    assert result.stderr == ""
    rows = [line.split() for line in result.stdout.splitlines()]
    assert ["body_length", "1.8", "+", "0.4", "×", "positions", "0.1", "nominal", "0"] in rows
    assert ["body_width", "2", "nominal", "0"] in rows
    assert ["pitch", "0.4", "nominal"] in rows
    lengths = [row for row in rows if len(row) == 6 and row[2] == "body_length"]
    assert lengths == [
        ["2", "5", "body_length", "3.8", "3.8", "0"],
        ["3", "10", "body_length", "5.8", "5.8", "0"],
        ["4", "15", "body_length", "7.8", "7.8", "0"],
    ]
    assert "TWL-P10 to TWL-P30" in result.stdout


def test_a_decreasing_law_is_printed_with_its_sign() -> None:
    falling = TABLE.replace("10       | 3.80   | 2.0", "10 | 3.80 | 2.6").replace(
        "30       | 7.80   | 2.0", "30|7.80|1.4"
    )
    assert "3.2 - 0.12 × positions" in read(stdin=falling).stdout


def test_a_row_that_disagrees_is_refused_with_the_row_and_the_expected_value() -> None:
    words = refusal(stdin=WRONG)
    assert "line 3, column 2: body_length is 5.9 mm, but 5.8 mm is expected from the other rows" in words
    assert "tolerate 0.1 mm" in words


def test_a_row_that_disagrees_is_accepted_within_the_limit_and_its_residual_is_shown() -> None:
    result = read("--tolerate", "0.1", stdin=WRONG)
    assert result.exit_code == ExitCode.ANSWERED, result.stderr
    rows = [line.split() for line in result.stdout.splitlines()]
    assert ["3", "10", "body_length", "5.9", "5.8", "+0.1"] in rows
    assert any(row[:1] == ["body_length"] and row[-1] == "+0.1" for row in rows), "the law's largest residual"
    assert "5.8 mm is expected" in refusal("--tolerate", "0.09", stdin=WRONG)


@pytest.mark.parametrize("limit", ["nan", "inf", "-0.1"])
def test_an_invalid_limit_is_refused(limit: str) -> None:
    assert "give 0 or more" in refusal("--tolerate", limit, stdin=WRONG)


def test_a_letter_of_the_table_without_a_meaning_is_refused() -> None:
    words = told(run("-", *DESCRIBED, *LETTERS[:-2]))
    assert "line 1, column 4: 'C' has no meaning" in words
    assert "body_length" in words
    assert "ignore" in words


def test_a_letter_missing_from_the_table_is_refused() -> None:
    assert "no column has the heading 'Q'" in refusal("--letter", "Q=tail_span")


def test_a_letter_must_mean_a_dimension_of_a_half() -> None:
    assert "'stack_height' is not a dimension of a half" in told(run("-", *DESCRIBED, "--letter", "A=stack_height"))


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--letter", "A"), "not of the form NAME=VALUE"),
        (("--letter", "A="), "not of the form NAME=VALUE"),
        (("--letter", "A=height"), "A is given twice"),
        (("--letter", "D=body_width"), "two letters are body_width"),
        (("--kind", "socket"), "--kind"),
        (("--rows", "0"), "rows"),
        (("--pitch", "-1"), "pitch"),
        (("--pitch", "nan"), "pitch"),
        (("--category", "mounting=glue"), "possible: surface_mount"),
        (("--category", "colour=grey"), "'colour' is not a category"),
        (("--category", "half_kind=plug"), "not a category that can be given here"),
        (("--count", "hold_down_count=two"), "valid integer"),
        (("--count", "rows=2"), "rows has a field of its own"),
        (("--part-number", "TWL-{size}"), "{size}, which is not a placeholder"),
        (("--part-number", "TWL"), "give two halves the same part number"),
        (("--order-code", "{reel}"), "{reel}, which is not a placeholder"),
        (("--revision", "C"), "--revision needs --datasheet"),
        (("--output", "twitlet.txt"), "name it .jsonl"),
    ],
)
def test_an_unusable_option_is_refused(options: tuple[str, ...], words: str) -> None:
    assert words in refusal(*options)


def test_a_missing_table_is_bad_input(tmp_path: Path) -> None:
    assert "cannot be read" in told(run(str(tmp_path / "none.txt"), *DESCRIBED, *LETTERS))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "there is no table"),
        ("x" * (LONGEST_TABLE + 1), "characters"),
        ("ä" * (4 * LONGEST_TABLE), "characters"),
        (TABLE.encode("latin-1"), "has no meaning"),
        (TABLE.encode("utf-16"), "number of cells: 1 and 4"),
    ],
    ids=["empty", "long", "longer than is read", "Latin-1", "UTF-16"],
)
def test_standard_input_that_is_not_a_table_is_bad_input(text: str | bytes, words: str) -> None:
    assert words in refusal(stdin=text)


def test_a_byte_order_mark_is_ignored() -> None:
    assert read(stdin=TABLE.encode("utf-8-sig")).stdout == read().stdout


def test_a_file_and_standard_input_are_read_alike(tmp_path: Path) -> None:
    file = tmp_path / "twitlet.txt"
    file.write_text(TABLE, encoding="utf-8")
    assert run(str(file), *DESCRIBED, *LETTERS).stdout == read().stdout


def test_json_output_is_the_series_alone_with_the_values_of_all_options() -> None:
    given = ("--category", "mounting=surface_mount", "--category", "tail_form=gull_out,flush", "--count")
    result = read(
        *given, "hold_down_count=2", "--order-code", "{part}-R", "--datasheet", "TW 7", "--page", "3", "--json"
    )
    assert result.stderr == ""
    (line,) = result.stdout.splitlines()
    series = series_of(line)
    (law,) = series.kinds
    assert (series.key, law.half_kind, law.rows, law.contact_counts) == ("ouzelby:twitlet", "plug", 2, (10, 20, 30))
    assert law.dimensions["body_length"] == DimensionLaw(intercept=1.8, slope=0.4, tolerance=0.1)
    assert law.categories == {"mounting": ("surface_mount",), "tail_form": ("gull_out", "flush")}
    assert (law.counts, law.order_codes) == ({"hold_down_count": 2}, ("{part}-R",))
    assert series.datasheet == Citation(title="TW 7", page="3")


def test_the_options_for_size_and_unit_apply_where_the_table_states_none() -> None:
    # 25.4 mm to the inch, exactly: 150 mil are 3.81 mm, 250 mil 6.35 mm.
    options = ("--letter", "A=body_length", "--size", "positions", "--unit", "mil", "--json")
    result = run("-", *DESCRIBED[:-2], *options, stdin="pos. A\n5 150\n10 250")
    (law,) = series_of(result.stdout).kinds
    assert law.contact_counts == (10, 20)
    assert law.dimensions["body_length"] == DimensionLaw(intercept=1.27, slope=0.508)


def test_standard_output_carries_the_record_and_standard_error_the_report() -> None:
    result = read("--output", "-")
    assert result.stdout == read("--json").stdout
    assert "1.8 + 0.4 × positions" in result.stderr
    assert read("--output", "-", "--json").stderr == ""


def test_the_written_file_can_be_imported(tmp_path: Path, empty_url: str) -> None:
    file = tmp_path / "twitlet.jsonl"
    result = read("--output", str(file))
    assert "written to" in result.stdout
    imported = CliRunner().invoke(app, ["import", str(file), "--database", empty_url])
    assert imported.exit_code == ExitCode.ANSWERED, imported.stderr
    assert stored(empty_url) == read_entries(file) == [series_of(read("--json").stdout)]


def test_an_existing_file_is_not_overwritten(tmp_path: Path) -> None:
    file = tmp_path / "twitlet.jsonl"
    file.write_text("kept", encoding="utf-8")
    assert "exists already" in refusal("--output", str(file))
    assert file.read_text(encoding="utf-8") == "kept"


def test_a_table_that_is_refused_writes_and_adds_nothing(tmp_path: Path, empty_url: str) -> None:
    file = tmp_path / "twitlet.jsonl"
    refusal("--output", str(file), "--add", "--database", empty_url, stdin=WRONG)
    assert not file.exists()
    assert stored(empty_url) == []


def test_an_added_series_is_in_the_catalogue_once(empty_url: str) -> None:
    first, again = (read("--add", "--database", empty_url) for _ in range(2))
    assert "halves: 3 added" in first.stdout
    assert "0 added, 3 already there" in again.stdout
    assert stored(empty_url) == [series_of(read("--json").stdout)]


def test_without_add_the_catalogue_is_unchanged(empty_url: str) -> None:
    assert read("--database", empty_url).exit_code == ExitCode.ANSWERED
    assert stored(empty_url) == []


def test_a_listed_series_with_other_content_is_refused_and_no_file_is_written(tmp_path: Path, empty_url: str) -> None:
    read("--add", "--database", empty_url)
    file = tmp_path / "twitlet.jsonl"
    words = refusal("--pitch", "0.5", "--add", "--database", empty_url, "--output", str(file))
    assert "ouzelby:twitlet" in words
    assert not file.exists()


def test_nothing_is_added_if_the_file_cannot_be_written(tmp_path: Path, empty_url: str) -> None:
    refusal("--output", str(tmp_path / "nowhere" / "twitlet.jsonl"), "--add", "--database", empty_url)
    assert stored(empty_url) == []


def test_a_catalogue_that_cannot_be_opened_has_its_own_exit_code(tmp_path: Path) -> None:
    result = read("--add", "--database", f"sqlite:///{tmp_path}/none/catalogue.sqlite3")
    assert result.exit_code == ExitCode.CATALOGUE


def test_the_example_of_the_help_works_as_printed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = CliRunner(env={"COLUMNS": "120"}).invoke(app, ["table", "--help"]).stdout
    printed = [line.strip() for line in page.splitlines()]
    start = printed.index("contacts | A ±0.1 | B   | C")
    monkeypatch.chdir(tmp_path)
    Path("twitlet.txt").write_text("\n".join(printed[start : start + 4]), encoding="utf-8")
    command = page[page.index("otherhalf table twitlet.txt") : page.index("otherhalf import twitlet.jsonl")]
    arguments = [word.strip("'") for word in command.replace("\\\n", " ").replace("\\", " ").split()]
    result = run(*arguments[2:])
    assert result.exit_code == ExitCode.ANSWERED, result.stderr
    assert len(read_entries(Path("twitlet.jsonl"))) == 1
