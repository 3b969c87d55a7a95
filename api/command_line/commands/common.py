"""What all commands share: exit codes, options, the open catalogue, and errors told in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from enum import IntEnum
from typing import Annotated

import typer
from rich.console import RenderableType

from api.command_line.output.console import errors, output
from api.command_line.output.problems import piece_lines, problem_lines
from api.observations.short_form import ShortFormError
from api.service.problems import ApiError, problem_of
from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.db.database import Catalogue, open_catalogue
from catalog.model.errors import (
    CatalogueError,
    DuplicateError,
    EntryError,
    FileError,
    FileRefusedError,
    ForbiddenError,
    NotFoundError,
    OwnEvidenceError,
    SuspendedError,
    UnauthorisedError,
)
from catalog.snapshot.snapshot import Snapshot, take_snapshot
from matcher.errors import ObservationError, ObservationErrors, UnknownHalfError


class ExitCode(IntEnum):
    """How a command ends."""

    ANSWERED = 0
    BROKEN = 1
    BAD_INPUT = 2
    NO_MATCH = 3
    CATALOGUE = 4


EXIT_CODES = (
    "[bold]Exit codes[/bold]: 0 answered (identified, or a shortlist), 2 bad input, 3 no match or nothing found, "
    "4 the catalogue cannot be used, 1 anything else."
)

OF_INPUT = (
    ApiError,
    ObservationError,
    ObservationErrors,
    UnknownHalfError,
    DuplicateError,
    EntryError,
    FileError,
    FileRefusedError,
    ForbiddenError,
    NotFoundError,
    OwnEvidenceError,
    ReviewRefusedError,
    SuspendedError,
    UnauthorisedError,
)
"""Errors that the person who typed can mend."""

DatabaseOption = Annotated[
    str | None,
    typer.Option(
        "--database",
        metavar="URL",
        help="The catalogue's database; else OTHERHALF_DATABASE, else one of your own in your data folder.",
        show_default=False,
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print exactly what the JSON interface answers.")]


@contextmanager
def told(pieces: Sequence[str] = (), first_piece: int = 0) -> Iterator[None]:
    """Tell errors in words on the error stream and end with their exit code; ``pieces`` as in `problem_lines`."""
    try:
        yield
    except ShortFormError as error:
        show(piece_lines(error.errors), to_errors=True)
        raise typer.Exit(ExitCode.BAD_INPUT) from error
    except OF_INPUT as error:
        show(problem_lines(problem_of(error), pieces, first_piece), to_errors=True)
        raise typer.Exit(ExitCode.BAD_INPUT) from error
    except CatalogueError as error:
        show(problem_lines(problem_of(error)), to_errors=True)
        raise typer.Exit(ExitCode.CATALOGUE) from error


@contextmanager
def opened(database: str | None) -> Iterator[Catalogue]:
    """The catalogue, closed afterwards; an empty database gets its tables."""
    catalogue = open_catalogue(database)
    try:
        yield catalogue
    finally:
        catalogue.close()


def snapshot_of(database: str | None) -> Snapshot:
    """The catalogue's present state."""
    with opened(database) as catalogue, catalogue.reading() as session:
        return take_snapshot(session)


def show(blocks: Iterator[RenderableType] | Sequence[RenderableType], *, to_errors: bool = False) -> None:
    """Print blocks one below the other."""
    console = errors() if to_errors else output()
    for block in blocks:
        console.print(block)
