"""The consoles of the command line, and tables in the one style that it uses."""

from __future__ import annotations

import io
import sys
from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

NARROWEST = 60
"""Columns below which tables are not squeezed further; the terminal wraps their lines then."""


def output() -> Console:
    """Where answers go. Nothing in them is taken for markup; NO_COLOR is respected."""
    return _console(stderr=False)


def errors() -> Console:
    """Where errors and progress go."""
    return _console(stderr=True)


def table(*headings: str, right: Sequence[str] = (), whole: Sequence[str] = ()) -> Table:
    """A table with a rule under its headings; ``right`` names columns of numbers, ``whole`` those never wrapped."""
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
    """A line of a list; what is wrapped stays under its own text."""
    made = Table.grid(padding=(0, 1, 0, 0))
    made.add_row("-", plain(text))
    return made


def plain(text: str) -> Text:
    """Text as it stands, never markup."""
    return Text(text, overflow="fold")


def _console(*, stderr: bool) -> Console:
    stream = sys.stderr if stderr else sys.stdout
    if isinstance(stream, io.TextIOWrapper):
        stream.reconfigure(errors="replace")  # a terminal without ± shows ? rather than stopping
    console = Console(stderr=stderr, highlight=False, markup=False, emoji=False)
    if console.width < NARROWEST:
        console.width = NARROWEST
    return console
