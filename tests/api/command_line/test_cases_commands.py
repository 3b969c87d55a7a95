"""Cases on the command line."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from api.command_line.cli import app
from api.command_line.commands.common import ExitCode
from catalog.cases import lifecycle
from catalog.db.database import open_catalogue
from catalog.history.addition import add
from tests.catalog.cases.case_examples import NONE, specimen
from tests.catalog.evidence.evidence_examples import half
from tests.catalog.history.changed_entries import IDA, WREN, by, fill

PIECES = ("contact_count=20", "pitch=4.51/9@caliper", "body_length=6.5±0.03", "height=..1.0", "half_kind=receptacle")
NEW = half()

Run = Callable[..., Result]


@pytest.fixture
def run(empty_url: str) -> Run:
    """Run a command on a catalogue that Wren filled."""
    with open_catalogue(empty_url) as catalogue, catalogue.writing() as session:
        fill(session)

    def run_command(*arguments: str) -> Result:
        environment = {"OTHERHALF_DATABASE": empty_url, "COLUMNS": "200"}
        result = CliRunner(env=environment).invoke(app, ["case", *arguments])
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        return result

    return run_command


def done(result: Result) -> str:
    assert result.exit_code == ExitCode.ANSWERED, result.stderr
    return result.stdout


def refused(result: Result) -> str:
    assert (result.exit_code, result.stdout) == (ExitCode.BAD_INPUT, "")
    return " ".join(result.stderr.split())


def own(run: Run) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = json.loads(done(run("list", "--own", "--json")))["items"]
    return items


def saved(run: Run, *more: str) -> str:
    done(run("save", *PIECES, "--title", "reed bed recorder", *more))
    return str(own(run)[-1]["key"])


def come(url: str) -> None:
    with open_catalogue(url) as catalogue, catalogue.writing() as session:
        add(session, [NEW], by(WREN))


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("save", "--title", "nothing"), "observations"),
        (("save", *PIECES), "title"),
        (("save", *PIECES, "--title", "x\u202e"), "U+202E"),
        (("save", "pins=twenty", "--title", "x"), "twenty"),
        (("save", "pitch=0.5furlong", "--title", "x"), "furlong"),
        (("show", "nonsense"), "no case has this key"),
        (("comment", "nonsense", "hello"), "no case has this key"),
        (("withdraw", "nonsense", "--reason", "x"), "no case has this key"),
        (("accept", "nonsense", "no:such"), "no half has the key"),
        (("list", "--changed-since", "lately"), "not a date or time"),
    ],
)
def test_invalid_commands_are_refused_with_a_message(run: Run, arguments: tuple[str, ...], told: str) -> None:
    assert told in refused(run(*arguments))
    assert own(run) == []


def test_saving_a_case_prints_its_key_and_a_private_case_is_not_listed(run: Run) -> None:
    printed = done(run("save", *PIECES, "--title", "reed bed recorder"))
    (case,) = own(run)
    assert f"otherhalf case show {case['key']}" in printed
    assert "no match" in printed
    assert "No case is open." in done(run("list"))
    assert "reed bed recorder" in done(run("list", "--own"))


def test_show_prints_the_command_for_the_full_ranking(run: Run) -> None:
    printed = done(run("show", saved(run)))
    assert "otherhalf identify contact_count=20 pitch=4.51/9@caliper 'body_length=6.5±0.03'" in printed


def test_refresh_lists_changed_answers_and_then_has_nothing_to_do(run: Run, empty_url: str) -> None:
    key = saved(run, "--public")
    come(empty_url)
    printed = done(run("refresh"))
    assert "1 open case ranked again; 1 changed." in printed
    assert f"reed bed recorder ({key})" in printed
    assert "was no match, is " in printed
    assert "0 changed." in done(run("refresh")), "the change itself raised the version"
    assert "0 open cases ranked again" in done(run("refresh"))
    assert key in done(run("list", "--changed-since", "2026-01-01"))
    assert "No case is open." in done(run("list", "--changed-since", "2999-01-01"))
    assert "The answer changed" in done(run("show", key))


def test_a_suggestion_is_judged_and_accepted_as_evidence(run: Run, empty_url: str) -> None:
    key = saved(run)
    come(empty_url)
    done(run("refresh"))
    said = done(run("comment", key, "the keys agree", "--half", NEW.key))
    assert "Rank 1" in said
    printed = done(run("accept", key, NEW.key, "--reason", "it mated", "--confirm"))
    assert f"it is {NEW.key}: it mated" in printed
    assert "are now evidence about that half" in printed
    assert "left out: height" in printed
    assert own(run)[0]["state"] == "solved"
    assert "is solved" in refused(run("accept", key, NEW.key))


def test_an_operator_cannot_confirm_their_own_figures(run: Run, empty_url: str) -> None:
    key = saved(run)
    with open_catalogue(empty_url) as catalogue, catalogue.writing() as session:
        add(session, [NEW])
    assert "nobody can confirm their own" in refused(run("accept", key, NEW.key, "--confirm"))
    assert "nothing became evidence" in done(run("accept", key, NEW.key))


def test_an_operator_can_withdraw_any_case(run: Run, empty_url: str) -> None:
    with open_catalogue(empty_url) as catalogue, catalogue.writing() as session:
        key = lifecycle.save(session, by(IDA), specimen(), NONE, private=False).key
    assert "Withdrawn: reed bed recorder" in done(run("withdraw", key, "--reason", "spam"))
    assert "No case is open." in done(run("list"))


def test_a_specimen_can_be_given_as_a_file(run: Run, tmp_path: Any) -> None:
    file = tmp_path / "specimen.json"
    file.write_text(json.dumps({"observations": [{"feature": "contact_count", "value": 20}]}))
    done(run("save", "--file", str(file), "pitch=0.5@caliper", "--title", "from a file"))
    (case,) = own(run)
    shown = json.loads(done(run("show", case["key"], "--json")))
    assert [each["feature"] for each in shown["specimen"]["observations"]] == ["contact_count", "pitch"]
