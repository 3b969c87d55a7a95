"""`otherhalf current` prints what the JSON interface answers, and names wrong options."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner, Result

from api.command_line.cli import app
from api.command_line.commands.common import ExitCode
from api.command_line.commands.fitting import current
from api.command_line.output import fitting
from api.identification.cautions import BY_STAGE
from catalog.snapshot.snapshot import Snapshot

HALF = "ouzelby:mossipet-p40"
OPTIONS = {"--amps": "0.8", "--supply": "4", "--return": "4", "--ambient": "40"}


@pytest.fixture(autouse=True)
def _demo(snapshot: Snapshot, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(current, "snapshot_of", lambda url: snapshot)


def run(half: str = HALF, *flags: str, **changes: str) -> Result:
    """Run the command; ``changes`` are options without their dashes."""
    options = OPTIONS | {f"--{name.removesuffix('_')}": value for name, value in changes.items()}
    typed = [part for pair in options.items() for part in pair]
    result = CliRunner(env={"COLUMNS": "200"}).invoke(app, ["current", half, *flags, *typed])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def words(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def test_the_answer_is_printed_with_margin_basis_and_cautions() -> None:
    printed = run()
    assert printed.exit_code == ExitCode.ANSWERED
    told = words(printed.stdout)
    for each in ("Enough by the stated ratings", "+0.0939", "contacts loaded: 30", "0.8 of the base curve", "19.2 mW"):
        assert each in told
    assert all(caution in told for caution in BY_STAGE["before power"])


def test_json_is_what_the_interface_answers(server: TestClient) -> None:
    body: dict[str, Any] = {"half": HALF, "current_a": 0.8, "supply_contacts": 4, "return_contacts": 4, "ambient_c": 40}
    assert json.loads(run(HALF, "--json").stdout) == server.post("/v1/current", json=body).json()


def test_what_is_missing_is_printed_where_nothing_can_be_said() -> None:
    told = words(run("ouzelby:mossipet-p24").stdout)
    assert "Not known" in told
    assert "Missing to say enough - a current taken with 8 to 24 contacts loaded" in told


@pytest.mark.parametrize(
    ("changes", "option"),
    [
        ({"amps": "-1"}, "--amps: the current must be above 0"),
        ({"amps": "nan"}, "--amps: should be a finite number"),
        ({"supply": "0"}, "--supply: should be greater than or equal to 1"),
        ({"return_": "37"}, "--return: supply and return need 41 contacts, and MOSSIPET-P40 has 40"),
        ({"ambient": "-274"}, "--ambient: this is below absolute zero"),
        ({"mate": "mosipet-r40"}, "--mate: no half has the key 'mosipet-r40'"),
    ],
)
def test_a_wrong_option_is_named(changes: dict[str, str], option: str) -> None:
    refused = run(**changes)
    assert refused.exit_code == ExitCode.BAD_INPUT
    assert option in words(refused.stderr)


def test_many_mates_are_counted_and_not_left_out_silently(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fitting, "SHOWN_HALVES", 1)
    printed = words(run().stdout)
    assert "and 1 more; --json has all" in printed
