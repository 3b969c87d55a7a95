"""Contributors and tokens on the command line, and the first steps shown for an empty catalogue."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Callable
from typing import Any

import pytest
import uvicorn
from typer.testing import CliRunner, Result

from api.command_line.cli import app
from api.command_line.commands.common import ExitCode
from catalog.accounts import tokens
from catalog.accounts.access import Role, Scope, State, Who
from catalog.db.database import open_catalogue
from catalog.model import timestamps

TOKEN = "oh_" + "k" * 43
NAME = "Wren Ashby"

Run = Callable[..., Result]


@pytest.fixture
def run(empty_url: str) -> Run:
    """Run a command on its own catalogue."""

    def run_command(*arguments: str, **environment: str) -> Result:
        result = CliRunner(env={"OTHERHALF_DATABASE": empty_url, **environment}).invoke(app, list(arguments))
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        return result

    return run_command


def text(printed: str) -> str:
    """Printed text without its line breaks."""
    return " ".join(printed.split())


def done(result: Result) -> str:
    assert result.exit_code == ExitCode.ANSWERED, result.stderr
    return result.stdout


def refused(result: Result) -> str:
    """The error message of a refused command, which prints no answer."""
    assert (result.exit_code, result.stdout) == (ExitCode.BAD_INPUT, "")
    return text(result.stderr)


def listed(run: Run, what: str) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = json.loads(done(run(what, "list", "--json")))["items"]
    return items


def who(url: str, secret: str) -> Who:
    with open_catalogue(url) as catalogue, catalogue.reading() as session:
        return tokens.verify(session, secret, timestamps.now()).who


def test_a_contributor_can_be_added_listed_suspended_and_readmitted(run: Run) -> None:
    assert NAME in done(run("contributor", "add", NAME))
    assert [(each["name"], each["role"], each["suspended_at"]) for each in listed(run, "contributor")] == [
        (NAME, "contributor", None)
    ]
    done(run("contributor", "suspend", NAME, "--reason", "a slip"))
    assert listed(run, "contributor")[0]["suspended_for"] == "a slip"
    assert "a slip" in done(run("contributor", "list"))
    done(run("contributor", "lift", NAME))
    assert listed(run, "contributor")[0]["suspended_at"] is None
    assert "maintainer" in done(run("contributor", "role", NAME, "maintainer"))
    assert listed(run, "contributor")[0]["role"] == "maintainer"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("contributor", "add", "wren-ASHBY"), "another name"),
        (("contributor", "add", "operator"), "reserved"),
        (("contributor", "add", "Wren\u202e"), "U+202E"),
        (("contributor", "add", "Other", "--role", "operator"), "contributor or maintainer"),
        (("contributor", "suspend", "Nobody", "--reason", "x"), "no contributor is called 'Nobody'"),
        (("contributor", "suspend", NAME, "--reason", ""), "at least 1 character"),
        (("contributor", "suspend", NAME), "--reason"),
        (("contributor", "lift", NAME), "not suspended"),
        (("contributor", "role", NAME, "reader"), "contributor or maintainer"),
        (("token", "create", "Nobody"), "no contributor is called 'Nobody'"),
        (("token", "create", NAME, "--scopes", "contribut"), "did you mean 'contribute'?"),
        (("token", "create", NAME, "--scopes", ""), "cannot be used for anything"),
        (("token", "create", NAME, "--scopes", "maintain"), "is not a maintainer"),
        (("token", "create", NAME, "--expires", "0"), "in the future"),
        (("token", "create", NAME, "--expires", "99999999999999999999"), "at most 730 days"),
        (("token", "create", NAME, "--expires", "9999-12-31"), "at most 730 days"),
        (("token", "create", NAME, "--expires", "2001-01-01"), "in the future"),
        (("token", "create", NAME, "--expires", "soon"), "not a date or time"),
        (("token", "create", NAME, "--label", TOKEN), "contains a token"),
        (("token", "list", "Nobody"), "no contributor is called 'Nobody'"),
        (("token", "revoke", "7"), "no token 7"),
        (("token", "revoke", "banana"), "none of your tokens has this number"),
        (("token", "revoke", "9" * 30), "none of your tokens has this number"),
        (("token", "revoke", TOKEN), "none of your tokens has this number"),
    ],
    ids=lambda value: " ".join(value)[:50] if isinstance(value, tuple) else "",
)
def test_an_invalid_command_is_refused_with_a_remedy(run: Run, arguments: tuple[str, ...], told: str) -> None:
    done(run("contributor", "add", NAME))
    said = refused(run(*arguments, COLUMNS="200"))
    assert told in said
    assert TOKEN not in said
    assert listed(run, "token") == []


def test_a_new_token_is_the_only_output_and_works(run: Run, empty_url: str) -> None:
    done(run("contributor", "add", NAME))
    result = run("token", "create", NAME, "--label", "laptop")
    assert re.fullmatch(r"oh_[A-Za-z0-9_-]{43}\n", done(result))
    assert "shown only this once" in text(result.stderr)
    secret = result.stdout.strip()
    assert secret not in result.stderr
    known = who(empty_url, secret)
    assert (known.name, known.role, known.scopes) == (NAME, Role.CONTRIBUTOR, tokens.DEFAULT_SCOPES)


def test_tokens_are_listed_without_their_secrets(run: Run) -> None:
    done(run("contributor", "add", NAME))
    secret = done(run("token", "create", NAME, "--label", "laptop")).strip()
    for printed in (done(run("token", "list")), done(run("token", "list", "--json")), done(run("token", "list", NAME))):
        assert secret[:8] in printed
        assert "laptop" in printed
        assert secret[9:] not in printed
        assert tokens.digest(secret) not in printed
    (told,) = listed(run, "token")
    assert (told["contributor"], told["state"], told["scopes"]) == (NAME, "active", ["contribute", "evidence"])


def test_a_revoked_token_is_listed_as_revoked_and_refused(run: Run, empty_url: str) -> None:
    done(run("contributor", "add", NAME))
    secret = done(run("token", "create", NAME)).strip()
    number = str(listed(run, "token")[0]["id"])
    assert "revoked" in done(run("token", "revoke", number))
    (told,) = listed(run, "token")
    assert (told["state"], told["revoked_by"]) == ("revoked", "operator")
    assert who(empty_url, secret).state is State.REVOKED


@pytest.mark.parametrize(
    ("role", "scopes"), [("contributor", {"contribute", "evidence", "account"}), ("maintainer", set(Scope))]
)
def test_all_scopes_means_those_that_the_role_can_use(run: Run, role: str, scopes: set[str]) -> None:
    done(run("contributor", "add", NAME, "--role", role))
    done(run("token", "create", NAME, "--scopes", "all"))
    assert set(listed(run, "token")[0]["scopes"]) == scopes


def test_a_token_without_end_is_made_on_request_but_not_with_the_scope_maintain(run: Run) -> None:
    done(run("contributor", "add", NAME, "--role", "maintainer"))
    done(run("token", "create", NAME, "--expires", "none"))
    assert listed(run, "token")[0]["expires_at"] is None
    assert "never" in done(run("token", "list"))
    assert "needs an end date" in refused(run("token", "create", NAME, "--expires", "none", "--scopes", "all"))


def test_a_suspended_contributor_gets_no_token(run: Run) -> None:
    done(run("contributor", "add", NAME))
    done(run("contributor", "suspend", NAME, "--reason", "a slip"))
    assert "Lift the suspension first" in refused(run("token", "create", NAME))


def test_a_name_is_never_interpreted_as_markup(run: Run) -> None:
    done(run("contributor", "add", "W[red]ren[bold]"))
    assert "W[red]ren[bold]" in done(run("contributor", "list"))


@pytest.mark.parametrize("columns", ["80", "200"])
def test_no_line_of_the_lists_is_wider_than_the_terminal(run: Run, columns: str) -> None:
    long = "x" * 80
    done(run("contributor", "add", long, "--role", "maintainer"))
    done(run("token", "create", long, "--scopes", "all", "--label", "y" * 80))
    done(run("contributor", "suspend", long, "--reason", "z" * 500))
    for what in ("contributor", "token"):
        printed = done(run(what, "list", COLUMNS=columns))
        assert max(len(line) for line in printed.splitlines()) <= int(columns)


@pytest.mark.parametrize(
    ("group", "commands"),
    [("contributor", ("add", "list", "suspend", "lift", "role")), ("token", ("create", "list", "revoke"))],
)
def test_the_help_explains_every_command(run: Run, group: str, commands: tuple[str, ...]) -> None:
    told = done(run(group, "--help"))
    for name in commands:
        assert re.search(rf"^\W*{name}\s", told, re.MULTILINE), name
        assert "0 success" in text(done(run(group, name, "--help")))
    assert group in done(run("--help"))


def test_the_help_names_every_scope(run: Run) -> None:
    told = done(run("token", "--help"))
    assert all(re.search(rf"^\W*{scope}\s", told, re.MULTILINE) for scope in Scope)


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """The arguments the server was started with; none runs. The server sets its database in the environment, which this
    takes back."""
    monkeypatch.setenv("OTHERHALF_DATABASE", "taken back after the test")
    calls: list[dict[str, Any]] = []
    monkeypatch.setattr(uvicorn, "run", lambda _app, **given: calls.append(given))
    return calls


def commands_in(said: str) -> list[list[str]]:
    return [shlex.split(line)[1:] for line in said.splitlines() if line.strip().startswith("otherhalf ")]


def test_serving_an_empty_catalogue_shows_commands_that_make_the_first_maintainer(
    run: Run, empty_url: str, started: list[dict[str, Any]]
) -> None:
    result = run("serve", "--database", empty_url, COLUMNS="300")
    assert len(started) == 1
    assert result.stdout == ""
    first, second = commands_in(result.stderr)
    done(run(*first, OTHERHALF_DATABASE="sqlite:////nowhere/at/all.db"))
    secret = done(run(*second, OTHERHALF_DATABASE="sqlite:////nowhere/at/all.db")).strip()
    known = who(empty_url, secret)
    assert (known.role, known.scopes) == (Role.MAINTAINER, frozenset(Scope))


def test_serving_the_usual_catalogue_names_no_database_in_the_commands(run: Run, started: list[dict[str, Any]]) -> None:
    said = run("serve", COLUMNS="300").stderr
    assert len(started) == 1
    assert commands_in(said)
    assert "--database" not in said


def test_serving_shows_no_first_steps_once_there_is_a_contributor(run: Run, started: list[dict[str, Any]]) -> None:
    done(run("contributor", "add", NAME))
    said = run("serve").stderr
    assert len(started) == 1
    assert commands_in(said) == []


def test_listing_no_contributors_shows_the_first_steps(run: Run) -> None:
    assert len(commands_in(done(run("contributor", "list")))) == 2
    assert "otherhalf token create" in done(run("token", "list"))


def test_the_server_is_started_with_logs_that_hide_tokens(run: Run, started: list[dict[str, Any]]) -> None:
    run("serve")
    (given,) = started
    assert all(handler["filters"] == ["tokens"] for handler in given["log_config"]["handlers"].values())
