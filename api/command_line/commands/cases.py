"""``otherhalf case``: parts that nobody has named yet, kept until somebody does."""

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
    show,
    told,
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
"""Cases that are printed at once."""

REMEDY = 'give an object: {"title": …, "observations": [...]}'
"""What to do about a file that holds something else."""

app = typer.Typer(
    no_args_is_help=True,
    help="""Keep a part that the catalogue cannot name, and be told when it can.

    A case holds what was observed, as 'otherhalf identify' takes it.
    'refresh' ranks all open cases by what the catalogue knows now;
    a running server does so by itself. When it is clear which half it is,
    'accept' closes the case, and what was measured becomes evidence about it.

    \b
      otherhalf case save contact_count=24 pitch=4.41/11@caliper --title "reed bed recorder"
      otherhalf case list
      otherhalf case refresh
      otherhalf case accept KEY maker:part --reason "the drawing shows the same keys"
    """,
)

KeyArgument = Annotated[str, typer.Argument(metavar="KEY", help="The case's key, from 'save' or 'list'.")]


@app.command(epilog=EXIT_CODES)
def save(
    pieces: PiecesArgument = None,
    file: FileOption = None,
    title: Annotated[str | None, typer.Option("--title", help="What the part is from, in one line.")] = None,
    note: Annotated[str | None, typer.Option("--note", help="Whatever else may help.")] = None,
    public: Annotated[
        bool, typer.Option("--public", help="List it among the open cases; else only its key leads to it.")
    ] = False,
    database: DatabaseOption = None,
) -> None:
    """Open a case with what was observed, in the short form of 'otherhalf identify'.

    [bold]Examples[/bold]

    \b
      otherhalf case save contact_count=24 pitch=4.41/11@caliper body_length=6.52±0.03 --title "reed bed recorder"
      otherhalf case save --file specimen.json --title "from the marsh" --public
    """
    with told(pieces or []):
        given = object_of(file, REMEDY) if file is not None else {}
        asked, _ = with_typed(given, "observations", parse_pieces(pieces or []))
        options = {"title": title, "note": note, "visibility": "public" if public else None}
        asked |= {name: value for name, value in options.items() if value is not None}
        body = form_of(SpecimenIn, asked)
        with acting(database) as writing:
            found = writing.carry_out(SAVE_CASE, body).result
    show(case_blocks(found))
    show([plain(""), plain(f"Kept as {found.key}: 'otherhalf case show {found.key}'")])


@app.command(name="show", epilog=EXIT_CODES)
def show_(key: KeyArgument, as_json: JsonOption = False, database: DatabaseOption = None) -> None:
    """Show a case: its answer, what others say, and how to rank it in full."""
    with told(), opened(database) as catalogue, catalogue.reading() as session:
        found = case_of(session, key, seer(THE_OPERATOR))
    if as_json:
        print_json(found)
    else:
        show(case_blocks(found))


@app.command("list", epilog=EXIT_CODES)
def list_(
    changed_since: Annotated[
        str | None,
        typer.Option("--changed-since", metavar="DATE", help="Only those whose answer changed then or later."),
    ] = None,
    own: Annotated[
        bool, typer.Option("--own", help="All that were saved on this command line: private and closed ones too.")
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
        raise typer.BadParameter("--own lists all of one's own: leave out --changed-since")
    with told(), opened(database) as catalogue, catalogue.reading() as session:
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
    more = [plain(f"The first {MOST_LISTED}; ask for those that changed with --changed-since.")]
    return [case_table(items), *(more if len(items) == MOST_LISTED else [])]


@app.command(epilog=EXIT_CODES)
def comment(
    key: KeyArgument,
    text: Annotated[str, typer.Argument(help="What you have to say; for a suggestion the reason.")],
    half: Annotated[
        str | None, typer.Option("--half", metavar="KEY", help="The half that you suggest, from 'otherhalf search'.")
    ] = None,
    database: DatabaseOption = None,
) -> None:
    """Say something to a case, or suggest a half, which the ranking then judges.

    [bold]Example[/bold]

    \b
      otherhalf case comment KEY "same keys as in the drawing" --half maker:part
    """
    with told(), acting(database) as writing:
        writing.carry_out(COMMENT_ON_CASE, form_of(CommentIn, {"text": text, "half": half}), key=key)
        with writing.catalogue.reading() as session:
            found = case_of(session, key, seer(writing.who))
    show(case_blocks(found))


@app.command(epilog=EXIT_CODES)
def accept(
    key: KeyArgument,
    half: Annotated[str, typer.Argument(metavar="HALF", help="Key of the half that it is, from 'otherhalf search'.")],
    reason: Annotated[str, typer.Option("--reason", help="Why it is this one; it is kept.")] = "",
    suggestion: Annotated[
        str | None, typer.Option("--comment", metavar="KEY", help="The suggestion that is accepted, if it is one.")
    ] = None,
    confirm: Annotated[
        bool | None,
        typer.Option(
            "--confirm/--no-confirm",
            help="Whether the measurements become evidence about the half; left out: where they can.",
            show_default=False,
        ),
    ] = None,
    database: DatabaseOption = None,
) -> None:
    """Close a case with the half that it turned out to be.

    What was measured of the part becomes evidence about that half in the
    same step, as far as it can; what is left out is told. Nobody's
    measurements confirm figures that they gave themselves.

    [bold]Example[/bold]

    \b
      otherhalf case accept KEY maker:part --reason "the drawing shows the same keys"
    """
    with told(), acting(database) as writing:
        snapshot = writing.source.current()
        require_half(snapshot, half)
        given = {"half": half, "comment": suggestion, "reason": reason, "confirm": confirm}
        body = form_of(AcceptIn, {**given, "revision": revision_of(snapshot, half)})
        found = writing.carry_out(ACCEPT, body, record=SPECIMEN, key=key).result
    show(case_blocks(found))


@app.command(epilog=EXIT_CODES)
def withdraw(
    key: KeyArgument,
    reason: Annotated[str, typer.Option("--reason", help="Why; it is kept.")],
    database: DatabaseOption = None,
) -> None:
    """Take a case off the list. It stays readable by its key, and in the journal."""

    with told(), acting(database) as writing:
        body = form_of(ReasonIn, {"reason": reason})
        found = writing.carry_out(WITHDRAW_CASE, body, record=SPECIMEN, key=key).result
    show([plain(f"Withdrawn: {found.title}")])


@app.command(epilog=EXIT_CODES)
def refresh(database: DatabaseOption = None) -> None:
    """Rank all open cases by what the catalogue knows now, and say whose answer changed.

    Cases that were ranked by the present version of the catalogue are passed over.
    """
    with told(), opened(database) as catalogue:
        ranked = list(rank_again(catalogue, SnapshotSource(catalogue).current()))
    show(ranked_blocks(ranked))
