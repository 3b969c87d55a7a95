"""``otherhalf token``: secrets by which contributors are known to the server."""

from __future__ import annotations

import sys
from datetime import datetime, timedelta
from typing import Annotated

import typer
from sqlalchemy.orm import Session

from api.command_line.commands.common import EXIT_CODES, DatabaseOption, JsonOption, opened, show, told
from api.command_line.output.console import plain
from api.command_line.output.people import moment, token_table
from api.schemas.people import TokenList, token_out
from catalog.accounts import contributors, tokens
from catalog.accounts.access import Role, Scope
from catalog.history.acts import operators
from catalog.model import timestamps
from catalog.model.errors import EntryError
from matcher.vocabulary import closest, remedy_for

ALL = "all"
"""Word for every scope that the contributor's role can use."""

NO_END = "none"

app = typer.Typer(
    no_args_is_help=True,
    help="""Make, list and revoke tokens: secrets by which contributors are known to the server.

    \b
      contribute   add and revise entries, sightings, specimens
      evidence     confirm, dispute, comment
      maintain     undo, hasten and stop changes, suspend, give roles (maintainers only)
      account      make and revoke tokens of one's own

    Send a token as 'Authorization: Bearer oh_…'. Only its SHA-256 is stored: who loses it makes a new one.
    """,
)


@app.command(epilog=EXIT_CODES)
def create(
    contributor: Annotated[str, typer.Argument(help="Whose it is: a name of 'otherhalf contributor list'.")],
    label: Annotated[str, typer.Option("--label", help="What it is for, to tell it from others.")] = "",
    scopes: Annotated[
        str, typer.Option("--scopes", help="What it is good for, with commas between; or 'all'.")
    ] = ",".join(sorted(tokens.DEFAULT_SCOPES)),
    expires: Annotated[
        str, typer.Option("--expires", help="When it ends: days from now, a date (its beginning, UTC), or 'none'.")
    ] = str(tokens.DEFAULT_DAYS),
    database: DatabaseOption = None,
) -> None:
    """Make a token, and print it alone, once, on the standard output; all else goes to the error stream.

    [bold]Examples[/bold]

    \b
      otherhalf token create "Wren Ashby" --label laptop
      SECRET=$(otherhalf token create "Wren Ashby" --expires 30)
    """
    with told(), opened(database) as catalogue, catalogue.writing() as session:
        act = operators()
        made = tokens.create(
            session,
            act,
            contributor,
            label=label,
            scopes=_scopes(session, contributor, scopes),
            expires=_expiry(expires, timestamps.read(act.at, field="at")),
        )
    sys.stdout.write(made.secret + "\n")
    token = made.token
    ends = f"until {moment(token.expires_at)} UTC" if token.expires_at else "without end"
    good_for = ", ".join(scope.value for scope in Scope if scope in token.scopes)
    lines = [
        f"Token {token.id} of {token.contributor}, good for {good_for}, {ends}.",
        "It is shown this once: keep it where passwords are kept. Send it as 'Authorization: Bearer oh_…'.",
    ]
    show([plain(line) for line in lines], to_errors=True)


@app.command("list", epilog=EXIT_CODES)
def list_(
    contributor: Annotated[
        str | None, typer.Argument(help="Only those of this contributor.", show_default=False)
    ] = None,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """List tokens: whose, what for, until when, when last used. The secrets themselves are nowhere."""
    with told(), opened(database) as catalogue, catalogue.reading() as session:
        found = tokens.listed(session, timestamps.now(), contributor)
    if as_json:
        answer = TokenList(items=tuple(token_out(each) for each in found))
        sys.stdout.write(answer.model_dump_json(indent=2) + "\n")
    else:
        show([token_table(found)] if found else [plain("There are no tokens. Make one: otherhalf token create NAME")])


@app.command(epilog=EXIT_CODES)
def revoke(
    number: Annotated[str, typer.Argument(help="The token's number, as in 'otherhalf token list'.")],
    database: DatabaseOption = None,
) -> None:
    """End a token now and for good. Requests that carry it are refused from the next one on."""
    with told(), opened(database) as catalogue, catalogue.writing() as session:
        revoked = tokens.revoke(session, operators(), _number(number))
    show([plain(f"Token {revoked.id} of {revoked.contributor} ({revoked.start}…) is revoked.")])


def _scopes(session: Session, contributor: str, text: str) -> frozenset[Scope]:
    """The scopes that a text names; raises EntryError for a word that is none."""
    if text.strip() == ALL:
        maintainer = contributors.get(session, contributor).role is Role.MAINTAINER
        return frozenset(scope for scope in Scope if maintainer or scope is not Scope.MAINTAIN)
    words = [word.strip() for word in text.split(",") if word.strip()]
    known = [scope.value for scope in Scope]
    for word in words:
        if word not in known:
            remedy = remedy_for([*known, ALL], closest(word, known))
            raise EntryError(f"there is no scope {word!r}", field="scopes", value=word, remedy=remedy)
    return frozenset(Scope(word) for word in words)


def _expiry(text: str, now: datetime) -> datetime | None:
    """When a token ends: days from now, a date's beginning or a moment (UTC); None for 'none'. Raises EntryError."""
    if text == NO_END:
        return None
    if text.isascii() and text.isdecimal():
        return now + timedelta(days=min(int(text), tokens.LONGEST_DAYS + 1))  # more is refused all the same
    return timestamps.read(text, field="expires")


def _number(text: str) -> int:
    # Taken as text, so that a secret typed in its place is masked in the refusal.
    if not (text.isascii() and text.isdecimal()) or len(text) > 18:
        raise EntryError(
            "this is no token's number", field="token", value=text, remedy="Look for it in: otherhalf token list"
        )
    return int(text)
