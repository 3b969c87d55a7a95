"""The command line: its output, its exit codes, and that it answers like the JSON interface."""

from __future__ import annotations

import json
import os
import re
import shutil
import sqlite3
from collections.abc import Callable, Iterable
from contextlib import closing
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner, Result

from api.command_line.cli import app
from api.command_line.commands import identification
from api.command_line.commands.common import ExitCode
from api.identification.cautions import CAUTIONS, SHORT_CAUTIONS
from api.observations.short_form import parse_pieces
from api.service.settings import MAX_BODY_BYTES
from catalog.db.database import open_catalogue
from catalog.exchange import stored_entries
from catalog.model.entries import AnyEntry
from catalog.snapshot.snapshot import Snapshot
from matcher.features import FEATURES
from seeds_demo.loader import demo_specimens
from tests import catalogues
from tests.catalog.exchange.exchange_files import read_entries

PLUG = ("contact_count=24", "half_kind=plug", "pitch=4.40/11", "body_length=6.63", "body_width=1.99", "tail_span=2.18")
BOUND = "height<=0.9"

Run = Callable[..., Result]


def run_command(*arguments: str, stdin: str | None = None, **environment: str) -> Result:
    result = CliRunner(env=environment).invoke(app, list(arguments), input=stdin)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.fixture
