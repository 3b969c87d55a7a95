"""What the commands share: exit codes, options, the open catalogue, reading files, and printing errors."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from enum import IntEnum
from pathlib import Path
from typing import Annotated, Any

import typer
from pydantic import BaseModel
from rich.console import RenderableType

from api.command_line.output.console import errors, output, piece_lines, problem_lines
from api.command_line.output.records import finding_lines
from api.observations.short_form import ShortFormError
from api.operations.transaction import Writing
from api.service.problem_types import PROBLEMS
from api.service.problems import KIND_OF_ERROR, ApiError, problem_of
from api.service.settings import MAX_BODY_BYTES
from catalog.accounts import contributors
from catalog.accounts.access import THE_OPERATOR, Scope, State, Who
from catalog.accounts.contributors import Contributor
from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.db.database import Catalogue, open_catalogue
from catalog.evidence.standing import EntryRecord
from catalog.model.errors import CatalogueError, EntryError, FileError
from catalog.snapshot.snapshot import Snapshot, SnapshotSource, take_snapshot


class ExitCode(IntEnum):
    """How a command ends."""

    ANSWERED = 0
    BROKEN = 1
    BAD_INPUT = 2
    NO_MATCH = 3
    CATALOGUE = 4


SERVER_ERRORS = 500
"""HTTP statuses from here on are not the sender's fault (RFC 9110, 15.6)."""

EXIT_CODES = (
    "[bold]Exit codes[/bold]: 0 success, 2 bad input, 3 no match or nothing found, 4 the catalogue cannot be used, "
    "1 anything else."
)

OF_INPUT: tuple[type[Exception], ...] = (
    ApiError,
    *(kind for kind, name in KIND_OF_ERROR if PROBLEMS[name].status < SERVER_ERRORS),
)
"""Errors that the user can correct."""

AcknowledgeOption = Annotated[
    list[str] | None,
    typer.Option(
        "--acknowledge", metavar="CODE=REASON", help="Why a severe finding is correct as it is; repeat for more."
    ),
]
OfOption = Annotated[EntryRecord, typer.Option("--of", help="What the key names.")]
DatabaseOption = Annotated[
    str | None,
    typer.Option(
        "--database",
        metavar="URL",
        help="The catalogue's database; by default OTHERHALF_DATABASE, or else a file in your data folder.",
        show_default=False,
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print exactly what the JSON interface answers.")]


@contextmanager
def reporting_errors(pieces: Sequence[str] = (), first_piece: int = 0) -> Iterator[None]:
    """Print errors to the error stream and exit with their exit code; ``pieces`` as in `problem_lines`."""
    try:
        yield
    except ShortFormError as error:
        show(piece_lines(error.errors), to_errors=True)
        raise typer.Exit(ExitCode.BAD_INPUT) from error
    except OF_INPUT as error:
        if isinstance(error, ReviewRefusedError):
            show(list(finding_lines(error.findings, error.unacknowledged)), to_errors=True)
        show(problem_lines(problem_of(error), pieces, first_piece), to_errors=True)
        raise typer.Exit(ExitCode.BAD_INPUT) from error
    except CatalogueError as error:
        show(problem_lines(problem_of(error)), to_errors=True)
        raise typer.Exit(ExitCode.CATALOGUE) from error


@contextmanager
def acting(database: str | None, name: str | None = None) -> Iterator[Writing]:
    """The catalogue for a change, by the operator or in the name of a contributor.

    Raises NotFoundError for an unknown name.
    """
    with opened(database) as catalogue:
        who = THE_OPERATOR
        if name is not None:
            with catalogue.reading() as session:
                who = _in_name_of(contributors.get(session, name))
        yield Writing(catalogue=catalogue, source=SnapshotSource(catalogue), who=who)


def _in_name_of(person: Contributor) -> Who:
    suspended = person.suspended_at is not None
    return Who(
        role=person.role,
        name=person.name,
        scopes=frozenset(Scope),
        state=State.SUSPENDED if suspended else State.ACTIVE,
        told=f"since {person.suspended_at}, {person.suspended_for}" if suspended else "",
    )


def acknowledgements(given: Sequence[str] | None) -> dict[str, str]:
    """Reasons for severe findings by code, from ``CODE=REASON``. Raises EntryError for a missing reason."""
    found = {}
    for each in given or ():
        code, equals, why = each.partition("=")
        if not equals:
            raise EntryError(
                "an acknowledgement has no reason",
                field="--acknowledge",
                value=each,
                remedy="Write code=reason, with the code that the finding names",
            )
        found[code.strip()] = why.strip()
    return found


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


def print_json(answer: BaseModel) -> None:
    """Print an answer as the JSON interface sends it."""
    sys.stdout.write(answer.model_dump_json(indent=2) + "\n")


STANDARD = "-"
"""The file name that means standard input or output."""


def check_exists(path: Path) -> None:
    """Raise FileError where nothing is at a path."""
    if not path.exists():
        raise FileError("there is no such file or folder", path=str(path), remedy="Check the path")


def write_new(path: Path, content: str | bytes, remedy: str = "Choose another name") -> None:
    """Write a file that is not there yet; raises FileError, with this ``remedy`` where it exists already."""
    try:
        with path.open("xb") as stream:
            stream.write(content if isinstance(content, bytes) else content.encode("utf-8"))
    except FileExistsError as error:
        raise FileError("the file exists already", path=str(path), remedy=remedy) from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise FileError(reason, path=str(path), remedy="Choose a place that you can write to") from error


def bytes_of(file: str, max_bytes: int, field: str) -> bytes:
    """The whole file; raises ApiError, at ``field``, where it cannot be read or is larger than ``max_bytes``."""
    try:
        if file == STANDARD:
            content = sys.stdin.buffer.read(max_bytes + 1)
        else:
            with Path(file).open("rb") as stream:
                content = stream.read(max_bytes + 1)
    except OSError as error:
        why = error.strerror or str(error)
        raise ApiError.at(field, why, "name a file that can be read", value=file) from error
    if len(content) > max_bytes:
        raise ApiError("body-too-large", f"{file} is larger than {max_bytes} bytes")
    return content


def with_typed(given: Mapping[str, Any], name: str, typed: Sequence[Any]) -> tuple[dict[str, Any], int]:
    """A file's content, with what was typed added to its list ``name``; and how many items the file's list has.

    If the file has something other than a list there, it stays, so that it is refused later.
    """
    listed = given.get(name, [])
    if not isinstance(listed, list):
        return dict(given), 0
    return {**given, name: [*listed, *typed]}, len(listed)


def object_of(file: str, remedy: str) -> dict[str, Any]:
    """The JSON object in a file; raises ApiError with ``remedy`` if the file holds anything else."""
    text = bytes_of(file, MAX_BODY_BYTES, "--file").decode("utf-8", errors="replace")
    try:
        given = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise ApiError("malformed-json", f"{file}: {error}") from error
    if not isinstance(given, dict):
        raise ApiError.at(file, "the file holds no JSON object", remedy)
    return given
