"""Halves for the tests of the machine review, all from one consistent invented series."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from catalog.model.entries import Half
from catalog.review import Code, Finding

SIZES = (10, 12, 16, 20, 24, 30)
"""Contact counts of the series' members."""


def member(contacts: int = 20, **changes: Any) -> Half:
    """A two-row plug at 0.8 mm pitch. ``dimensions`` replaces some dimensions; None removes one."""
    positions = contacts // 2
    lengths = {
        "pitch": 0.8,
        "body_length": 5.0 + 0.8 * positions,
        "overall_length": 6.0 + 0.8 * positions,
        "body_width": 4.8,
        "row_spacing": 3.0,
        "tail_span": 5.8,
        "land_span": 6.4,
        "land_row_spacing": 5.0,
        "height": 3.25,
        "contact_width": 0.3,
        "peg_hole_span": 3.0 + 0.8 * positions,
    }
    dimensions: dict[str, Any] = {
        name: {"value": round(value, 4), "tolerance": 0.05 if name in ("pitch", "contact_width") else 0.1}
        for name, value in lengths.items()
    }
    dimensions |= changes.pop("dimensions", {})
    described = {
        "maker": "Wagtail Works",
        "series": "Reedling",
        "part_number": f"REED-P{contacts:02}",
        "half_kind": "plug",
        "rows": 2,
        "contact_count": contacts,
        "categories": {"tail_form": ["gull_out"], "orientation": ["vertical"], "mounting": ["surface_mount"]},
        "counts": {"bank_count": 1},
        "dimensions": {name: each for name, each in dimensions.items() if each is not None},
    }
    return Half.model_validate(described | changes)


def sized(name: str, value: float | None, contacts: int = 20, **more: Any) -> Half:
    """The member with one dimension changed or removed."""
    return member(contacts, dimensions={name: None if value is None else {"value": value, "tolerance": 0.05}}, **more)


def family(*without: int) -> tuple[Half, ...]:
    """All members but those of the given sizes."""
    return tuple(member(contacts) for contacts in SIZES if contacts not in without)


def codes(findings: Iterable[Finding]) -> set[tuple[str, str, str]]:
    """Code, severity and field of all findings except missing tolerances."""
    return {(f.code.value, f.severity, f.field) for f in findings if f.code is not Code.NO_TOLERANCE}
