"""An entry at one moment: its content, and whether it stands. The journal keeps it, before and after each change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from catalog.model.entries import ENTRY, AnyEntry, Entry, Half, Mating, Series, document

ENTRIES = ("series", "half", "mating")
"""The records that identification is made of; all others are documents."""

Place = tuple[str, str]
"""Record and key of an entry or a document."""

HALF_SUBSTANCE = (
    "half_kind",
    "rows",
    "contact_count",
    "positions",
    "row_contacts",
    "blocked",
    "dimensions",
    "counts",
    "categories",
)
MATING_SUBSTANCE = ("half", "other", "stack_height", "mated_width", "correspondence", "contact_map", "basis")
SERIES_SUBSTANCE = ("kinds", "stack", "stack_tolerance", "correspondence")

_SUBSTANCE: Mapping[type[Entry], tuple[str, ...]] = {
    Half: HALF_SUBSTANCE,
    Mating: MATING_SUBSTANCE,
    Series: SERIES_SUBSTANCE,
}


@dataclass(frozen=True, kw_only=True)
class Stood:
    """An entry as it stood. ``from_law``: its series' laws made it; ``stated`` False: a series that is only named.

    ``clean``: the machine review found nothing in it.
    """

    content: AnyEntry
    state: str = "listed"
    successor: str | None = None
    from_law: bool = False
    stated: bool = True
    clean: bool = False

    def written(self) -> dict[str, Any]:
        """As the journal keeps it; what is usual is left out."""
        kept: dict[str, Any] = {"content": document(self.content)}
        usual = Stood(content=self.content)
        for name in ("state", "successor", "from_law", "stated", "clean"):
            if getattr(self, name) != getattr(usual, name):
                kept[name] = getattr(self, name)
        return kept


def stood(kept: Mapping[str, Any]) -> Stood:
    """What `Stood.written` wrote."""
    return Stood(**{**kept, "content": ENTRY.validate_python(kept["content"])})


def substance(entry: AnyEntry) -> tuple[object, ...]:
    """What can be measured on the part: evidence speaks of it, and only as long as it is the same."""
    return tuple(getattr(entry, name) for name in _SUBSTANCE[type(entry)])
