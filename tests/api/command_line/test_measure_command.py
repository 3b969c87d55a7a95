"""``otherhalf measure``: pictures and readings on the command line, and the command printed as the next step."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner, Result

from api.command_line.cli import app
from api.command_line.commands.common import ExitCode
from api.observations.short_form import parse_pieces
from api.pictures.decoding import TURNED
from api.schemas.examples import MEASURE_EXAMPLES
from tests.api.web.photographed import BOMB, WHOLE, Rows, encoded, held, photographed

ONE = Rows()
TWO = Rows(heights=(60.0, 150.0), shifts=(0.0, 0.0))


def run(*arguments: str, stdin: str | bytes | None = None, columns: int = 80) -> Result:
    runner = CliRunner(env={"COLUMNS": str(columns), "OTHERHALF_DATABASE": "sqlite:////no/catalogue/is/needed"})
    result = runner.invoke(app, ["measure", *arguments], input=stdin)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def rows_of(rows: Rows) -> list[str]:
    return [part for line in rows.lines for part in ("--row", ",".join(f"{each:.1f}" for each in line))]


def words(text: str) -> str:
    """Printed text without its line breaks."""
    return " ".join(text.split())


def onward(result: Result) -> list[str]:
    """The pieces of the command printed as the next step."""
    command, identify, *pieces = shlex.split(
        result.stdout.rpartition("otherhalf identify")[2].join(["x identify ", ""])
    )
    assert (command, identify) == ("x", "identify")
    return pieces


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "my plug (1).png"
    path.write_bytes(encoded(photographed(ONE)))
    return path


def test_a_row_is_counted_and_measured(photo: Path) -> None:
    result = run(str(photo), *rows_of(ONE))
    assert result.exit_code == ExitCode.ANSWERED, result.stderr
    assert f"{ONE.count} contacts, sure" in result.stdout
    assert re.search(r"pitch 24\.\d+ px ±0\.\d+ \(95 %\)", result.stdout)
    assert "contact_count=12.." in result.stdout


def test_json_output_equals_the_answer_of_the_interface(photo: Path, server: TestClient) -> None:
    printed = json.loads(run(str(photo), *rows_of(ONE), "--name", "photo", "--rows", "2", "--json").stdout)
    params: dict[str, Any] = {"line": rows_of(ONE)[1], "row_count": 2}
    headers = {"Content-Type": "image/png"}
    answered = server.post("/v1/measure/row", content=photo.read_bytes(), headers=headers, params=params)
    assert printed == answered.json()


@pytest.mark.parametrize("scale", [(), ("--px-per-mm", "61.75"), ("--scale", "20,190,267,190=10mm+-0.02")])
@pytest.mark.parametrize("rows", [ONE, TWO])
def test_the_printed_next_command_is_understood_and_has_the_same_meaning(
    tmp_path: Path, rows: Rows, scale: tuple[str, ...]
) -> None:
    path = tmp_path / "a plug.jpg"
    path.write_bytes(encoded(photographed(rows), "JPEG", quality=95))
    arguments = (str(path), *rows_of(rows), *scale)
    pieces = onward(run(*arguments))
    assert parse_pieces(pieces) == json.loads(run(*arguments, "--json").stdout)["observations"]
    assert any(piece.startswith("pitch=") for piece in pieces)


def test_the_printed_command_can_be_copied_from_the_narrowest_terminal(photo: Path) -> None:
    """If the program and not the terminal broke the line, it would be copied with line breaks."""
    wide, narrow = (run(str(photo), *rows_of(ONE), columns=columns).stdout for columns in (200, 60))
    assert wide.splitlines()[-1] == narrow.splitlines()[-1]
    assert narrow.splitlines()[-1].startswith("otherhalf identify ")


def test_tables_are_tidy_at_eighty_columns(photo: Path) -> None:
    for arguments in ((str(photo), *rows_of(ONE)), ("--readings", "4.41,4.40,4.42/11@caliper")):
        *lines, _ = run(*arguments).stdout.splitlines()
        assert all(len(line.rstrip()) <= 80 for line in lines)


def test_a_picture_comes_from_standard_input_too(photo: Path) -> None:
    result = run("-", *rows_of(ONE), stdin=photo.read_bytes())
    assert f"{ONE.count} contacts" in result.stdout


def test_a_rotated_picture_is_measured_upright_with_a_note(tmp_path: Path) -> None:
    path = tmp_path / "turned.jpg"
    path.write_bytes(held(photographed(ONE), 6))
    result = run(str(path), *rows_of(ONE))
    assert f"{ONE.count} contacts" in result.stdout
    assert TURNED in words(result.stdout)


def test_a_missing_contact_is_named(tmp_path: Path) -> None:
    path = tmp_path / "gap.png"
    path.write_bytes(encoded(photographed(Rows(missing=(5,)))))
    assert "Place 6" in words(run(str(path), *rows_of(ONE)).stdout)


ROW = ("--row", "46,70,340,70")

BAD: list[tuple[tuple[str, ...], tuple[str, ...]]] = [
    ((), ("give a picture with --row",)),
    (("PHOTO",), ("--row", "give a line along each row")),
    (("PHOTO", "--row", "1,2,3"), ("--row 1,2,3", "give x0,y0,x1,y1")),
    (("PHOTO", "--row", "a,b,c,d"), ("--row a,b,c,d", "give x0,y0,x1,y1")),
    (("PHOTO", "--row", "nan,2,3,4"), ("--row nan,2,3,4", "finite")),
    (("PHOTO", "--row", "0,0,9000,0"), ("--row 0,0,9000,0", "outside the image")),
    (("PHOTO", "--row", "50,50,50,50"), ("--row 50,50,50,50", "long")),
    (("PHOTO", *ROW, *ROW, "--rows", "1"), ("--rows",)),
    (("PHOTO", *ROW, "--width", "-1"), ("--width",)),
    (("PHOTO", *ROW, "--px-per-mm", "0"), ("--px-per-mm",)),
    (("PHOTO", *ROW, "--scale", "0,0,90,0"), ("--scale", "30,700,1304,701=10mm")),
    (("PHOTO", *ROW, "--scale", "0,0,90,0=10cm"), ("--scale", "'cm' is not known")),
    (("PHOTO", *ROW, "--scale", "5,5,5,5=10mm"), ("--scale",)),
    (("PHOTO", *ROW, "--scale", "0,0,90=10mm"), ("--scale", "give x0,y0,x1,y1")),
    (("PHOTO", *ROW, "--scale", "0,0,90,0=0mm"), ("--scale",)),
    (("PHOTO", *ROW, "--scale", "0,0,90,0=10mm", "--px-per-mm", "9"), ("--scale",)),
    (("PHOTO", *ROW, "--plane", "ceiling"), ("ceiling",)),
    (("PHOTO", *ROW, "--readings", "4.41/11"), ("--readings has no effect with a picture",)),
    (("--readings", "4.41/11", *ROW), ("--row has no effect with readings",)),
    (("--readings", "4.41/eleven"), ("pitch=4.41/eleven", "the number of gaps")),
    (("--readings", "4.41cm/11"), ("pitch=4.41cm/11", "not known")),
    (("--readings", "pins=24"), ("pins=24", "not the name of a length")),
    (("--readings", "4.41/11@calliper"), ("pitch=4.41/11@calliper", "did you mean 'caliper'?")),
    (("--readings", "4.41/11+les=0.2"), ("did you mean 'less'?",)),
    (("--readings", "4.41/11", "--closed-jaws", "caliper"), ("--closed-jaws", "caliper=0.01,0.02")),
    (("--readings", "4.41/11", "--closed-jaws", "tongs=0.01"), ("--closed-jaws.tongs", "not known")),
    (("--readings", "4.41/11", "--closed-jaws", "=0.01"), ("--closed-jaws", "caliper=0.01,0.02")),
    (
        ("PHOTO", *ROW, "--scale", "0,0,90,0=10mm", "--scale-thickness", "11"),
        ("--scale-thickness", "below the diameter"),
    ),
    (("PHOTO", *ROW, "--px-per-mm", "9", "--scale-thickness", "1"), ("--px-per-mm",)),
    (("--readings", "4.4/11", "--scale-thickness", "1"), ("--scale-thickness",)),
    (("PHOTO", *ROW, "--scale", "0,0,90,0=1.2.3mm"), ("--scale", "30,700,1304,701=10mm")),
    (("PHOTO", *ROW, "--px-per-mm", "1e9"), ("--px-per-mm:", "cannot be a pitch")),
    (("--file", "/no/such/file.json"), ("name a file that can be read",)),
    (("/no/such/photo.png", *ROW), ("/no/such/photo.png", "name a file that can be read")),
]


@pytest.mark.parametrize(("arguments", "told"), BAD, ids=[" ".join(arguments) for arguments, _ in BAD])
def test_the_error_about_bad_input_names_the_option_and_a_remedy(
    photo: Path, arguments: tuple[str, ...], told: tuple[str, ...]
) -> None:
    result = run(*(str(photo) if each == "PHOTO" else each for each in arguments))
    assert result.exit_code == ExitCode.BAD_INPUT
    assert result.stdout == ""
    said = re.sub(r"[│╭╮╰╯─\s]+", " ", result.stderr)
    for each in told:
        assert each in said


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (BOMB, "too many pixels"),
        (WHOLE[:900], "breaks off"),
        (b"hello", "not a PNG or JPEG"),
        (encoded(photographed(Rows(count=0, noise=2.0))), "--row"),
    ],
    ids=["a bomb", "broken off", "no picture", "nothing in it"],
)
def test_an_unusable_picture_is_bad_input(tmp_path: Path, data: bytes, told: str) -> None:
    path = tmp_path / "wrong.png"
    path.write_bytes(data)
    result = run(str(path), *ROW)
    assert result.exit_code == ExitCode.BAD_INPUT
    assert told in words(result.stderr)
    assert result.stdout == ""


def test_readings_are_shown_with_their_budget(tmp_path: Path) -> None:
    result = run("--readings", "4.41,4.40,4.42/11@caliper", "--closed-jaws", "caliper=0.01,0.02")
    assert result.exit_code == ExitCode.ANSWERED, result.stderr
    for each in ("scatter of 3 readings", "where the edge is", "zero error of the", "together", "95 %"):
        assert each in words(result.stdout)
    assert result.stdout.splitlines()[-1] == (
        "otherhalf identify pitch=4.41,4.4,4.42/11@caliper --closed-jaws=caliper=0.01,0.02"
    )


def test_contradicting_readings_are_reported(tmp_path: Path) -> None:
    result = run("--readings", "body_length=6.54@caliper", "--readings", "body_length=7.3@vernier")
    assert "contradict each other" in words(result.stdout)


def test_readings_give_the_answer_of_the_interface(server: TestClient) -> None:
    printed = json.loads(run("--readings", "4.41,4.40/11@caliper", "--json").stdout)
    reading = {"feature": "pitch", "readings": [4.41, 4.40], "spans": 11, "instrument": "caliper"}
    assert printed == server.post("/v1/measure", json={"readings": [reading]}).json()


@pytest.mark.parametrize("example", MEASURE_EXAMPLES)
def test_a_file_gives_the_answer_of_the_interface(server: TestClient, tmp_path: Path, example: dict[str, Any]) -> None:
    file = tmp_path / "measure.json"
    file.write_text(json.dumps(example), encoding="utf-8")
    assert json.loads(run("--file", str(file), "--json").stdout) == server.post("/v1/measure", json=example).json()
    shown = run("--file", str(file))
    assert shown.exit_code == ExitCode.ANSWERED
    said = parse_pieces([piece for piece in onward(shown) if "=" in piece and not piece.startswith("--closed-jaws=")])
    assert said == server.post("/v1/measure", json=example).json()["observations"]


def test_the_option_for_closed_jaws_can_be_repeated_for_one_instrument() -> None:
    apart = run("--readings", "4.41/11", "--closed-jaws", "caliper=0.01", "--closed-jaws", "caliper=0.03", "--json")
    assert apart.exit_code == ExitCode.ANSWERED
    assert apart.stdout == run("--readings", "4.41/11", "--closed-jaws", "caliper=0.01,0.03", "--json").stdout


def test_an_error_in_a_file_names_the_field_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "measure.json"
    path.write_text('{"readings": {"feature": "pitch"}}', encoding="utf-8")
    result = run("--file", str(path))
    assert result.exit_code == ExitCode.BAD_INPUT
    assert "readings: this is not a list" in words(result.stderr)


def test_readings_add_to_a_file(server: TestClient) -> None:
    result = run("--file", "-", "--readings", "height=0.9@caliper", "--json", stdin=json.dumps(MEASURE_EXAMPLES[1]))
    assert [each["feature"] for each in json.loads(result.stdout)["observations"]][-1] == "height"


def test_an_outlier_is_named_by_its_position(tmp_path: Path) -> None:
    points = [[100.0 + 50 * site, 200.0] for site in range(10)]
    points[4][0] += 15
    body = {"pictures": [{"name": "top", "rows": [{"points": points}]}]}
    assert "pictures[0].rows[0].points[4]" in words(run("--file", "-", stdin=json.dumps(body)).stdout)


def test_the_examples_in_the_help_work() -> None:
    told = run("--help").stdout
    examples = [line.strip() for line in told.splitlines() if line.strip().startswith("otherhalf measure --readings")]
    assert len(examples) >= 2
    for example in examples:
        assert run(*shlex.split(example.rstrip("\\"))[2:]).exit_code == ExitCode.ANSWERED
