"""``otherhalf lands``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.command_line.commands.common import STANDARD, DatabaseOption, opened, reporting_errors, show, write_new
from api.command_line.output.answers import caution_lines
from api.command_line.output.console import notes, plain
from api.fitting.lands.land_files import SUFFIXES, kicad_mod, svg
from api.fitting.lands.lands import answer_of, lands_of
from catalog.model.errors import FileError


def lands(
    half: Annotated[str, typer.Argument(metavar="HALF", help="Key of the half.", show_default=False)],
    output: Annotated[
        str, typer.Option("--output", "-o", metavar="FILE", help="A new .kicad_mod or .svg; - prints .kicad_mod.")
    ],
    dummy: Annotated[
        bool, typer.Option("--dummy", help="Where they are not known: calculated ones, for a dummy only.")
    ] = False,
    database: DatabaseOption = None,
) -> None:
    """Write the lands of a half: an open footprint file, or a picture to print at 1:1.

    They come from the footprint file that was imported. Source and licence
    stand in what is written. Calculated lands are for a dummy only.

    [bold]Example[/bold]

    \b
      otherhalf lands maker:part-number --output part.kicad_mod
    """
    with reporting_errors():
        _check_suffix(output)
        with opened(database) as catalogue, catalogue.reading() as session:
            record, pattern = lands_of(session, half, dummy=dummy)
        write = svg if output.endswith(".svg") else kicad_mod
        text = write(pattern, record.half.part_number)
        if output == STANDARD:
            typer.echo(text, nl=False)
            return
        write_new(Path(output), text)
    answer = answer_of(record, pattern)
    show([plain(f"written to {output}"), *notes("About these lands", answer.told), *caution_lines(answer.cautions)])


def _check_suffix(output: str) -> None:
    if output != STANDARD and not output.endswith(SUFFIXES):
        raise FileError("this is no form of lands", path=output, remedy=f"End the name in {' or '.join(SUFFIXES)}")
