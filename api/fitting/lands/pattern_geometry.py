"""The extent of a land pattern and the mark at its first contact. mm, y down."""

from __future__ import annotations

import math
from collections.abc import Iterator

from catalog.footprints.footprint_file import Box
from catalog.footprints.lands import SIGNAL_NUMBER
from catalog.model.land_pattern import LandPattern, Stroke

FIRST = ("1", "A1")
"""Numbers of the first contact."""

MARK_APART, MARK = 0.3, 0.8
"""How far the mark stands outside everything, and its size, mm. Common practice, no source."""

Corner = tuple[float, float]


def is_contact(name: str) -> bool:
    """Whether a land's number is a contact's, and not a hold-down's or shield's."""
    return SIGNAL_NUMBER.fullmatch(name) is not None


def places(pattern: LandPattern) -> Iterator[tuple[str, Box]]:
    """Every land or hole with its number and its extent, turned as it lies."""
    for alike in pattern.lands:
        angle = math.radians(alike.turn)
        cosine, sine = math.cos(angle), math.sin(angle)
        across = (abs(alike.width * cosine) + abs(alike.height * sine)) / 2
        down = (abs(alike.width * sine) + abs(alike.height * cosine)) / 2
        dx = alike.offset[0] * cosine + alike.offset[1] * sine
        dy = alike.offset[1] * cosine - alike.offset[0] * sine
        for name, x, y in alike.at:
            yield name, Box(left=x + dx - across, top=y + dy - down, right=x + dx + across, bottom=y + dy + down)


def outline_of(body: Stroke) -> tuple[Stroke, ...]:
    """The four edges of a body given by left, top, right and bottom."""
    left, top, right, bottom = body
    return (
        (left, top, right, top),
        (right, top, right, bottom),
        (right, bottom, left, bottom),
        (left, bottom, left, top),
    )


def bounds(pattern: LandPattern) -> Box:
    """The extent of everything in the pattern, the mark at its first contact included."""
    inner = _without_mark(pattern)
    return Box.around([inner, *(Box(left=x, top=y, right=x, bottom=y) for x, y in first_mark(pattern))])


def _without_mark(pattern: LandPattern) -> Box:
    left, top, right, bottom = pattern.body
    strokes = [
        Box(left=min(a, c), top=min(b, d), right=max(a, c), bottom=max(b, d)) for a, b, c, d in pattern.courtyard
    ]
    areas = [Box(left=x, top=y, right=x, bottom=y) for area in pattern.keepouts for x, y in area]
    body = Box(left=left, top=top, right=right, bottom=bottom)
    return Box.around([body, *(box for _, box in places(pattern)), *strokes, *areas])


def first_mark(pattern: LandPattern) -> tuple[Corner, ...]:
    """An arrowhead outside everything that points at the first contact's land, from the nearest side; empty where no
    land has its number."""
    land = next((box for name, box in places(pattern) if name in FIRST), None)
    if land is None:
        return ()
    whole = _without_mark(pattern)
    x, y = (land.left + land.right) / 2, (land.top + land.bottom) / 2
    ways = {
        (0, -1): land.top - whole.top,
        (0, 1): whole.bottom - land.bottom,
        (-1, 0): land.left - whole.left,
        (1, 0): whole.right - land.right,
    }
    along, down = min(ways, key=lambda way: ways[way])
    tip = (
        (whole.left - MARK_APART if along < 0 else whole.right + MARK_APART, y)
        if along
        else (x, whole.top - MARK_APART if down < 0 else whole.bottom + MARK_APART)
    )
    back = tip[0] + along * MARK, tip[1] + down * MARK
    return (
        tip,
        (back[0] + down * MARK / 2, back[1] + along * MARK / 2),
        (back[0] - down * MARK / 2, back[1] - along * MARK / 2),
    )
