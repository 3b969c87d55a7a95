"""``otherhalf contributor`` and ``otherhalf token``: who may change this catalogue, and their tokens.

Everyone with access to the database acts as its operator.
"""

from __future__ import annotations

import sys
from datetime import datetime, timedelta
from typing import Annotated

import typer

from api.command_line.commands.common import (
    EXIT_CODES,
    DatabaseOption,
    JsonOption,
    acting,
    opened,
    print_json,
    reporting_errors,
    show,
)
from api.command_line.output.console import plain
from api.command_line.output.records import contributor_table, first_steps, moment, token_table, undone_lines
from api.observations.checking import form_of
from api.operations.operation import Nothing
from api.operations.people import ADD_CONTRIBUTOR, CHANGE_ROLE, HAND_OUT_TOKEN, LIFT, REVOKE_TOKEN, SUSPEND, UNDO
from api.schemas.evidence import ReasonIn
from api.schemas.history import UndoIn
from api.schemas.people import (
    ContributorIn,
    ContributorList,
    LiftIn,
    RoleIn,
    TokenFor,
    TokenList,
    contributor_out,
    token_out,
)
from catalog.accounts import contributors, tokens
from catalog.accounts.access import Role, Scope, usable_scopes
from catalog.model import timestamps
from catalog.model.errors import EntryError
from matcher.vocabulary import closest, remedy_for

ALL = "all"
"""Every scope that the contributor's role can use."""

NO_END = "none"

contributor = typer.Typer(
    no_args_is_help=True,
    help="""Add contributors, change their roles, suspend them, undo their changes. Contributors are never deleted.

    \b
      contributor   adds and revises entries, gives evidence, comments
      maintainer    also undoes changes, applies or stops pending ones,
                    suspends people, changes roles

    Anyone may read and identify. Contributors identify themselves by a token:
    see 'otherhalf token'.
    """,
)

NameArgument = Annotated[str, typer.Argument(help="The contributor's name, as in 'otherhalf contributor list'.")]
RoleArgument = Annotated[Role, typer.Argument(help="contributor or maintainer.", metavar="ROLE", show_choices=False)]


@contributor.command(epilog=EXIT_CODES)
def add(
    name: Annotated[str, typer.Argument(help="The name shown with their contributions; it never changes.")],
    role: Annotated[Role, typer.Option("--role", help="contributor or maintainer.", metavar="ROLE")] = Role.CONTRIBUTOR,
    database: DatabaseOption = None,
) -> None:
    """Add a contributor. Then make a token for them.

    [bold]Example[/bold]

    \b
      otherhalf contributor add "Wren Ashby"
      otherhalf token create "Wren Ashby"
    """
    with reporting_errors(), acting(database) as writing:
        made = writing.carry_out(ADD_CONTRIBUTOR, ContributorIn(name=name, role=role)).result
    show([plain(f"{made.name} is now a {made.role}.")])


@contributor.command("list", epilog=EXIT_CODES)
def list_contributors(as_json: JsonOption = False, database: DatabaseOption = None) -> None:
    """List all contributors with their roles and suspensions."""
    with reporting_errors(), opened(database) as catalogue, catalogue.reading() as session:
        found = contributors.listed(session)
    if as_json:
        print_json(ContributorList(items=tuple(map(contributor_out, found))))
    else:
        show([contributor_table(found)] if found else list(first_steps(database)))


@contributor.command(epilog=EXIT_CODES)
def suspend(
    name: NameArgument,
    reason: Annotated[str, typer.Option("--reason", help="Why; saved in the journal and shown to them.")],
    database: DatabaseOption = None,
) -> None:
    """Suspend a contributor: all their tokens stop working at once. They can still read.

    Their entries and evidence stay as they are.

    [bold]Example[/bold]

    \b
      otherhalf contributor suspend "Wren Ashby" --reason "a token of theirs leaked"
    """
    with reporting_errors(), acting(database) as writing:
        suspended = writing.carry_out(SUSPEND, form_of(ReasonIn, {"reason": reason}), key=name).result
    show([plain(f"{suspended.name} is suspended. 'otherhalf contributor lift' ends the suspension.")])


@contributor.command(epilog=EXIT_CODES)
def lift(
    name: NameArgument,
    reason: Annotated[str, typer.Option("--reason", help="Why; saved in the journal.")] = "",
    database: DatabaseOption = None,
) -> None:
    """End a suspension; tokens that have not expired work again."""
    with reporting_errors(), acting(database) as writing:
        lifted = writing.carry_out(LIFT, form_of(LiftIn, {"reason": reason}), key=name).result
    show([plain(f"{lifted.name} may contribute again.")])


@contributor.command(epilog=EXIT_CODES)
def role(name: NameArgument, role: RoleArgument, database: DatabaseOption = None) -> None:
    """Change a contributor's role.

    The scope 'maintain' of a token has an effect only while its contributor is
    a maintainer.

    [bold]Example[/bold]

    \b
      otherhalf contributor role "Wren Ashby" maintainer
    """
    with reporting_errors(), acting(database) as writing:
        changed = writing.carry_out(CHANGE_ROLE, RoleIn(role=role), key=name).result
    show([plain(f"{changed.name} is now a {changed.role}.")])


