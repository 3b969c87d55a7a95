"""Invented evidence for the catalogue's tests: people of the bird-song recorders' workshop and their statements."""

from __future__ import annotations

from typing import Any

from catalog.evidence.assessment import Assessed, Said
from catalog.evidence.statements import Confirmation, Dispute, Sighting
from catalog.model.entries import Half, Mating, Series

AUTHOR, IDA, PER, MIA = "Wren Olsen", "Ida Finch", "Per Crake", "Mia Dunn"
CITATION = {"title": "SK leaflet", "revision": "B", "page": "3"}
WHEN = "2026-11-25T12:00:00.000000Z"


def half(dimensions: dict[str, Any] | None = None, **changes: Any) -> Half:
    """A receptacle with pitch 0.5 ± 0.02, body length 6.5 ± 0.1 and at most 1.0 high."""
    stated = {
        "pitch": {"value": 0.5, "tolerance": 0.02},
        "body_length": {"value": 6.5, "tolerance": 0.1},
        "height": {"value": 1.0, "bound": "max"},
    }
    described = {
        "maker": "Siskin Works",
        "series": "SK",
        "part_number": "SK-20",
        "half_kind": "receptacle",
        "rows": 2,
        "contact_count": 20,
        "dimensions": stated if dimensions is None else dimensions,
        "categories": {
            "latch_style": ["none_visible", "click_felt"],
            "keying": ["corner_chamfer", "offset_rib"],
            "mounting": ["surface_mount"],
        },
    }
    return Half.model_validate(described | changes)


def mating(**changes: Any) -> Mating:
    """A mating of that half, stack height 1.5 ± 0.1."""
    described = {
        "half": "siskin-works:sk-20",
        "other": "siskin-works:sk-20p",
        "stack_height": {"value": 1.5, "tolerance": 0.1},
        "basis": "maker",
    }
    return Mating.model_validate(described | changes)


def assessed(content: Half | Mating | Series, **changes: Any) -> Assessed:
    """The entry at its first revision, by its author, with a clean review."""
    given = {"key": content.key, "revision": 1, "substance_revision": 1, "author": AUTHOR, "clean": True}
    return Assessed(content=content, **(given | changes))


def measured(*values: dict[str, Any], content: Half | Mating | None = None, **changes: Any) -> Confirmation:
    """A measured confirmation of the entry's first revision."""
    entry = content if content is not None else half()
    given = {"of": entry.record, "key": entry.key, "revision": 1, "basis": "measured", "values": values}
    return Confirmation.model_validate(given | changes)


def by_document(content: Half | Mating | Series, **changes: Any) -> Confirmation:
    """A confirmation by a document with revision and page."""
    given = {"of": content.record, "key": content.key, "revision": 1, "basis": "document", "citation": CITATION}
    return Confirmation.model_validate(given | changes)


def tried(content: Half | Mating, mate: str, result: str, **changes: Any) -> Confirmation:
    """A trial fit."""
    given = {"of": content.record, "key": content.key, "revision": 1, "basis": "trial_fit"}
    return Confirmation.model_validate(given | {"mate": mate, "result": result} | changes)


def dispute(content: Half | Mating | Series, **changes: Any) -> Dispute:
    """A dispute of the entry's first revision."""
    given = {"of": content.record, "key": content.key, "revision": 1, "reason": "the drawing shows another outline"}
    return Dispute.model_validate(given | changes)


def said(statement: Confirmation | Dispute | Sighting, author: str, key: str = "c-1", **changes: Any) -> Said:
    """The statement stored as a document of that author; a dispute is open, any other statement counts."""
    state = "open" if isinstance(statement, Dispute) else "listed"
    given = {"key": key, "author": author, "added_at": WHEN, "state": state, "statement": statement}
    return Said(**(given | changes))


def length(value: float = 6.5, u: float = 0.03, **changes: Any) -> dict[str, Any]:
    """A measured body length."""
    return {"feature": "body_length", "value": value, "u": u, **changes}
