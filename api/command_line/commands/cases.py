"""``otherhalf case``: specimens that are not identified yet."""

from __future__ import annotations

from typing import Annotated

import typer
from rich.console import RenderableType

from api.command_line.commands.common import (
    EXIT_CODES,
    DatabaseOption,
    JsonOption,
    acting,
    object_of,
    opened,
    print_json,
    reporting_errors,
    show,
    with_typed,
)
from api.command_line.commands.identification import FileOption, PiecesArgument
from api.command_line.output.cases import case_blocks, case_table, ranked_blocks
from api.command_line.output.console import plain
from api.identification.nearest import require_half
from api.observations.checking import form_of
from api.observations.short_form import parse_pieces
from api.operations.case_ranking import rank_again, revision_of
from api.operations.cases import ACCEPT, COMMENT_ON_CASE, SAVE_CASE, WITHDRAW_CASE, case_of
from api.schemas.cases import AcceptIn, CaseItem, CasePage, CommentIn, SpecimenIn, case_item
from api.schemas.evidence import ReasonIn
from catalog.accounts.access import THE_OPERATOR
from catalog.cases.retrieval import own_cases, public_cases, seer
from catalog.cases.specimens import SPECIMEN
from catalog.history.acts import OPERATOR
from catalog.model.timestamps import read, written
from catalog.snapshot.snapshot import SnapshotSource

MOST_LISTED = 500
"""Most cases printed at once."""

REMEDY = 'give an object: {"title": …, "observations": [...]}'
"""Remedy for a file with other content."""

app = typer.Typer(
    no_args_is_help=True,
    help="""Save a part that cannot be identified yet, and see when its answer changes.

    A case holds the observations of one part, as for 'otherhalf identify'.
    'refresh' ranks all open cases again by the present catalogue; a running
    server does this by itself. When you know which half it is, close the
    case with 'accept': the measurements become evidence about that half.

    \b
      otherhalf case save contact_count=24 pitch=4.41/11 --title "reed bed"
      otherhalf case list
      otherhalf case refresh
      otherhalf case accept KEY maker:part --reason "same keys in the drawing"
    """,
)

KeyArgument = Annotated[str, typer.Argument(metavar="KEY", help="The case's key, from 'save' or 'list'.")]


@app.command(epilog=EXIT_CODES)
def save(
    pieces: PiecesArgument = None,
    file: FileOption = None,
    title: Annotated[str | None, typer.Option("--title", help="Where the part comes from, in one line.")] = None,
    note: Annotated[str | None, typer.Option("--note", help="Anything else that may help.")] = None,
    public: Annotated[
        bool, typer.Option("--public", help="List it among the open cases; else only people with its key see it.")
    ] = False,
    database: DatabaseOption = None,
) -> None:
    """Save a part as a case, with its observations in the short form of 'otherhalf identify'.

    [bold]Examples[/bold]

    \b
      otherhalf case save contact_count=24 pitch=4.41/11 --title "reed bed recorder"
      otherhalf case save --file specimen.json --title "from the marsh" --public
    """
    with reporting_errors(pieces or []):
        given = object_of(file, REMEDY) if file is not None else {}
        asked, _ = with_typed(given, "observations", parse_pieces(pieces or []))
        options = {"title": title, "note": note, "visibility": "public" if public else None}
        asked |= {name: value for name, value in options.items() if value is not None}
        body = form_of(SpecimenIn, asked)
        with acting(database) as writing:
            found = writing.carry_out(SAVE_CASE, body).result
    show(case_blocks(found))
    show([plain(""), plain(f"Saved as {found.key}. To see it again: otherhalf case show {found.key}")])


@app.command(name="show", epilog=EXIT_CODES)
def show_(key: KeyArgument, as_json: JsonOption = False, database: DatabaseOption = None) -> None:
    """Show a case: its answer, the comments, and the command that ranks it in full."""
    with reporting_errors(), opened(database) as catalogue, catalogue.reading() as session:
        found = case_of(session, key, seer(THE_OPERATOR))
    if as_json:
        print_json(found)
    else:
        show(case_blocks(found))


