"""``otherhalf add``, ``history``, ``journal``, ``pending`` and ``contributor undo`` on a database."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from api.command_line.cli import app
from api.command_line.commands.common import ExitCode
from catalog.accounts import contributors
from catalog.db.database import open_catalogue
from catalog.history.acts import operators
from catalog.history.changes import revise
from catalog.history.pending import submit_withdrawal
from tests.api.rest.test_contributing import IMPOSSIBLE, NEW
from tests.api.workshop import written
from tests.catalog.history.changed_entries import HALF, IDA, MEMBER, SERIES, by, fill, longer
from tests.catalog.model.entry_examples import mating

Run = Callable[..., Result]


@pytest.fixture
def run(empty_url: str) -> Run:
    """Run a command on its own small catalogue."""
    with open_catalogue(empty_url) as catalogue, catalogue.writing() as session:
        fill(session)
        contributors.add(session, operators(), IDA)

    def run_command(*arguments: str, stdin: str | None = None, columns: int = 200) -> Result:
        environment = {"OTHERHALF_DATABASE": empty_url, "COLUMNS": str(columns)}
        result = CliRunner(env=environment).invoke(app, list(arguments), input=stdin)
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        return result

    return run_command


def lines(*entries: dict[str, Any]) -> str:
    return "".join(json.dumps(entry) + "\n" for entry in entries)


def rows(run: Run, key: str) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = json.loads(run("history", key, "--json").stdout)["items"]
    return items


GOOD = {"record": "half", **written(NEW)}
BAD = {"record": "half", **IMPOSSIBLE}


def test_a_contributor_adds_entries_from_a_file_in_any_order(run: Run, tmp_path: Path) -> None:
    pair = {"record": "mating", "half": NEW.key, "other": MEMBER, "basis": "trial_fit"}
    file = tmp_path / "new.jsonl"
    file.write_text(lines(pair, GOOD), encoding="utf-8")
    codes = ("unlike-pitch", "unlike-contacts", "unlike-rows")
    given = [word for code in codes for word in ("--acknowledge", f"{code}=tried on the bench")]
    result = run("add", str(file), "--as", IDA, "--reason", "drawing C", *given)
    assert result.exit_code == ExitCode.ANSWERED, result.stderr
    assert "halves: 1 added" in result.stdout
    assert "matings: 1 added" in result.stdout
    assert [(row["actor"], row["reason"]) for row in rows(run, NEW.key)] == [(IDA, "drawing C")]


def test_the_operator_adds_from_the_standard_input(run: Run) -> None:
    result = run("add", "-", stdin=lines(GOOD))
    assert result.exit_code == ExitCode.ANSWERED, result.stderr
    assert [row["actor"] for row in rows(run, NEW.key)] == ["operator"]


def test_severe_findings_are_listed_with_the_next_step_and_nothing_is_saved(run: Run) -> None:
    other = GOOD | {"part_number": "SK-91", "contact_count": 30}
    result = run("add", "-", stdin=lines(BAD, other))
    assert result.exit_code == ExitCode.BAD_INPUT
    assert "must be looked at" in result.stderr
    assert "--acknowledge 'contacts-outside=why it is correct'" in result.stderr
    assert "Nothing was saved: 1 of 2 entries must be looked at." in result.stderr
    for key in (NEW.key, "siskin-works:sk-91"):
        assert run("history", key).exit_code == ExitCode.BAD_INPUT


def test_an_entry_with_acknowledged_findings_is_added_with_the_reason(run: Run) -> None:
    told = run("add", "-", stdin=lines(BAD)).stderr
    codes = [part.split("=")[0] for part in told.split("--acknowledge '")[1:]]
    given = [word for code in codes for word in ("--acknowledge", f"{code}=two of them measured so")]
    result = run("add", "-", *given, stdin=lines(BAD))
    assert result.exit_code == ExitCode.ANSWERED, result.stderr
    assert "two of them measured so" in rows(run, NEW.key)[0]["reason"]


@pytest.mark.parametrize(
    ("arguments", "stdin", "told"),
    [
        (("add", "no-such.jsonl"), None, "no such file"),
        (("add", "-", "--acknowledge", "contacts-outside"), lines(GOOD), "code=reason"),
        (("add", "-", "--acknowledge", "contacts-outside=ok"), lines(BAD), "gives no reason"),
        (("add", "-", "--as", "Nobody"), lines(GOOD), "no contributor is called 'Nobody'"),
        (("add", "-"), "{", "-, line 1"),
        (("add", "-"), lines(GOOD | {"note": "a\u202eb"}), "U+202E"),
        (("add", "-"), lines(GOOD, {"record": "mating", **written(mating(half="no:such"))}), "-, line 2"),
        (("add", "-"), lines(GOOD | {"maker": "siskin works", "part_number": "SK-95"}), "spelt 'Siskin Works'"),
        (("history", "no:such"), None, "no entry has the key"),
        (("history", HALF, "--record", "plug"), None, "'half', 'mating', 'series'"),
        (("journal", "--key", HALF), None, "--record"),
        (("journal", "--since", "yesterday"), None, "not a date or time"),
        (("journal", "--cursor", "x"), None, "cursor"),
        (("pending", "hasten", "none", "--reason", "r"), None, "no pending has the key"),
        (("contributor", "undo", "Nobody", "--since", "2020-01-01", "--reason", "r"), None, "no contributor"),
        (("contributor", "undo", IDA, "--since", "last week", "--reason", "r"), None, "not a date or time"),
    ],
    ids=lambda value: " ".join(value)[:40] if isinstance(value, tuple) else "",
)
def test_invalid_commands_are_refused_and_change_nothing(
    run: Run, arguments: tuple[str, ...], stdin: str | None, told: str
) -> None:
    before = run("journal", "--json").stdout
    result = run(*arguments, stdin=stdin)
    assert result.exit_code == ExitCode.BAD_INPUT, result.stdout
    assert told in " ".join(result.stderr.split())
    assert run("journal", "--json").stdout == before


def test_a_suspended_contributor_adds_nothing(run: Run) -> None:
    run("contributor", "suspend", IDA, "--reason", "a slip")
    result = run("add", "-", "--as", IDA, stdin=lines(GOOD))
    assert result.exit_code == ExitCode.BAD_INPUT
    assert "a slip" in result.stderr


def test_history_and_journal_list_the_newest_first_with_old_and_new_values(run: Run, empty_url: str) -> None:
    with open_catalogue(empty_url) as catalogue, catalogue.writing() as session:
        revise(session, by(IDA, "measured again"), HALF, longer())
    printed = run("history", HALF).stdout
    assert printed.index("revise half") < printed.index("add half")
    assert "dimensions.body_length.value: 7.4 → 7.9" in printed
    assert "measured again" in printed
    assert IDA in run("journal", "--actor", IDA).stdout
    assert "mating" in run("journal", "--series", SERIES, "--limit", "500").stdout
    assert run("journal", "--actor", "Nobody").exit_code == ExitCode.NO_MATCH
    first = json.loads(run("journal", "--limit", "1", "--json").stdout)
    second = json.loads(run("journal", "--limit", "1", "--cursor", first["next"], "--json").stdout)
    assert second["items"][0]["id"] < first["items"][0]["id"]


def test_pending_changes_can_be_listed_hastened_and_stopped(run: Run, empty_url: str) -> None:
    assert "There are no pending changes." in run("pending").stdout
    with open_catalogue(empty_url) as catalogue, catalogue.writing() as session:
        first = submit_withdrawal(session, by(IDA, "no such part"), "half", HALF).pending
        second = submit_withdrawal(session, by(IDA, "no such part"), "half", MEMBER).pending
    assert first is not None
    assert second is not None
    printed = run("pending").stdout
    assert all(text in printed for text in (first.key, second.key, "withdraw", HALF, IDA, "no such part"))
    assert len(json.loads(run("pending", "--json").stdout)["items"]) == 2
    assert "done" in run("pending", "hasten", first.key, "--reason", "seen").stdout
    assert "Stopped: withdraw" in run("pending", "stop", second.key, "--reason", "it exists").stdout
    assert "There are no pending changes." in run("pending").stdout
    assert "already" in run("pending", "stop", first.key, "--reason", "late").stderr


def test_one_command_undoes_a_contributor(run: Run) -> None:
    run("add", "-", "--as", IDA, stdin=lines(GOOD))
    result = run("contributor", "undo", IDA, "--since", "2020-01-01", "--reason", "a spree")
    assert result.exit_code == ExitCode.ANSWERED, result.stderr
    assert f"half {NEW.key}" in result.stdout
    last = rows(run, NEW.key)[0]
    assert (last["action"], last["reason"], last["actor"]) == ("undo", "a spree", "operator")
    again = run("contributor", "undo", IDA, "--since", "2020-01-01", "--reason", "a spree")
    assert again.stdout.startswith("0 records changed by")


@pytest.mark.parametrize("command", [("add",), ("history",), ("journal",), ("pending",), ("contributor", "undo")])
def test_the_help_explains_the_commands(run: Run, command: tuple[str, ...]) -> None:
    told = run(*command, "--help").stdout
    assert f"otherhalf {' '.join(command)}" in told
    assert "0 success" in " ".join(told.split())


def test_an_acknowledged_entry_of_a_file_passes_the_review(run: Run) -> None:
    reviewed = run("review", HALF)
    assert reviewed.exit_code in (ExitCode.ANSWERED, ExitCode.NO_MATCH)
    clean = "passes the machine review" in reviewed.stdout
    assert clean == (reviewed.exit_code == ExitCode.ANSWERED)
    actions = [row["action"] for row in rows(run, HALF) if row["record"] == "half"]
    assert actions == (["review", "add"] if clean else ["add"])


def test_an_impossible_entry_of_a_file_does_not_pass(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "odd.jsonl"
    file.write_text(lines(BAD), encoding="utf-8")
    assert run("import", str(file)).exit_code == 0
    reviewed = run("review", NEW.key)
    assert reviewed.exit_code == ExitCode.NO_MATCH
    assert "does not pass" in reviewed.stdout
    assert [row["action"] for row in rows(run, NEW.key)] == ["add"]
