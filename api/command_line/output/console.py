"""The terminal: its streams, tables and plain lines, and printed problems."""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Iterator, Sequence

from rich import box
from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from api.observations.short_form import PieceError
from api.schemas.problems import FieldProblem, Problem

NARROWEST = 60
"""Least width of tables, in columns; a narrower terminal wraps their lines."""


def output() -> Console:
    """The console for answers. Nothing in them is treated as markup; NO_COLOR is respected."""
    return _console(stderr=False)


def errors() -> Console:
    """The console for errors and progress."""
    return _console(stderr=True)


def table(*headings: str, right: Sequence[str] = (), whole: Sequence[str] = ()) -> Table:
    """A table with a rule under its headings; ``right`` names columns of numbers, ``whole`` columns never wrapped."""
    made = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0), show_edge=False, header_style="bold")
    for heading in headings:
        numbers = heading in right
        made.add_column(
            Text(heading), justify="right" if numbers else "left", no_wrap=numbers or heading in whole, overflow="fold"
        )
    return made


def indented(text: str, by: int) -> Padding:
    """Text whose lines all start ``by`` columns in."""
    return Padding(plain(text), (0, 0, 0, by), expand=False)


def bullet(text: str) -> Table:
    """An item of a list; wrapped lines are indented."""
    made = Table.grid(padding=(0, 1, 0, 0))
    made.add_row("-", plain(text))
    return made


def notes(heading: str, lines: Sequence[str]) -> Iterator[RenderableType]:
    """A list below its heading; nothing if there are no lines."""
    if lines:
        yield plain("")
        yield Text(heading, style="bold")
        yield from (bullet(line) for line in lines)


def plain(text: str) -> Text:
    """Plain text without markup."""
    return Text(text, overflow="fold")


def _console(*, stderr: bool) -> Console:
    stream = sys.stderr if stderr else sys.stdout
    if isinstance(stream, io.TextIOWrapper):
        stream.reconfigure(errors="replace")  # a terminal without ± shows ? instead of failing
    console = Console(stderr=stderr, highlight=False, markup=False, emoji=False)
    if console.width < NARROWEST:
        console.width = NARROWEST
    return console


_OBSERVATION = re.compile(r"observations\[(\d+)\]\.?(.*)", re.DOTALL)


def problem_lines(problem: Problem, pieces: Sequence[str] = (), first_piece: int = 0) -> Iterator[RenderableType]:
    """A problem document. ``pieces`` are the short forms of the observations from number ``first_piece`` on."""
    yield Text(f"{problem.title}.", style="bold")
    if not problem.errors:
        yield plain(problem.detail)
    for error in problem.errors:
        yield from _error(error, pieces, first_piece)


def piece_lines(errors: Sequence[PieceError]) -> Iterator[RenderableType]:
    """Pieces of the short form that cannot be read, with the wrong part marked."""
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
