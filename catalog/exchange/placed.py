"""An entry with the place in a file that it came from."""

from __future__ import annotations

from dataclasses import dataclass

from catalog.model.entries import AnyEntry


@dataclass(frozen=True, kw_only=True)
class Placed:
    """An entry, and the line (from 1) of the file where it begins."""

    entry: AnyEntry
    path: str
    line: int
