"""``otherhalf evidence``, ``confirm``, ``dispute`` and ``sight`` on a database, and the client's calls of evidence."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from api.client import Client, ProblemError
from api.command_line.cli import app
from api.command_line.commands.common import ExitCode
from catalog.accounts import contributors
from catalog.db.database import open_catalogue
from catalog.history.acts import operators
from tests.api.workshop import KEEPER, Workshop, workshop
from tests.catalog.history.changed_entries import HALF, IDA, PER, WREN, fill
from tests.catalog.model.entry_examples import half, mating

Run = Callable[..., Result]
LENGTH = half().dimensions["body_length"].value
CLOSE = f"body_length={LENGTH}±0.02"


@pytest.fixture
def run(empty_url: str) -> Run:
    """Run a command on its own small catalogue."""
    with open_catalogue(empty_url) as catalogue, catalogue.writing() as session:
        fill(session)
        for name in (WREN, IDA, PER):
            contributors.add(session, operators(), name)

    def run_command(*arguments: str) -> Result:
        environment = {"OTHERHALF_DATABASE": empty_url, "COLUMNS": "200"}
        result = CliRunner(env=environment).invoke(app, list(arguments))
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        return result

    return run_command


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def test_a_measured_confirmation_takes_the_short_form_of_the_bench(run: Run) -> None:
    first = run("confirm", HALF, CLOSE, "pitch=6.985/11@caliper", "--as", IDA)
    assert first.exit_code == 0, first.stderr
    assert "Standing: reported" in first.stdout
    second = run("confirm", HALF, CLOSE, "--as", PER)
    assert "Standing: confirmed" in second.stdout
    shown = run("evidence", HALF)
    assert IDA in shown.stdout
    assert "agrees in" in shown.stdout
    told = json.loads(run("evidence", HALF, "--json").stdout)
    assert (told["standing"], len(told["confirmations"])) == ("confirmed", 2)


def test_documents_trial_fits_and_sightings_are_evidence_too(run: Run) -> None:
    cited = run("confirm", HALF, "--document", "SK leaflet", "--document-revision", "B", "--page", "4", "--as", WREN)
    assert cited.exit_code == 0, cited.stderr
    fitted = run("confirm", mating().key, "--of", "mating", "--fits", HALF, "--as", IDA)
    assert fitted.exit_code == 0, fitted.stderr
    seen = run("sight", HALF, "--device", "reed-bed recorder", "--as", PER)
    assert seen.exit_code == 0, seen.stderr
    assert "sightings: 1" in run("evidence", HALF).stdout


def test_a_dispute_is_shown_until_it_is_resolved(run: Run) -> None:
    assert run("dispute", HALF, "--reason", "it has two rows more", "--as", IDA).exit_code == 0
    assert "Standing: disputed" in run("evidence", HALF).stdout


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("confirm", HALF, CLOSE), "--as"),
        (("confirm", HALF, "--as", IDA), "needs a basis"),
        (("confirm", HALF, CLOSE, "--fits", HALF, "--as", IDA), "has one basis"),
        (("confirm", HALF, f"body_length={LENGTH}", "--as", IDA), "how well"),
        (("confirm", HALF, CLOSE, "--as", WREN), "own"),
        (("confirm", HALF, CLOSE, "--as", "Nobody"), "no contributor"),
        (("confirm", HALF, "body_length=0.2913±0.0005", "--as", IDA), "units-slip"),
        (("confirm", HALF, CLOSE, "--as", IDA, "--acknowledge", "nothing"), "no reason"),
        (("confirm", HALF, "bodylength=7.4±0.1", "--as", IDA), "bodylength"),
        (("confirm", "nobody:nothing", CLOSE, "--as", IDA), "nobody:nothing"),
        (("confirm", HALF, CLOSE, "--as", IDA, "--of", "pair"), "'half', 'mating', 'series'"),
        (("confirm", HALF, "--document", "leaflet", "--as", IDA), "revision"),
        (("sight", HALF, "--device", "a\u202eb", "--as", IDA), "U+202E"),
        (("dispute", HALF, "--reason", "x", "--feature", "colour", "--as", IDA), "colour"),
    ],
)
def test_invalid_evidence_is_refused_with_a_remedy(run: Run, arguments: tuple[str, ...], told: str) -> None:
    refused = run(*arguments)
    assert refused.exit_code == ExitCode.BAD_INPUT
    assert told in refused.stderr
    assert json.loads(run("evidence", HALF, "--json").stdout)["confirmations"] == []


def test_the_client_confirms_disputes_answers_resolves_and_withdraws(shop: Workshop) -> None:
    ida, per = (Client(http=shop.server, token=shop.tokens[who]) for who in (IDA, PER))
    keeper = Client(http=shop.server, token=shop.tokens[KEEPER])
    values = [{"feature": "body_length", "value": LENGTH, "u": 0.02}]
    mine = ida.confirm_measured(HALF, 1, values)
    per.confirm_measured(HALF, 1, values)
    assert ida.evidence("half", HALF).standing == "confirmed"
    opened = per.dispute(HALF, 1, "another drawing says 7.6", feature="body_length")
    ida.answer_dispute(opened.key, "that is the older revision")
    (dispute,) = per.evidence("half", HALF).disputes
    with pytest.raises(ProblemError) as caught:
        ida.resolve_dispute(dispute.key, "1-1", "entry_stands", "it is right")
    assert caught.value.problem.status == 412
    tag = shop.server.get(f"/v1/disputes/{opened.key}").json()["etag"]
    assert keeper.resolve_dispute(opened.key, tag, "entry_stands", "older revision").state == "resolved"
    ida.sight(HALF, "reed-bed recorder", board="lid")
    ida.confirm_by_document(HALF, 1, title="SK leaflet", document_revision="B", page="4")
    ida.confirm_by_fit(mating().key, 1, mate=HALF, mates=True)
    tag = shop.server.get(f"/v1/confirmations/{mine.key}").json()["etag"]
    assert ida.take_back("confirmation", mine.key, tag, "it was another part").state == "withdrawn"
    told = per.evidence("half", HALF)
    assert [each.counts for each in told.confirmations] == [False, True, True]
    assert len(told.sightings) == 1
