"""``otherhalf mates``, ``order``, ``print`` and ``inquiry``: what follows an identification."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from api.command_line.commands.common import (
    DatabaseOption,
    JsonOption,
    object_of,
    print_json,
    reporting_errors,
    show,
    snapshot_of,
    write_new,
)
from api.command_line.commands.identification import FileOption, PiecesArgument, request_of
from api.command_line.output.console import plain
from api.command_line.output.fitting import needed_blocks
from api.drawing.geometry import DrawingError
from api.drawing.print_sheet import PAPERS
from api.fitting.inquiry import inquiry as made_for
from api.fitting.needed import needed
from api.fitting.order_note import note_pdf, order_note
from api.fitting.paper_check import pair_of, paper_check
from api.identification.nearest import require_half
from api.observations.checking import form_of
from api.observations.error_places import moved_errors
from api.schemas.fitting.inquiry import InquiryRequest
from api.schemas.fitting.needed import NeededRequest
from api.schemas.fitting.order_note import OrderNoteRequest
from catalog.model.errors import EntryError


def inquiry(
    pieces: PiecesArgument = None,
    file: FileOption = None,
    marks: Annotated[
        str | None,
        typer.Option("--marks", metavar="PATH", help="Points of a photo as JSON, as the photo page saves them."),
    ] = None,
    drawing: Annotated[
        Path | None, typer.Option("--drawing", metavar="FILE.svg", help="Write the drawing into this new file.")
    ] = None,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """Write an inquiry about a half that is not in the catalogue.

    It tells a maker, a distributor or a forum what was measured and how
    well, what the mate must be, and which halves it is not. Give the same
    observations as for 'otherhalf identify'. Nothing is sent or saved.

    [bold]Example[/bold]

    \b
      otherhalf inquiry contact_count=46 rows=2 pitch=9.86/22 --drawing half.svg
    """
    with reporting_errors():
        pictures = (
            object_of(marks, 'give an object: {"pictures": [...]}').get("pictures") if marks is not None else None
        )
    options = {} if pictures is None else {"pictures": pictures}
    request, read = request_of(InquiryRequest, pieces or [], file, options)
    with reporting_errors(pieces or [], len(request.observations) - read):
        made = made_for(snapshot_of(database), request, request.pictures)
        if drawing is not None:
            write_new(drawing, made.drawing)
    if as_json:
        print_json(made)
    else:
        show([plain(line) for line in made.text.splitlines()])


OPTIONS = {
    "halves": "KEY",
    "need": "--need",
    "gap": "--gap",
    "width_most": "--width",
    "length_most": "--length",
    "added": "--added",
}
"""Fields of a request, and what takes their place on the command line."""


def mates(
    keys: Annotated[list[str], typer.Argument(metavar="KEY…", help="Keys of the half, or of a shortlist.")],
    need: Annotated[
        str, typer.Option("--need", help="mate: goes onto it. same: it once more. both: for an extension or a tap.")
    ] = "mate",
    gap: Annotated[
        str | None, typer.Option("--gap", metavar="..MM", help="Room between the surfaces: ..1.2 or 1.0..1.2 mm.")
    ] = None,
    width: Annotated[float | None, typer.Option("--width", help="Room across the rows, mm.")] = None,
    length: Annotated[float | None, typer.Option("--length", help="Room along the rows, mm.")] = None,
    added: Annotated[
        list[str] | None,
        typer.Option("--added", metavar="NAME=MM", help="What else lies in the gap, at its thickest: flex=0.12."),
    ] = None,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """What is needed to connect to a half, and whether it goes into the room.

    The room is judged in the worst case over the tolerances: what fits only
    as a rule is called tight. Also what can take the half's own place, and
    what the mate must be where none is listed.

    [bold]Examples[/bold]

    \b
      otherhalf mates ouzelby:mossipet-p24 --gap ..1.2 --added flex=0.12
      otherhalf mates ouzelby:mossipet-p24 --need both --added board=0.8
    """
    given = {"halves": keys, "need": need, "gap": gap, "width_most": width, "length_most": length}
    with reporting_errors(), moved_errors(OPTIONS):
        body: dict[str, object] = {name: value for name, value in given.items() if value is not None}
        if gap is not None:
            body["gap"] = _gap(gap)
        answer = needed(snapshot_of(database), form_of(NeededRequest, body | {"added": _added(added or [])}))
    if as_json:
        print_json(answer)
    else:
        show(list(needed_blocks(answer)))


def _gap(text: str) -> dict[str, float]:
    """The limits of ``1.0..1.2``, either of which may be left out."""
    found = re.fullmatch(r"(?P<least>\d*\.?\d+)?\.\.(?P<most>\d*\.?\d+)?", text)
    if found is None or not any(found.groupdict().values()):
        raise EntryError(f"{text!r} is not a gap", field="--gap", value=text, remedy="Write ..1.2 or 1.0..1.2, in mm")
    return {name: float(limit) for name, limit in found.groupdict().items() if limit}


def _added(pieces: Sequence[str]) -> dict[str, float]:
    """Thicknesses by name."""
    found = {}
    for piece in pieces:
        name, _, thickness = piece.partition("=")
        try:
            found[name] = float(thickness)
        except ValueError as error:
            remedy = "Write a name and a thickness in mm, as in flex=0.12"
            raise EntryError(f"{piece!r} names no thickness", field="--added", value=piece, remedy=remedy) from error
    return found


ORDER_OPTIONS = {"half": "KEY", "mate": "--mate", "quantity": "--quantity", "tools": "--tools"}


def order(
    half: Annotated[str, typer.Argument(metavar="KEY", help="Key of the half that it is.")],
    pieces: PiecesArgument = None,
    mate: Annotated[
        str | None, typer.Option("--mate", metavar="KEY", help="Key of the mate to order; else the safest one.")
    ] = None,
    quantity: Annotated[int, typer.Option("--quantity", help="Pieces that are fitted.")] = 1,
    tools: Annotated[
        str | None,
        typer.Option(
            "--tools", metavar="NAMES", help="What you solder with: iron, hot_air, hot_plate, oven, microscope."
        ),
    ] = None,
    pdf: Annotated[
        Path | None, typer.Option("--pdf", metavar="FILE.pdf", help="Write it into this new file too.")
    ] = None,
    file: FileOption = None,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """Write an order note: what to order, what was not verified, how to fit it, and what to check when.

    Give the observations from which the half was identified, as for
    'otherhalf identify'; without them the note says that it rests on nothing.

    [bold]Example[/bold]

    \b
      otherhalf order ouzelby:mossipet-p24 contact_count=24 pitch=4.41/11 --tools hot_air,microscope --pdf note.pdf
    """
    have = None if tools is None else [name.strip() for name in tools.split(",") if name.strip()]
    given = {"half": half, "mate": mate, "quantity": quantity, "tools": have}
    options = {name: value for name, value in given.items() if value is not None}
    request, read = request_of(OrderNoteRequest, pieces or [], file, options)
    with reporting_errors(pieces or [], len(request.observations) - read), moved_errors(ORDER_OPTIONS):
        note = order_note(snapshot_of(database), request)
        if pdf is not None:
            write_new(pdf, note_pdf(note))
    if as_json:
        print_json(note)
    else:
        show([plain(line) for line in note.text.splitlines()])


def print_(
    keys: Annotated[list[str], typer.Argument(metavar="KEY…", help="Keys of the half, or of a shortlist.")],
    output: Annotated[Path, typer.Option("--output", metavar="FILE.pdf", help="The new file to write.")],
    paper: Annotated[str, typer.Option("--paper", help=" or ".join(PAPERS))] = "A4",
    database: DatabaseOption = None,
) -> None:
    """Write a PDF to hold a part against: halves at 1:1 and enlarged, each with its safest mate.

    Print it without scaling, and check the rulers both ways. The last sheet
    says what paper can and cannot show.

    [bold]Example[/bold]

    \b
      otherhalf print ouzelby:mossipet-p24 pipitholt:seeplet-p24 --output check.pdf
    """
    with reporting_errors():
        snapshot = snapshot_of(database)
        for key in keys:
            require_half(snapshot, key, "KEY")
        try:
            made = paper_check([pair_of(snapshot, snapshot.halves[key]) for key in keys], paper)
        except DrawingError as error:
            field = {"half": "KEY", "paper": "--paper"}.get(error.field, error.field)
            raise EntryError(error.message, field=field, value=error.value, remedy=error.remedy) from error
        write_new(output, made)
    show([plain(f"Written: {output}. Print it at 100 %, and check both rulers first.")])
