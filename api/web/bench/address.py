"""The bench with a half's own figures filled in, as if its dimensions had been measured."""

from __future__ import annotations

from collections.abc import Iterator

from api.web.page.addresses import BENCH, asked
from catalog.model.entries import Half

CARRIED = ("pitch", "body_length", "overall_length", "body_width", "tail_span", "height")
"""Dimensions that are carried to the bench: those that a caliper takes on nearly every half."""


def identify_like(half: Half) -> str:
    """Address of the bench with the figures of a half, each as well known as a caliper would have it."""
    return asked(BENCH, list(_observed(half)))


def _observed(half: Half) -> Iterator[tuple[str, str]]:
    yield "contact_count", str(half.contact_count)
    yield "rows", str(half.rows)
    if half.half_kind is not None:
        yield "half_kind", half.half_kind
    for name in CARRIED:
        stated = half.dimensions.get(name)
        if stated is not None and stated.bound in ("nominal", "reference"):
            yield name, f"{stated.value:g}"
