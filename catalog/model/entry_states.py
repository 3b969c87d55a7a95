"""The state of an entry at one moment. The journal keeps it before and after each change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields
from typing import Any

from catalog.model.entries import ENTRY, AnyEntry, Half, Mating, Series, document
from catalog.model.entry_parts import Entry

ENTRIES = ("series", "half", "mating")
"""The kinds of entries; all other records are documents."""

Place = tuple[str, str]
"""Record and key of an entry or a document."""

_SUBSTANCE: Mapping[type[Entry], tuple[str, ...]] = {
    Half: (
        "half_kind",
        "rows",
        "contact_count",
        "positions",
        "row_contacts",
        "blocked",
        "numbering",
        "dimensions",
        "counts",
        "categories",
    ),
    Mating: ("half", "other", "stack_height", "mated_width", "correspondence", "contact_map", "basis"),
    Series: ("kinds", "stack", "stack_tolerance", "correspondence"),
}
"""The fields of each kind of entry that can be measured."""


@dataclass(frozen=True, kw_only=True)
class EntryState:
    """The state of an entry.

    ``state`` is listed, withdrawn or merged (into ``successor``). ``from_law``: it was made by the laws of its series.
    ``stated`` False: this series is not described; only its halves name it. ``clean``: the machine review found nothing
    wrong.
    """

    content: AnyEntry
    state: str = "listed"
    successor: str | None = None
    from_law: bool = False
    stated: bool = True
    clean: bool = False

    def written(self) -> dict[str, Any]:
        """The form in the journal; default values are left out."""
        flags = {each.name: getattr(self, each.name) for each in fields(self) if each.default is not MISSING}
        defaults = vars(EntryState(content=self.content))
        return {"content": document(self.content)} | {
            name: flag for name, flag in flags.items() if flag != defaults[name]
        }


def entry_state(written: Mapping[str, Any]) -> EntryState:
    """The state that `EntryState.written` wrote."""
    return EntryState(**{**written, "content": ENTRY.validate_python(written["content"])})


def substance(entry: AnyEntry) -> tuple[object, ...]:
    """The values of all fields that can be measured. Evidence about an entry counts as long as they stay the same."""
    return tuple(getattr(entry, name) for name in _SUBSTANCE[type(entry)])
