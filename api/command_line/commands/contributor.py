"""``otherhalf contributor``: who may add to this catalogue. Whoever holds the database acts as its operator."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from api.command_line.commands.common import EXIT_CODES, DatabaseOption, JsonOption, opened, show, told
from api.command_line.output.console import plain
from api.command_line.output.history import undone_lines
from api.command_line.output.people import contributor_table, first_steps
from api.schemas.people import ContributorList, contributor_out
from catalog.accounts import contributors
from catalog.accounts.access import Role
from catalog.history.acts import operators
from catalog.history.documents import new_key
from catalog.history.undoing import undo as undo_changes
from catalog.model.timestamps import read, written

app = typer.Typer(
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


@app.command(epilog=EXIT_CODES)
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
    with told(), opened(database) as catalogue, catalogue.writing() as session:
        made = contributors.add(session, operators(), name, role)
    show([plain(f"{made.name} is now a {made.role}.")])


@app.command("list", epilog=EXIT_CODES)
def list_(as_json: JsonOption = False, database: DatabaseOption = None) -> None:
    """List everybody, with role, and who is suspended since when and why."""
    with told(), opened(database) as catalogue, catalogue.reading() as session:
        found = contributors.listed(session)
    if as_json:
        answer = ContributorList(items=tuple(contributor_out(each) for each in found))
        sys.stdout.write(answer.model_dump_json(indent=2) + "\n")
    else:
        show([contributor_table(found)] if found else list(first_steps(database)))


@app.command(epilog=EXIT_CODES)
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
    with told(), opened(database) as catalogue, catalogue.writing() as session:
        suspended = contributors.suspend(session, operators(reason), name)
    show([plain(f"{suspended.name} is suspended. 'otherhalf contributor lift' takes it back.")])


@app.command(epilog=EXIT_CODES)
def lift(
    name: NameArgument,
    reason: Annotated[str, typer.Option("--reason", help="Why; it is kept in the journal.")] = "",
    database: DatabaseOption = None,
) -> None:
    """End a suspension; tokens that have not ended meanwhile are good again."""
    with told(), opened(database) as catalogue, catalogue.writing() as session:
        lifted = contributors.lift(session, operators(reason), name)
    show([plain(f"{lifted.name} may contribute again.")])


@app.command(epilog=EXIT_CODES)
def role(name: NameArgument, role: RoleArgument, database: DatabaseOption = None) -> None:
    """Give a contributor another role.

    A token with the scope 'maintain' works only as long as its contributor is a maintainer.

    [bold]Example[/bold]

    \b
      otherhalf contributor role "Wren Ashby" maintainer
    """
    with told(), opened(database) as catalogue, catalogue.writing() as session:
        changed = contributors.change_role(session, operators(), name, role)
    show([plain(f"{changed.name} is now a {changed.role}.")])


@app.command(epilog=EXIT_CODES)
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
    with told(), opened(database) as catalogue, catalogue.writing() as session:
        person = contributors.get(session, name).name
        since_moment = written(read(since, field="--since"))
        undone = undo_changes(session, operators(reason, batch=new_key()), person, since_moment)
    show(list(undone_lines(person, undone)))
