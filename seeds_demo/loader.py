"""Reads the packaged demo data and puts the demo catalogue into a database."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from pydantic import TypeAdapter

from catalog.db.database import Catalogue
from catalog.history.addition import AddReport, add
from catalog.model.entries import AnyEntry
from catalog.model.entry_parts import HalfKind

_ENTRY: TypeAdapter[AnyEntry] = TypeAdapter(AnyEntry)


@dataclass(frozen=True, kw_only=True)
class Variant:
    """A half that no entry lists: the key of its series, and which of its halves it would be."""

    series: str
    half_kind: HalfKind
    contact_count: int


@dataclass(frozen=True, kw_only=True)
class Expected:
    """The truth about a specimen: a listed half (by key), a variant that nobody lists, or neither: absent.

    ``tied`` are the keys of halves that nothing measured can tell from ``half``.
    """

    half: str | None = None
    tied: tuple[str, ...] = ()
    variant: Variant | None = None

    @property
    def absent(self) -> bool:
        """Whether neither the catalogue nor the laws of its series know the part."""
        return self.half is None and self.variant is None


@dataclass(frozen=True, kw_only=True)
class Specimen:
    """A connector on somebody's bench whose identity is known.

    Attributes
    ----------
    name, title, story: identifier, headline, and one line on where it comes from.
    observations: plain JSON data, in the form that ``/v1/identify`` takes.
    expected: the truth.
    slips: places in ``observations`` (from 0) of gross errors.
    remark: what makes it hard.
    """

    name: str
    title: str
    story: str
    observations: tuple[Mapping[str, Any], ...]
    expected: Expected
    slips: tuple[int, ...]
    remark: str


_SPECIMENS = TypeAdapter(list[Specimen])


def demo_entries() -> list[AnyEntry]:
    """All entries of the demo catalogue, in the order of the file; raises pydantic's ValidationError for a bad line."""
    return [_ENTRY.validate_json(line) for line in _text("catalogue.jsonl").splitlines()]


def demo_specimens() -> list[Specimen]:
    """All demo specimens, in the order of the file."""
    return _SPECIMENS.validate_python(json.loads(_text("specimens.json"))["specimens"])


def load_demo(catalogue: Catalogue) -> AddReport:
    """Add the demo catalogue in one transaction. Entries that are there already with the same content stay as they are.

    Raises
    ------
    catalog.model.errors.CatalogueError
        As `catalog.history.addition.add`; then nothing was added.
    """
    with catalogue.writing() as session:
        return add(session, demo_entries())


def _text(name: str) -> str:
    return (files("seeds_demo") / "data" / name).read_text(encoding="utf-8")
