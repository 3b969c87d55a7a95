"""Entries of exchange files, for tests that do not need their place in the file."""

from __future__ import annotations

from pathlib import Path

from catalog.exchange import read_placed
from catalog.model.entries import AnyEntry


def read_entries(path: Path) -> list[AnyEntry]:
    """The entries of a file, or of a folder of tables."""
    return [placed.entry for placed in read_placed(path)]