@app.command("list", epilog=EXIT_CODES)
def list_(
    changed_since: Annotated[
        str | None,
        typer.Option("--changed-since", metavar="DATE", help="Only cases whose answer has changed since this date."),
    ] = None,
    own: Annotated[
        bool, typer.Option("--own", help="All cases saved by this command, private and closed ones too.")
    ] = False,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """List the open public cases, oldest first.

    [bold]Examples[/bold]

    \b
      otherhalf case list --changed-since 2026-11-01
      otherhalf case list --own
    """
    if own and changed_since:
        raise typer.BadParameter("--own lists all your cases: leave out --changed-since")
    with reporting_errors(), opened(database) as catalogue, catalogue.reading() as session:
        since = None if changed_since is None else written(read(changed_since, field="--changed-since"))
        cases = own_cases(session, OPERATOR) if own else public_cases(session, changed_since=since, limit=MOST_LISTED)
        items = tuple(case_item(case) for case in cases)
    if as_json:
        print_json(CasePage(items=items, next=None))
    else:
        show(_listed(items))


def _listed(items: tuple[CaseItem, ...]) -> list[RenderableType]:
    if not items:
        return [plain("No case is open.")]
    more = [plain(f"These are the first {MOST_LISTED}; --changed-since lists fewer.")]
    return [case_table(items), *(more if len(items) == MOST_LISTED else [])]


@app.command(epilog=EXIT_CODES)
def comment(
    key: KeyArgument,
    text: Annotated[str, typer.Argument(help="The comment; with --half, the reason for the suggestion.")],
    half: Annotated[
        str | None, typer.Option("--half", metavar="KEY", help="The half that you suggest, from 'otherhalf search'.")
    ] = None,
    database: DatabaseOption = None,
) -> None:
    """Comment on a case, or suggest a half for it; the ranking of that half is shown beside the suggestion.

    [bold]Example[/bold]

    \b
      otherhalf case comment KEY "same keys as in the drawing" --half maker:part
    """
    with reporting_errors(), acting(database) as writing:
        writing.carry_out(COMMENT_ON_CASE, form_of(CommentIn, {"text": text, "half": half}), key=key)
        with writing.catalogue.reading() as session:
            found = case_of(session, key, seer(writing.who))
    show(case_blocks(found))


@app.command(epilog=EXIT_CODES)
def accept(
    key: KeyArgument,
    half: Annotated[str, typer.Argument(metavar="HALF", help="Key of the right half, from 'otherhalf search'.")],
    reason: Annotated[str, typer.Option("--reason", help="Why it is this half; saved with the case.")] = "",
    suggestion: Annotated[
        str | None, typer.Option("--comment", metavar="KEY", help="The comment that suggested this half, if one did.")
    ] = None,
    confirm: Annotated[
        bool | None,
        typer.Option(
            "--confirm/--no-confirm",
            help="Whether the measurements become evidence about the half; by default, as far as possible.",
            show_default=False,
        ),
    ] = None,
    database: DatabaseOption = None,
) -> None:
    """Close a case: say which half it is.

    The measurements of the part become evidence about that half in the same
    step, as far as possible; what is left out is listed. Nobody can confirm
    values that they entered themselves.

    [bold]Example[/bold]

    \b
      otherhalf case accept KEY maker:part --reason "same keys in the drawing"
    """
    with reporting_errors(), acting(database) as writing:
        snapshot = writing.source.current()
        require_half(snapshot, half)
        given = {"half": half, "comment": suggestion, "reason": reason, "confirm": confirm}
        body = form_of(AcceptIn, {**given, "revision": revision_of(snapshot, half)})
        found = writing.carry_out(ACCEPT, body, record=SPECIMEN, key=key).result
    show(case_blocks(found))


@app.command(epilog=EXIT_CODES)
def withdraw(
    key: KeyArgument,
    reason: Annotated[str, typer.Option("--reason", help="Why; saved in the journal.")],
    database: DatabaseOption = None,
) -> None:
    """Withdraw a case: it leaves the list. People with its key can still read it."""
    with reporting_errors(), acting(database) as writing:
        body = form_of(ReasonIn, {"reason": reason})
        found = writing.carry_out(WITHDRAW_CASE, body, record=SPECIMEN, key=key).result
    show([plain(f"Withdrawn: {found.title}")])


@app.command(epilog=EXIT_CODES)
def refresh(database: DatabaseOption = None) -> None:
    """Rank all open cases again by the present catalogue, and list those whose answer changed.

    Cases that are up to date are skipped.
    """
    with reporting_errors(), opened(database) as catalogue:
        ranked = list(rank_again(catalogue, SnapshotSource(catalogue).current()))
    show(ranked_blocks(ranked))
