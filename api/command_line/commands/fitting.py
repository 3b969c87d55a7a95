"""``otherhalf inquiry``: what follows an identification."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.command_line.commands.common import DatabaseOption, JsonOption, print_json, reporting_errors, show, snapshot_of
from api.command_line.commands.identification import FileOption, PiecesArgument, request_of
from api.command_line.output.console import plain
from api.fitting.inquiry import inquiry as made_for
from api.schemas.requests import IdentifyRequest
from catalog.model.errors import FileError


def inquiry(
    pieces: PiecesArgument = None,
    file: FileOption = None,
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
    request, read = request_of(IdentifyRequest, pieces or [], file, {})
    with reporting_errors(pieces or [], len(request.observations) - read):
        made = made_for(snapshot_of(database), request)
        if drawing is not None:
            _write(drawing, made.drawing)
    if as_json:
        print_json(made)
    else:
        show([plain(line) for line in made.text.splitlines()])


def _write(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError as error:
        raise FileError("the file exists already", path=str(path), remedy="Choose another name") from error
    except OSError as error:
        remedy = "Choose a place that you can write to"
        raise FileError(error.strerror or str(error), path=str(path), remedy=remedy) from error