def run(demo_url: str, snapshot: Snapshot, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a command on the demo catalogue, which is read once for all tests because reading takes seconds."""
    take = identification.snapshot_of
    monkeypatch.setattr(identification, "snapshot_of", lambda url: take(url) if url else snapshot)
    return lambda *arguments, **given: run_command(*arguments, OTHERHALF_DATABASE=demo_url, **given)


def lines(text: str) -> str:
    """Printed text without its line breaks."""
    return " ".join(text.split())


def test_identify_names_the_half_its_mate_and_the_remaining_doubt(run: Run) -> None:
    result = run("identify", *PLUG, "hold_down_form=end_tab")
    assert result.exit_code == ExitCode.ANSWERED
    assert "MOSSIPET-P24" in result.stdout
    assert "MOSSIPET-R24" in result.stdout
    assert "0.80 mm" in result.stdout
    assert "not in this catalogue:" in result.stdout


def test_every_answer_ends_with_the_first_cautions_and_all_are_shown_on_request(run: Run) -> None:
    short, full = (lines(run("identify", *PLUG, *more).stdout) for more in ((), ("--cautions",)))
    assert all(caution in short for caution in SHORT_CAUTIONS)
    assert all(caution in full for caution in CAUTIONS)


def test_json_output_equals_the_answer_of_the_interface(run: Run, server: TestClient, tmp_path: Path) -> None:
    for specimen in demo_specimens()[:6]:
        body = {"observations": [dict(given) for given in specimen.observations]}
        file = tmp_path / "specimen.json"
        file.write_text(json.dumps(body), encoding="utf-8")
        printed = json.loads(run("identify", "--file", str(file), "--json").stdout)
        assert printed == server.post("/v1/identify", json=body).json()


def test_the_short_form_gives_the_same_request_as_the_json_form(run: Run) -> None:
    body = {
        "observations": [
            {"feature": "contact_count", "value": 24},
            {"feature": "pitch", "value": 4.4, "spans": 11},
            {"feature": "height", "max": 0.9},
        ]
    }
    short = run("identify", "contact_count=24", "pitch=4.4/11", BOUND, "--json")
    long = run("identify", "--file", "-", "--json", stdin=json.dumps(body))
    assert json.loads(short.stdout) == json.loads(long.stdout)


def test_pieces_add_to_a_file_and_options_override_it(run: Run) -> None:
    body = {"observations": [{"feature": "contact_count", "value": 24}], "limit": 7}
    both = run("identify", "pitch=4.4/11", "--file", "-", "--limit", "2", "--json", stdin=json.dumps(body))
    answer = json.loads(both.stdout)
    assert len(answer["candidates"]) == 2
    assert [line["feature"] for line in answer["candidates"][0]["evidence"]] == ["prior", "contact_count", "pitch"]


def test_a_specimen_that_is_not_in_the_catalogue_has_its_own_exit_code(run: Run) -> None:
    result = run("identify", "contact_count=37", "rows=1", "pitch=9.1", "body_length=200", "body_width=44")
    assert result.exit_code == ExitCode.NO_MATCH
    assert "probably not in this catalogue" in lines(result.stdout)


def test_no_half_is_called_leading_where_absent_is_likelier(run: Run) -> None:
    contradictory = ("contact_count=24", "rows=2", "pitch=0.4", "body_length=6.0")
    answer = json.loads(run("identify", *contradictory, "--json").stdout)
    assert answer["probability_absent"] > answer["candidates"][0]["probability"]
    said = lines(run("identify", *contradictory).stdout)
    assert " leads" not in said
    assert "Not settled: not in this catalogue 4" in said


def test_an_empty_catalogue_says_so_and_how_to_fill_it(empty_url: str) -> None:
    result = run_command("identify", *PLUG, "--database", empty_url)
    assert result.exit_code == ExitCode.NO_MATCH
    assert "otherhalf import" in lines(result.stdout)


@pytest.mark.parametrize(
    ("pieces", "told"),
    [
        (("pich=4.4",), ("pich=4.4", "did you mean 'pitch'?")),
        (("pitch=4.4/eleven",), ("^^^^^^", "the number of gaps")),
        (("pitch=4.4cm",), ("the unit 'cm' is not known",)),
        (("pins=24", "pitch=4.4@calliper"), ("pitch=4.4@calliper", "did you mean 'caliper'?")),
        (("body_length=-3",), ("body_length=-3", "above 0")),
        (("trial_fit=mates:no:such",), ("no half has the key 'no:such'",)),
        (("pins=24", "--prior-absent", "1"), ("--prior-absent", "less than 1")),
        (("pins=24", "--limit", "0"), ("limit", "1 or more")),
    ],
)
def test_the_error_about_bad_input_names_the_offending_piece(
    run: Run, pieces: tuple[str, ...], told: tuple[str, ...]
) -> None:
    result = run("identify", *pieces)
    assert result.exit_code == ExitCode.BAD_INPUT
    assert result.stdout == ""
    for words in told:
        assert words in lines(result.stderr)


def test_nothing_observed_is_bad_input(run: Run) -> None:
    assert run("identify").exit_code == ExitCode.BAD_INPUT


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("{", "not JSON"),
        ("[1]", "give an object"),
        ("{}", "observations"),
        ('{"observations": []}', "at least 1"),
        ('{"observations": 3}', "observations"),
        ('{"observations": [{"feature": "pitch", "value": NaN}]}', "finite"),
        ("[" * 100_000, "not JSON"),
        (" " * (MAX_BODY_BYTES + 1), "too large"),
    ],
    ids=lambda value: str(value)[:40].strip(),
)
def test_a_file_that_is_not_a_specimen_is_bad_input(run: Run, content: str, told: str) -> None:
    result = run("identify", "--file", "-", stdin=content)
    assert result.exit_code == ExitCode.BAD_INPUT
    assert told in lines(result.stderr)


def test_a_missing_file_is_bad_input(run: Run, tmp_path: Path) -> None:
    result = run("identify", "--file", str(tmp_path / "none.json"))
    assert result.exit_code == ExitCode.BAD_INPUT
    assert "name a file that can be read" in lines(result.stderr)


def test_explain_shows_the_evidence_against_a_half(run: Run) -> None:
    result = run("explain", "pipitholt:seeplet-p24", *PLUG)
    assert result.exit_code == ExitCode.ANSWERED
    assert "SEEPLET-P24" in result.stdout
    assert "off by" in result.stdout


def test_explain_as_json_equals_the_answer_of_the_interface(run: Run, server: TestClient) -> None:
    body = {"observations": [{"feature": "contact_count", "value": 24}], "half": "ouzelby:mossipet-p24"}
    printed = json.loads(run("explain", "ouzelby:mossipet-p24", "contact_count=24", "--json").stdout)
    assert printed == server.post("/v1/identify/explain", json=body).json()


def test_an_unknown_half_is_refused_by_explain(run: Run) -> None:
    result = run("explain", "no:such", *PLUG)
    assert result.exit_code == ExitCode.BAD_INPUT
    assert "no half has the key 'no:such'" in lines(result.stderr)


def test_features_lists_the_table(run: Run, server: TestClient) -> None:
    printed = run("features").stdout
    assert all(name in printed for name in FEATURES)
    assert json.loads(run("features", "--json").stdout) == server.get("/v1/features").json()


@pytest.mark.parametrize("name", FEATURES)
def test_a_feature_is_explained_with_an_example_that_can_be_typed(run: Run, server: TestClient, name: str) -> None:
    printed = run("features", name).stdout
    assert FEATURES[name].meaning in lines(printed)
    example = printed.splitlines()[-1].removeprefix("For example: ")
    observations = parse_pieces([example.replace("KEY", "ouzelby:mossipet-r24")])
    assert server.post("/v1/identify", json={"observations": observations}).status_code == 200


def test_a_feature_that_does_not_exist_is_bad_input(run: Run) -> None:
    assert run("features", "pich").exit_code == ExitCode.BAD_INPUT


def test_triage_shows_what_is_out_of_scope(run: Run) -> None:
    assert "flex clamp" in run("features", "--triage").stdout


def test_search_lists_matches_and_says_when_there_are_none(run: Run, server: TestClient) -> None:
    found = run("search", "mosipet", "--json")
    assert json.loads(found.stdout) == server.get("/v1/search", params={"q": "mosipet"}).json()
    assert "MOSSIPET" in run("search", "mossipet").stdout
    assert run("search", "qqqzzzqqq").exit_code == ExitCode.NO_MATCH


def entries_of(url: str) -> list[AnyEntry]:
    with open_catalogue(url) as catalogue, catalogue.reading() as session:
        return in_order(stored_entries(session))


def in_order(entries: Iterable[AnyEntry]) -> list[AnyEntry]:
    return sorted(entries, key=lambda entry: (entry.record, entry.key))


@pytest.mark.parametrize("name", ["all.jsonl", "tables"])
def test_an_export_can_be_imported_again_without_loss(
    run: Run, demo_url: str, empty_url: str, tmp_path: Path, name: str
) -> None:
    path = str(tmp_path / name)
    assert run("export", path).exit_code == ExitCode.ANSWERED
    imported = run_command("import", path, "--database", empty_url)
    assert imported.exit_code == ExitCode.ANSWERED, imported.stderr
    assert entries_of(empty_url) == entries_of(demo_url)
    again = run_command("import", path, "--database", empty_url)
    assert "0 added" in again.stdout


def test_export_to_standard_output_is_json_lines(run: Run, tmp_path: Path, demo_url: str) -> None:
    file = tmp_path / "out.jsonl"
    file.write_text(run("export", "-").stdout, encoding="utf-8")
    assert in_order(read_entries(file)) == entries_of(demo_url)


def test_a_file_with_an_invalid_line_is_refused_as_a_whole_with_the_position(empty_url: str, tmp_path: Path) -> None:
    file = tmp_path / "bad.jsonl"
    good = {"record": "half", "maker": "Ouzelby", "series": "S", "part_number": "P", "rows": 1, "contact_count": 4}
    bad = {**good, "part_number": "Q", "rows": 0}
    file.write_text(f"{json.dumps(good)}\n{json.dumps(bad)}\n", encoding="utf-8")
    result = run_command("import", str(file), "--database", empty_url)
    assert result.exit_code == ExitCode.BAD_INPUT
    assert "line 2" in lines(result.stderr)
    assert entries_of(empty_url) == []


def test_footprint_files_without_any_half_have_their_own_exit_code(empty_url: str, tmp_path: Path) -> None:
    (tmp_path / "cut.kicad_mod").write_text('(footprint "cut" (pad "1" smd rect', encoding="utf-8")
    result = run_command("import", str(tmp_path), "--database", empty_url)
    assert result.exit_code == ExitCode.NO_MATCH
    assert "cut off or damaged" in lines(result.stdout)
    assert entries_of(empty_url) == []


def test_a_missing_path_stops_the_import_before_it_starts(empty_url: str, tmp_path: Path) -> None:
    good = tmp_path / "good.jsonl"
    good.write_text("", encoding="utf-8")
    result = run_command("import", str(good), str(tmp_path / "none.jsonl"), "--database", empty_url)
    assert result.exit_code == ExitCode.BAD_INPUT
    assert "no such file" in lines(result.stderr)


def test_an_export_that_cannot_be_written_is_bad_input(run: Run, tmp_path: Path) -> None:
    result = run("export", str(tmp_path / "nowhere" / "all.jsonl"))
    assert result.exit_code == ExitCode.BAD_INPUT


def test_a_catalogue_that_cannot_be_opened_has_its_own_exit_code(tmp_path: Path) -> None:
    result = run_command("search", "x", "--database", f"sqlite:///{tmp_path}/none/catalogue.sqlite3")
    assert result.exit_code == ExitCode.CATALOGUE


def test_a_catalogue_of_a_newer_schema_has_its_own_exit_code(tmp_path: Path) -> None:
    file = tmp_path / "catalogue.sqlite3"
    catalogues.placed(file, catalogues.empty())
    with closing(sqlite3.connect(file, isolation_level=None)) as other:
        other.execute("UPDATE alembic_version SET version_num = 'from-the-future'")
    assert run_command("identify", *PLUG, "--database", f"sqlite:///{file}").exit_code == ExitCode.CATALOGUE


def test_a_file_that_is_not_a_database_has_its_own_exit_code_and_is_left_unchanged(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("not a database, but somebody's notes " * 100, encoding="utf-8")
    before = file.read_bytes()
    assert run_command("search", "x", "--database", f"sqlite:///{file}").exit_code == ExitCode.CATALOGUE
    assert file.read_bytes() == before


def test_a_read_only_catalogue_can_be_queried_but_refuses_an_import(demo_url: str, tmp_path: Path) -> None:
    source = Path(demo_url.removeprefix("sqlite:///"))
    folder = tmp_path / "read-only"
    folder.mkdir()
    file = folder / "demo.sqlite3"
    with closing(sqlite3.connect(source)) as connection:
        connection.execute(f"VACUUM INTO '{file}'")
    url = f"sqlite:///file:{file}?mode=ro&uri=true"
    assert run_command("identify", *PLUG, "--database", url).exit_code == ExitCode.ANSWERED
    half = {"record": "half", "maker": "Ouzelby", "series": "S", "part_number": "P", "rows": 1, "contact_count": 4}
    entries = tmp_path / "one.jsonl"
    entries.write_text(json.dumps(half), encoding="utf-8")
    result = run_command("import", str(entries), "--database", url)
    assert result.exit_code == ExitCode.CATALOGUE
    shutil.rmtree(folder)


def test_a_catalogue_in_a_read_only_folder_can_be_queried_but_refuses_an_import(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    half = {"record": "half", "maker": "Ouzelby", "series": "S", "part_number": "P", "rows": 1, "contact_count": 4}
    entries, folder = tmp_path / "one.jsonl", tmp_path / "a folder % of mine"
    folder.mkdir()
    url = f"sqlite:///{folder / 'mine.db'}"
    entries.write_text(json.dumps(half), encoding="utf-8")
    assert run_command("import", str(entries), "--database", url).exit_code == ExitCode.ANSWERED
    # Tests may run as the superuser, whom permissions do not bind, so the system's answer about them is replaced.
    allowed = os.access
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != folder and allowed(path, mode))
    found = run_command("search", "P", "--database", url)
    assert (found.exit_code, "Ouzelby" in found.stdout) == (ExitCode.ANSWERED, True), found.stderr
    entries.write_text(json.dumps(half | {"part_number": "Q"}), encoding="utf-8")
    assert run_command("import", str(entries), "--database", url).exit_code == ExitCode.CATALOGUE
    assert [file.name for file in folder.iterdir()] == ["mine.db"]


@pytest.mark.parametrize("columns", ["80", "200"])
def test_no_line_is_wider_than_the_terminal(run: Run, columns: str) -> None:
    for arguments in (("identify", *PLUG), ("features",), ("features", "--triage"), ("search", "mossipet")):
        printed = run(*arguments, COLUMNS=columns).stdout
        assert max(len(line) for line in printed.splitlines()) <= int(columns)


def test_no_colour_is_printed_where_it_is_switched_off(run: Run) -> None:
    colour = re.compile(r"\x1b\[[0-9;]*(3[0-7]|38|4[0-7]|48|9[0-7])[0-9;]*m")
    assert not colour.search(run("identify", *PLUG, FORCE_COLOR="1", NO_COLOR="1").stdout)
    assert "\x1b" not in run("identify", *PLUG).stdout, "no escape sequences where the output is not a terminal"


def test_text_from_the_catalogue_is_never_interpreted_as_markup(empty_url: str, tmp_path: Path) -> None:
    half = {
        "record": "half",
        "maker": "[bold]Ouzelby[/]",
        "series": "S",
        "part_number": "P[red]24",
        "rows": 2,
        "contact_count": 24,
        "dimensions": {"pitch": {"value": 0.4}},
    }
    file = tmp_path / "one.jsonl"
    file.write_text(json.dumps(half), encoding="utf-8")
    assert run_command("import", str(file), "--database", empty_url).exit_code == 0
    assert (
        "[bold]Ouzelby[/] P[red]24" in run_command("identify", "pins=24", "pitch=0.4", "--database", empty_url).stdout
    )


def test_upgrade_leaves_a_current_catalogue_unchanged(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'mine.db'}"
    assert run_command("upgrade", "--database", url).exit_code == ExitCode.ANSWERED
    with closing(open_catalogue(url)) as catalogue:
        version = catalogue.version()
    assert run_command("upgrade", "--database", url).exit_code == ExitCode.ANSWERED
    with closing(open_catalogue(url)) as catalogue:
        assert catalogue.version() == version


def test_upgrade_refuses_the_tables_of_a_newer_version(tmp_path: Path) -> None:
    file = tmp_path / "newer.db"
    run_command("upgrade", "--database", f"sqlite:///{file}")
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("update alembic_version set version_num = '9999'")
        connection.commit()
    refused = run_command("upgrade", "--database", f"sqlite:///{file}")
    assert refused.exit_code == ExitCode.CATALOGUE
    assert "9999" in refused.stderr
