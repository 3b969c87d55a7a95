"""The command ``otherhalf``."""

from __future__ import annotations

import gc
from typing import Annotated

import typer

from api.command_line.commands import (
    cases,
    catalogue,
    contribute,
    demo,
    drawing,
    evidence,
    history,
    identification,
    measure,
    people,
    serve,
)
from api.command_line.commands.common import EXIT_CODES
from api.command_line.commands.fitting import current, lands, ordering, wiring
from api.service.dependencies import program_version
from api.service.settings import KEPT_OBJECTS

app = typer.Typer(
    name="otherhalf",
    no_args_is_help=True,
    rich_markup_mode="rich",
    pretty_exceptions_show_locals=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"otherhalf {program_version()}")
        raise typer.Exit


@app.callback(epilog=EXIT_CODES)
def otherhalf(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and exit.")
    ] = False,
) -> None:
    """Find the other half of an unmarked board-to-board connector from what can be measured on it.

    [bold]Start here[/bold]

    \b
      otherhalf demo                         see it work on invented parts
      otherhalf import ~/footprints          fill your own catalogue
      otherhalf identify pins=24 pitch=4.41/11 body_length=6.52
      otherhalf measure plug.png --row 40,212,1180,215    count contacts in a photo
      otherhalf features                     what you can measure, and how
    """


app.command(epilog=EXIT_CODES)(identification.identify)
app.command(epilog=EXIT_CODES)(identification.explain)
app.command(epilog=EXIT_CODES)(measure.measure)
app.command(epilog=EXIT_CODES)(current.current)
app.command(epilog=EXIT_CODES)(wiring.wiring)
app.command(epilog=EXIT_CODES)(lands.lands)
app.command()(identification.features)
app.command(epilog=EXIT_CODES)(ordering.mates)
app.command(epilog=EXIT_CODES)(ordering.order)
app.command("print", epilog=EXIT_CODES)(ordering.print_)
app.command(epilog=EXIT_CODES)(ordering.inquiry)
app.command(epilog=EXIT_CODES)(catalogue.search)
app.command("import", epilog=EXIT_CODES)(catalogue.import_)
app.command("table", epilog=EXIT_CODES)(drawing.table_of_drawing)
app.command(epilog=EXIT_CODES)(catalogue.export)
app.command(epilog=EXIT_CODES)(evidence.evidence)
app.command(epilog=EXIT_CODES)(evidence.confirm)
app.command(epilog=EXIT_CODES)(evidence.dispute)
app.command(epilog=EXIT_CODES)(evidence.sight)
app.command(epilog=EXIT_CODES)(catalogue.publish)
app.command(epilog=EXIT_CODES)(catalogue.merge)
app.command(epilog=EXIT_CODES)(catalogue.upgrade)
app.add_typer(cases.app, name="case")
app.command(epilog=EXIT_CODES)(contribute.add)
app.command(epilog=EXIT_CODES)(contribute.review)
app.command(epilog=EXIT_CODES)(history.history)
app.command(epilog=EXIT_CODES)(history.journal)
app.add_typer(history.waiting, name="pending")
app.add_typer(people.contributor, name="contributor")
app.add_typer(people.token, name="token")
app.command()(serve.serve)
app.command()(demo.demo)


def main() -> None:
    """Run the command line."""
    gc.set_threshold(KEPT_OBJECTS)
    app()
