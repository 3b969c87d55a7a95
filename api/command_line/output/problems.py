"""Problems in print: the offending piece, what is wrong with it, and what to write instead."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.console import indented, plain
from api.observations.short_form import PieceError
from api.schemas.problems import FieldProblem, Problem

_OBSERVATION = re.compile(r"observations\[(\d+)\]\.?(.*)", re.DOTALL)


def problem_lines(problem: Problem, pieces: Sequence[str] = (), first_piece: int = 0) -> Iterator[RenderableType]:
    """A problem document. ``pieces`` are the short forms that became observations from ``first_piece`` on."""
    yield Text(f"{problem.title}.", style="bold")
    if not problem.errors:
        yield plain(problem.detail)
    for error in problem.errors:
        yield from _error(error, pieces, first_piece)


def piece_lines(errors: Sequence[PieceError]) -> Iterator[RenderableType]:
    """Pieces of the short form that cannot be read, with the offending part marked."""
    yield Text("These observations cannot be read.", style="bold")
    for error in errors:
        yield plain(f"  {error.piece}")
        at = error.piece.find(error.part)
        if at >= 0:
            yield plain(f"  {' ' * at}{'^' * max(len(error.part), 1)}")
        yield indented(error.message, 4)
        yield indented(error.remedy, 4)


def _error(error: FieldProblem, pieces: Sequence[str], first_piece: int) -> Iterator[RenderableType]:
    match = _OBSERVATION.fullmatch(error.field)
    place = int(match[1]) - first_piece if match else -1
    if match and 0 <= place < len(pieces):
        yield plain(f"  {pieces[place]}")
        yield indented(f"{match[2]}: {error.message}" if match[2] else error.message, 4)
    else:
        yield indented(f"{error.field}: {error.message}" if error.field else error.message, 2)
    if error.remedy:
        yield indented(error.remedy, 4)
