"""Catalogues as SQLite files, each made once per test process; a test that writes works on a copy."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from catalog.db.database import Catalogue, open_catalogue
from seeds_demo.loader import load_demo


@cache
def empty() -> bytes:
    """A catalogue without entries, as the migrations leave it."""
    return made(lambda catalogue: None, start=b"")


@cache
def demo() -> bytes:
    """The demo catalogue."""
    return made(load_demo, start=empty())


def made(fill: Callable[[Catalogue], object], *, start: bytes) -> bytes:
    """The file made by filling a copy of ``start``."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "catalogue.sqlite3"
        with open_catalogue(placed(path, start)) as catalogue:
            fill(catalogue)
        assert [each.name for each in path.parent.iterdir()] == [path.name], "a log file was left beside it"
        return path.read_bytes()


def placed(path: Path, content: bytes) -> str:
    """Write a catalogue's file; returns its address."""
    path.write_bytes(content)
    return f"sqlite:///{path}"