@contributor.command(epilog=EXIT_CODES)
def undo(
    name: NameArgument,
    since: Annotated[str, typer.Option("--since", help="Start of the changes: a date or time, UTC.")],
    reason: Annotated[str, typer.Option("--reason", help="Why; saved in the journal.")],
    database: DatabaseOption = None,
) -> None:
    """Undo all changes of a contributor since a date or time, at once and as new revisions.

    What others have since revised, confirmed by measurement or used is kept and
    listed. If you expect more harm, suspend the contributor first.

    [bold]Example[/bold]

    \b
      otherhalf contributor undo "Wren Ashby" --since 2026-11-24 \\
        --reason "a token of theirs leaked"
    """
    with reporting_errors(), acting(database) as writing:
        body = form_of(UndoIn, {"since": since, "reason": reason})
        undone = writing.carry_out(UNDO, body, key=name).result
    show(list(undone_lines(undone)))


token = typer.Typer(
    no_args_is_help=True,
    help="""Make, list and revoke tokens: secrets by which the server recognises contributors.

    \b
      contribute   add and revise entries, sightings and cases
      evidence     confirm, dispute, comment
      maintain     undo changes, apply or stop pending ones, suspend people,
                   change roles (maintainers only)
      account      make and revoke one's own tokens

    Send a token as 'Authorization: Bearer oh_…'. Only its SHA-256 is stored: if
    you lose a token, make a new one.
    """,
)


@token.command(epilog=EXIT_CODES)
def create(
    contributor: Annotated[str, typer.Argument(help="Its contributor: a name in 'otherhalf contributor list'.")],
    label: Annotated[str, typer.Option("--label", help="What it is for, to distinguish it from others.")] = "",
    scopes: Annotated[str, typer.Option("--scopes", help="What it allows, separated by commas; or 'all'.")] = ",".join(
        sorted(tokens.DEFAULT_SCOPES)
    ),
    expires: Annotated[
        str, typer.Option("--expires", help="When it expires: days from now, a date (start of day, UTC), or 'none'.")
    ] = str(tokens.DEFAULT_DAYS),
    database: DatabaseOption = None,
) -> None:
    """Make a token and print it, this once, to standard output. Everything else goes to standard error.

    [bold]Examples[/bold]

    \b
      otherhalf token create "Wren Ashby" --label laptop
      SECRET=$(otherhalf token create "Wren Ashby" --expires 30)
    """
    with reporting_errors(), acting(database) as writing:
        with writing.catalogue.reading() as session:
            owner = contributors.get(session, contributor)
        body = TokenFor(
            contributor=owner.name,
            label=label,
            scopes=_scopes(owner.role, scopes),
            expires=_expiry(expires, timestamps.read(timestamps.now(), field="at")),
        )
        made = writing.carry_out(HAND_OUT_TOKEN, body).result
    sys.stdout.write(f"{made.secret}\n")
    ends = f"expires {moment(made.expires_at)} UTC" if made.expires_at else "never expires"
    lines = [
        f"Token {made.id} of {made.contributor}, scopes {', '.join(made.scopes)}, {ends}.",
        "It is shown only this once: store it like a password. Send it as 'Authorization: Bearer oh_…'.",
    ]
    show([plain(line) for line in lines], to_errors=True)


@token.command("list", epilog=EXIT_CODES)
def list_tokens(
    contributor: Annotated[
        str | None, typer.Argument(help="Only those of this contributor.", show_default=False)
    ] = None,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """List tokens: contributor, scopes, label, expiry and last use. The secrets themselves are not stored."""
    with reporting_errors(), opened(database) as catalogue, catalogue.reading() as session:
        found = tokens.listed(session, timestamps.now(), contributor)
    if as_json:
        print_json(TokenList(items=tuple(map(token_out, found))))
    else:
        show([token_table(found)] if found else [plain("There are no tokens. Make one: otherhalf token create NAME")])


@token.command(epilog=EXIT_CODES)
def revoke(
    number: Annotated[str, typer.Argument(help="The token's number, as in 'otherhalf token list'.")],
    database: DatabaseOption = None,
) -> None:
    """Revoke a token for good. From now on, requests with it are refused."""
    with reporting_errors(), acting(database) as writing:
        revoked = writing.carry_out(REVOKE_TOKEN, Nothing(), key=number).result
    show([plain(f"Token {revoked.id} of {revoked.contributor} ({revoked.start}…) is revoked.")])


def _scopes(role: Role, text: str) -> tuple[Scope, ...]:
    """The scopes named in a text; raises EntryError for an unknown word."""
    if text.strip() == ALL:
        return usable_scopes(role)
    words = [word.strip() for word in text.split(",") if word.strip()]
    known = [scope.value for scope in Scope]
    for word in words:
        if word not in known:
            remedy = remedy_for([*known, ALL], closest(word, known))
            raise EntryError(f"there is no scope {word!r}", field="scopes", value=word, remedy=remedy)
    return tuple(Scope(word) for word in words)


def _expiry(text: str, now: datetime) -> datetime | None:
    """When a token expires, from days, a date (start of day) or a time (UTC); None for 'none'. Raises EntryError."""
    if text == NO_END:
        return None
    if text.isascii() and text.isdecimal():
        return now + timedelta(days=min(int(text), tokens.LONGEST_DAYS + 1))  # anything longer is refused too
    return timestamps.read(text, field="expires")
