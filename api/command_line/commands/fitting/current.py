"""``otherhalf current``."""

from __future__ import annotations

from typing import Annotated

import typer

from api.command_line.commands.common import (
    DatabaseOption,
    JsonOption,
    print_json,
    reporting_errors,
    show,
    snapshot_of,
)
from api.command_line.output.fitting import current_blocks
from api.fitting.current.current import current as carried
from api.observations.checking import form_of
from api.observations.error_places import moved_errors
from api.schemas.fitting.current import CurrentRequest

OPTIONS = {
    "half": "HALF",
    "mate": "--mate",
    "current_a": "--amps",
    "supply_contacts": "--supply",
    "return_contacts": "--return",
    "ambient_c": "--ambient",
}
"""Fields of a request, and what takes their place on the command line."""


def current(
    half: Annotated[str, typer.Argument(metavar="HALF", help="Key of the half.", show_default=False)],
    amps: Annotated[float, typer.Option("--amps", help="Current from the supply, A.", show_default=False)],
    supply: Annotated[int, typer.Option("--supply", help="Contacts in parallel for the supply.", show_default=False)],
    back: Annotated[int, typer.Option("--return", help="Contacts in parallel for the return.", show_default=False)],
    ambient: Annotated[
        float, typer.Option("--ambient", help="Temperature of the air around it, °C.", show_default=False)
    ],
    mate: Annotated[
        str | None, typer.Option("--mate", metavar="KEY", help="Key of its mate; else all its listed mates count.")
    ] = None,
    power: Annotated[bool, typer.Option("--power", help="The wide power contacts carry it.")] = False,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """Whether a half and its mate carry a current, by the ratings that are stated.

    Supply and return both count. A rating holds for the number of loaded
    contacts it was taken with; what it does not cover is not known.

    [bold]Example[/bold]

    \b
      otherhalf current ouzelby:mossipet-p40 --amps 0.8 --supply 4 --return 4 --ambient 40
    """
    given = {"half": half, "mate": mate, "current_a": amps, "supply_contacts": supply, "return_contacts": back}
    with reporting_errors(), moved_errors(OPTIONS):
        asked = form_of(CurrentRequest, {**given, "ambient_c": ambient, "power_contacts": power})
        answer = carried(snapshot_of(database), asked)
    if as_json:
        print_json(answer)
    else:
        show(list(current_blocks(answer)))
