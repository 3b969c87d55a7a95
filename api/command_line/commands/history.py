"""``otherhalf history``, ``journal`` and ``pending``: past changes and pending ones."""

from __future__ import annotations

from typing import Annotated

import typer
from sqlalchemy.orm import Session

from api.command_line.commands.common import (
    EXIT_CODES,
    DatabaseOption,
    ExitCode,
    JsonOption,
    acting,
    opened,
    print_json,
    reporting_errors,
    show,
)
from api.command_line.output.console import plain
from api.command_line.output.records import journal_lines, pending_table
from api.observations.checking import form_of
from api.observations.error_places import moved_errors
from api.operations.pending_changes import HASTEN, STOP
from api.operations.record_pages import Wanted, journal_page
from api.schemas.evidence import ReasonIn
from api.schemas.history import LISTED_AT, JournalPage, PendingPage, pending_out
from api.service.settings import DEFAULT_PAGE, MAX_PAGE
from catalog.db.database import read_version
from catalog.evidence.standing import EntryRecord
from catalog.history import pending
from catalog.history.documents import documents
from catalog.model.errors import NotFoundError
from catalog.records.read import get_records

LimitOption = Annotated[int, typer.Option("--limit", min=1, max=MAX_PAGE, help="Most changes to show.")]
CursorOption = Annotated[
    str | None, typer.Option("--cursor", help="Where to continue: `next` of --json.", show_default=False)
]
ReasonOption = Annotated[str, typer.Option("--reason", help="Why; saved in the journal.")]


def history(
    key: Annotated[str, typer.Argument(help="Key of a half, series or mating, as 'otherhalf search' prints it.")],
    record: Annotated[
        EntryRecord | None,
        typer.Option("--record", help="What the key names, if several records have it.", show_default=False),
    ] = None,
    limit: LimitOption = DEFAULT_PAGE,
    cursor: CursorOption = None,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """Show the history of an entry, newest first: who changed what, when and why, and the evidence about it.

    [bold]Example[/bold]

    \b
      otherhalf history siskin-works:sk-7-13
    """
    with reporting_errors(), opened(database) as catalogue, catalogue.reading() as session:
        wanted = Wanted(record=_record(session, key, record), key=key)
        page = journal_page(session, read_version(session), wanted, cursor, limit)
    _show(page, as_json=as_json)


def journal(
    record: Annotated[
        str | None, typer.Option("--record", help="Only records of this kind.", show_default=False)
    ] = None,
    key: Annotated[str | None, typer.Option("--key", help="With --record: only this one.", show_default=False)] = None,
    series: Annotated[
        str | None,
        typer.Option("--series", help="Key of a series: only it, its halves and matings.", show_default=False),
    ] = None,
    actor: Annotated[
        str | None, typer.Option("--actor", help="Only changes by this person.", show_default=False)
    ] = None,
    since: Annotated[
        str | None, typer.Option("--since", help="Only since this date or time (UTC).", show_default=False)
    ] = None,
    limit: LimitOption = DEFAULT_PAGE,
    cursor: CursorOption = None,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """Show all changes of the catalogue, newest first.

    [bold]Examples[/bold]

    \b
      otherhalf journal --since 2026-11-01 --actor "Wren Ashby"
      otherhalf journal --series dunnock-sons:dn40
    """
    with reporting_errors(), opened(database) as catalogue, catalogue.reading() as session:
        with moved_errors({"record": "--record"}):
            wanted = Wanted.asked(record=record, key=key, series=series, actor=actor, since=since)
        page = journal_page(session, read_version(session), wanted, cursor, limit)
    _show(page, as_json=as_json)


def _record(session: Session, key: str, record: str | None) -> str:
    for kind in LISTED_AT if record is None else (record,):
        if get_records(session, kind, [key]):
            return kind
    raise NotFoundError(
        f"no {record or 'entry'} has the key {key!r}",
        field="key",
        value=key,
        remedy="Search for it by a part of its name: otherhalf search NAME",
    )


def _show(page: JournalPage, *, as_json: bool) -> None:
    if as_json:
        print_json(page)
    elif page.items:
        show(list(journal_lines(page.items)))
        if page.next is not None:
            show([plain(f"There are older changes: continue with --cursor {page.next}")])
    else:
        show([plain("No changes.")])
    raise typer.Exit(ExitCode.ANSWERED if page.items else ExitCode.NO_MATCH)


waiting = typer.Typer(
    invoke_without_command=True,
    help="""List pending changes, apply one now, or stop it.

    Withdrawals, merges and new values of confirmed entries wait three days, so
    that others can object.

    \b
      otherhalf pending
      otherhalf pending hasten KEY --reason "checked by three people"
      otherhalf pending stop KEY --reason "the part exists"
    """,
)


@waiting.callback(epilog=EXIT_CODES)
def listed(context: typer.Context, as_json: JsonOption = False, database: DatabaseOption = None) -> None:
    # Without a docstring: the group's help stands above.
    if context.invoked_subcommand is not None:
        return
    with reporting_errors(), opened(database) as catalogue, catalogue.reading() as session:
        found = documents(session, pending.RECORD, state="waiting")
    if as_json:
        print_json(PendingPage(items=tuple(map(pending_out, found)), next=None))
    else:
        show([pending_table(found)] if found else [plain("There are no pending changes.")])


@waiting.command(epilog=EXIT_CODES)
def hasten(
    key: Annotated[str, typer.Argument(help="The change's key, as 'otherhalf pending' lists it.")],
    reason: ReasonOption,
    database: DatabaseOption = None,
) -> None:
    """Apply a pending change now."""
    with reporting_errors(), acting(database) as writing:
        done = writing.carry_out(HASTEN, form_of(ReasonIn, {"reason": reason}), key=key).result
    why = done.decision if done.state == "lapsed" else ""
    show([plain(f"{done.action} {done.about}: {done.state}. {why}")])


@waiting.command(epilog=EXIT_CODES)
def stop(
    key: Annotated[str, typer.Argument(help="The change's key, as 'otherhalf pending' lists it.")],
    reason: ReasonOption,
    database: DatabaseOption = None,
) -> None:
    """Stop a pending change: it is not applied."""
    with reporting_errors(), acting(database) as writing:
        done = writing.carry_out(STOP, form_of(ReasonIn, {"reason": reason}), key=key).result
    show([plain(f"Stopped: {done.action} {done.about}.")])
