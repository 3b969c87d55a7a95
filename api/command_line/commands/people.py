"""``otherhalf contributor`` and ``otherhalf token``: who may add to this catalogue, and by what they are known.

Whoever holds the database acts as its operator.
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
    show,
    told,
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
"""Word for every scope that the contributor's role can use."""

NO_END = "none"

contributor = typer.Typer(
    no_args_is_help=True,
    help="""Add contributors, give them roles, suspend them. Nobody is ever deleted: what they did stays in the journal.

    \b
      contributor   adds and revises entries, gives evidence, comments
      maintainer    also undoes, hastens and stops changes, suspends, gives roles

    Reading and identifying need no contributor. A contributor is known by a token: see 'otherhalf token'.
    """,
)

NameArgument = Annotated[str, typer.Argument(help="The contributor's name, as in 'otherhalf contributor list'.")]
RoleArgument = Annotated[Role, typer.Argument(help="contributor or maintainer.", metavar="ROLE")]


@contributor.command(epilog=EXIT_CODES)
def add(
    name: Annotated[str, typer.Argument(help="Name that is shown beside what they add; it never changes.")],
    role: Annotated[Role, typer.Option("--role", help="contributor or maintainer.", metavar="ROLE")] = Role.CONTRIBUTOR,
    database: DatabaseOption = None,
) -> None:
    """Add a contributor. Give them a token next.

    [bold]Example[/bold]

    \b
      otherhalf contributor add "Wren Ashby"
      otherhalf token create "Wren Ashby"
    """
    with told(), acting(database) as writing:
        made = writing.carry_out(ADD_CONTRIBUTOR, ContributorIn(name=name, role=role)).result
    show([plain(f"{made.name} is now a {made.role}.")])


@contributor.command("list", epilog=EXIT_CODES)
def list_contributors(as_json: JsonOption = False, database: DatabaseOption = None) -> None:
    """List everybody, with role, and who is suspended since when and why."""
    with told(), opened(database) as catalogue, catalogue.reading() as session:
        found = contributors.listed(session)
    if as_json:
        print_json(ContributorList(items=tuple(map(contributor_out, found))))
    else:
        show([contributor_table(found)] if found else list(first_steps(database)))


@contributor.command(epilog=EXIT_CODES)
def suspend(
    name: NameArgument,
    reason: Annotated[str, typer.Option("--reason", help="Why; it is kept in the journal and told to them.")],
    database: DatabaseOption = None,
) -> None:
    """Take nothing more from a contributor: all their tokens stop at once, and reading stays open.

    What they added stays as it is.

    [bold]Example[/bold]

    \b
      otherhalf contributor suspend "Wren Ashby" --reason "a token of theirs leaked"
    """
    with told(), acting(database) as writing:
        suspended = writing.carry_out(SUSPEND, form_of(ReasonIn, {"reason": reason}), key=name).result
    show([plain(f"{suspended.name} is suspended. 'otherhalf contributor lift' takes it back.")])


@contributor.command(epilog=EXIT_CODES)
def lift(
    name: NameArgument,
    reason: Annotated[str, typer.Option("--reason", help="Why; it is kept in the journal.")] = "",
    database: DatabaseOption = None,
) -> None:
    """End a suspension; tokens that have not ended meanwhile are good again."""
    with told(), acting(database) as writing:
        lifted = writing.carry_out(LIFT, form_of(LiftIn, {"reason": reason}), key=name).result
    show([plain(f"{lifted.name} may contribute again.")])


@contributor.command(epilog=EXIT_CODES)
def role(name: NameArgument, role: RoleArgument, database: DatabaseOption = None) -> None:
    """Give a contributor another role.

    A token with the scope 'maintain' works only as long as its contributor is a maintainer.

    [bold]Example[/bold]

    \b
      otherhalf contributor role "Wren Ashby" maintainer
    """
    with told(), acting(database) as writing:
        changed = writing.carry_out(CHANGE_ROLE, RoleIn(role=role), key=name).result
    show([plain(f"{changed.name} is now a {changed.role}.")])


@contributor.command(epilog=EXIT_CODES)
def undo(
    name: NameArgument,
    since: Annotated[str, typer.Option("--since", help="A date (its beginning) or moment, UTC.")],
    reason: Annotated[str, typer.Option("--reason", help="Why; it is kept in the journal.")],
    database: DatabaseOption = None,
) -> None:
    """Take back all that a contributor changed since a moment, at once and as new revisions.

    What others revised since, measured and found right, or built on is kept, and told. Suspend them first, if more is
    to be feared.

    [bold]Example[/bold]

    \b
      otherhalf contributor undo "Wren Ashby" --since 2026-11-24 --reason "a token of theirs leaked"
    """
    with told(), acting(database) as writing:
        body = form_of(UndoIn, {"since": since, "reason": reason})
        undone = writing.carry_out(UNDO, body, key=name).result
    show(list(undone_lines(undone)))


token = typer.Typer(
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


@token.command(epilog=EXIT_CODES)
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
    with told(), acting(database) as writing:
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
    ends = f"until {moment(made.expires_at)} UTC" if made.expires_at else "without end"
    good_for = ", ".join(made.scopes)
    lines = [
        f"Token {made.id} of {made.contributor}, good for {good_for}, {ends}.",
        "It is shown this once: keep it where passwords are kept. Send it as 'Authorization: Bearer oh_…'.",
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
    """List tokens: whose, what for, until when, when last used. The secrets themselves are nowhere."""
    with told(), opened(database) as catalogue, catalogue.reading() as session:
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
    """End a token now and for good. Requests that carry it are refused from the next one on."""
    with told(), acting(database) as writing:
        revoked = writing.carry_out(REVOKE_TOKEN, Nothing(), key=number).result
    show([plain(f"Token {revoked.id} of {revoked.contributor} ({revoked.start}…) is revoked.")])


def _scopes(role: Role, text: str) -> tuple[Scope, ...]:
    """The scopes that a text names; raises EntryError for a word that is none."""
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
    """When a token ends: days from now, a date's beginning or a moment (UTC); None for 'none'. Raises EntryError."""
    if text == NO_END:
        return None
    if text.isascii() and text.isdecimal():
        return now + timedelta(days=min(int(text), tokens.LONGEST_DAYS + 1))  # more is refused all the same
    return timestamps.read(text, field="expires")
