"""``otherhalf case``: parts that nobody has named yet, kept until somebody does."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Annotated

import typer
from pydantic import BaseModel
from rich.console import RenderableType
from sqlalchemy.orm import Session

from api.command_line.commands.common import EXIT_CODES, DatabaseOption, JsonOption, opened, show, told
from api.command_line.commands.files import object_of
from api.command_line.commands.identification import FileOption, PiecesArgument
from api.command_line.output.cases import case_blocks, case_table, ranked_blocks
from api.command_line.output.console import plain
from api.observations.checking import form_of
from api.observations.short_form import parse_pieces
from api.operations.case_ranking import checked_summary, judged_half, rank_again, require_half, revision_of
from api.operations.case_reading import case_of, evidence_in
from api.schemas.cases import CaseItem, CaseOut, CasePage, CommentIn, SpecimenIn, asked_of, case_item
from catalog.cases import lifecycle
from catalog.cases.retrieval import get_case, own_cases, public_cases, seer_of
from catalog.cases.specimens import Comment, Specimen
from catalog.db.database import Catalogue
from catalog.history.acts import OPERATOR, Act, operators
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
        listed = given.get("observations", [])
        typed = parse_pieces(pieces or [])
        options = {"title": title, "note": note, "visibility": "public" if public else None}
        asked = {**given, **{name: value for name, value in options.items() if value is not None}}
        asked["observations"] = [*listed, *typed] if isinstance(listed, list) else listed
        body = form_of(SpecimenIn, asked)
        with opened(database) as catalogue:
            specimen = body.specimen()
            summary, _ = checked_summary(SnapshotSource(catalogue).current(), asked_of(specimen))
            found = _written(
                catalogue,
                operators(),
                lambda session, act: lifecycle.save(session, act, specimen, summary, private=body.private).key,
            )
    show(case_blocks(found))
    show([plain(""), plain(f"Kept as {found.key}: 'otherhalf case show {found.key}'")])


def _written(catalogue: Catalogue, act: Act, work: Callable[[Session, Act], str]) -> CaseOut:
    """The case of the key that the work returns, as it is after the work."""
    with catalogue.writing() as session:
        return case_of(session, work(session, act), seer_of(act))


@app.command(name="show", epilog=EXIT_CODES)
def show_(key: KeyArgument, as_json: JsonOption = False, database: DatabaseOption = None) -> None:
    """Show a case: its answer, what others say, and how to rank it in full."""
    with told(), opened(database) as catalogue, catalogue.reading() as session:
        found = case_of(session, key, seer_of(operators()))
    if as_json:
        _print(found)
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
        _print(CasePage(items=items, next=None))
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
    with told(), opened(database) as catalogue:
        body = form_of(CommentIn, {"text": text, "half": half})
        snapshot = SnapshotSource(catalogue).current()
        act = operators()
        with catalogue.reading() as session:
            specimen = Specimen.model_validate(get_case(session, key, seer_of(act)).document.content)
        judged = None if body.half is None else judged_half(snapshot, asked_of(specimen), body.half)
        revision = None if body.half is None else revision_of(snapshot, body.half)
        said = Comment(specimen=key, text=body.text, half=body.half, revision=revision)

        def work(session: Session, act: Act) -> str:
            lifecycle.comment(session, act, get_case(session, key, seer_of(act)), said, judged)
            return key

        found = _written(catalogue, act, work)
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
    with told(), opened(database) as catalogue:
        snapshot = SnapshotSource(catalogue).current()
        require_half(snapshot, half)
        choice = lifecycle.Choice(
            half=half,
            listed=snapshot.halves[half].origin == "listed",
            reason=reason,
            comment=suggestion,
            confirm=confirm,
            revision=revision_of(snapshot, half),
        )

        def work(session: Session, act: Act) -> str:
            case = get_case(session, key, seer_of(act))
            lifecycle.accept(session, act, case, choice, lambda: evidence_in(case))
            return key

        found = _written(catalogue, operators(reason), work)
    show(case_blocks(found))


@app.command(epilog=EXIT_CODES)
def withdraw(
    key: KeyArgument,
    reason: Annotated[str, typer.Option("--reason", help="Why; it is kept.")],
    database: DatabaseOption = None,
) -> None:
    """Take a case off the list. It stays readable by its key, and in the journal."""

    def work(session: Session, act: Act) -> str:
        lifecycle.withdraw(session, act, get_case(session, key, seer_of(act)))
        return key

    with told(), opened(database) as catalogue:
        found = _written(catalogue, operators(reason), work)
    show([plain(f"Withdrawn: {found.title}")])


@app.command(epilog=EXIT_CODES)
def refresh(database: DatabaseOption = None) -> None:
    """Rank all open cases by what the catalogue knows now, and say whose answer changed.

    Cases that were ranked by the present version of the catalogue are passed over.
    """
    with told(), opened(database) as catalogue:
        ranked = list(rank_again(catalogue, SnapshotSource(catalogue).current()))
    show(ranked_blocks(ranked))


def _print(answer: BaseModel) -> None:
    sys.stdout.write(answer.model_dump_json(indent=2) + "\n")
