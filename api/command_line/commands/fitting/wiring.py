"""``otherhalf wiring``: which contact of a mate has which net."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from api.command_line.commands.common import (
    STANDARD,
    DatabaseOption,
    ExitCode,
    JsonOption,
    bytes_of,
    opened,
    print_json,
    reporting_errors,
    show,
    write_new,
)
from api.command_line.output.wiring import wiring_blocks
from api.fitting.wiring.contact_map import contact_map
from api.fitting.wiring.map_drawing import views_svg
from api.fitting.wiring.map_table import csv_of
from api.fitting.wiring.nets import read_nets
from api.observations.checking import form_of
from api.schemas.fitting.contact_map import BoardSide, ContactMapAnswer, ContactMapRequest, Fold
from api.service.problems import ApiError
from api.service.settings import MAX_BODY_BYTES
from catalog.model.numbering import Side

ENDINGS = (".csv", ".json", ".svg")


def wiring(
    half: Annotated[str, typer.Argument(metavar="HALF", help="Key of the half that you traced.", show_default=False)],
    mate: Annotated[
        str | None, typer.Argument(metavar="[MATE]", help="Key of the half that mates with it.", show_default=False)
    ] = None,
    nets: Annotated[
        str | None,
        typer.Option(
            "--nets",
            metavar="FILE",
            help="What its contacts carry: a table with the columns contact, net, role, reading, note, or JSON; "
            "- reads standard input.",
        ),
    ] = None,
    seen_from: Annotated[
        Side, typer.Option("--seen-from", help="The side from which contacts named row/position were counted.")
    ] = "mating_face",
    mate_on: Annotated[
        BoardSide, typer.Option("--mate-on", help="The side of its board on which the mate stands.")
    ] = "top",
    fold: Annotated[Fold, typer.Option("--fold", help="How the mate's flex is folded over.")] = "none",
    mating: Annotated[
        str | None, typer.Option("--mating", metavar="KEY", help="Which mating, where sources disagree.")
    ] = None,
    to: Annotated[
        list[Path] | None,
        typer.Option("--to", metavar="FILE", help="Write a new .csv, .json or .svg file; repeat for more."),
    ] = None,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """Show which contact of the mate has which net, from what you found at the contacts of a half.

    Contacts are named by the half's numbering (12, P1) or by place as you see them: 2/5 is
    the second row from above, the fifth position from the left. Every view says which side
    it shows; the board side is the mirror of the mating face.

    [bold]Example[/bold]

    \b
      otherhalf wiring ouzelby:mossipet-p24 ouzelby:mossipet-r24 --nets traced.csv --to map.svg
    """
    with reporting_errors():
        given: dict[str, Any] = {"half": half, "mate": mate, "mating": mating, "seen_from": seen_from}
        given |= {"mate_on": mate_on, "fold": fold, "contacts": [] if nets is None else _read(nets)}
        request = form_of(ContactMapRequest, given)
        _check_endings(to or [])
        with opened(database) as catalogue, catalogue.reading() as session:
            found = contact_map(session, request)
        for path in to or ():
            _write(path, found)
    if as_json:
        print_json(found)
    elif not to:
        show(wiring_blocks(found))
    else:
        show(wiring_blocks(found, tables=False))
    raise typer.Exit(ExitCode.ANSWERED)


def _read(file: str) -> list[dict[str, Any]]:
    text = bytes_of(file, MAX_BODY_BYTES, "--nets").decode("utf-8", errors="replace")
    return read_nets(text, "--nets" if file == STANDARD else file)


def _check_endings(paths: list[Path]) -> None:
    for path in paths:
        if path.suffix not in ENDINGS:
            raise ApiError.at("--to", "this ending is not known", f"use one of {', '.join(ENDINGS)}", value=str(path))


def _write(path: Path, found: ContactMapAnswer) -> None:
    texts = {".csv": csv_of, ".json": lambda answer: answer.model_dump_json(indent=2) + "\n", ".svg": _svg}
    write_new(path, texts[path.suffix](found))


def _svg(found: ContactMapAnswer) -> str:
    if not found.views:
        raise ApiError.at("--to", "there is no view to draw", "no half of the map states its numbering; use .csv")
    return views_svg(found.views, "map")
