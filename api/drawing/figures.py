"""Markup of a dimension: the edges that count, witness lines, the line with its ends, the figure or a letter."""

from __future__ import annotations

from collections.abc import Mapping

from api.drawing.dimension_lines import BESIDE_PX, LETTER_PX, Placed, Room
from api.drawing.geometry import Point
from api.drawing.svg import element, group, line_path, number, words

ARROW_PX = (8.0, 2.4)
"""Length and half width of an arrowhead on screen, px."""

ARROWS_FROM_PX = 26.0
"""Lines shorter than this on screen end in oblique ticks, px."""

TICK_PX = 3.5
"""Reach of an oblique tick to each side, px."""

TEXT_OVER_PX = 3.5
"""Clear height between line and figure, px."""

HALO_PX = 4.0
"""Width of the paper-coloured stroke behind a figure, so that lines do not run through it, px."""

WITNESS_BEYOND_PX = 4.0
"""Witness lines run on past the dimension line by this, px."""

LETTER_RADIUS_PX = 8.5
"""Radius of the disc behind a letter, px."""


def dimension_markup(placed: Placed, room: Room, *, prefix: str = "", letters: Mapping[str, str] | None = None) -> str:
    """One dimension as a group that a page can highlight by feature."""
    measure = placed.measure
    letter = (letters or {}).get(measure.feature)
    pieces = [
        _edges(placed),
        _witness(placed, room),
        _line(placed),
        _ends(placed, room),
        _figure(placed, room, letter is not None),
    ]
    if letter is not None:
        pieces.append(_letter(placed, room, letter))
    css, ending = (f" differs of-{measure.layer}", f"-{measure.layer}") if measure.layer else ("", "")
    return group(
        f"dimension {measure.length.source.value}{css}",
        pieces,
        id=f"{prefix}dim-{measure.feature}{ending}",
        data_feature=measure.feature,
        data_mm=f"{measure.length.value:.6g}" if measure.length.known else None,
        data_spans=str(measure.spans) if measure.spans > 1 else None,
    )


def _at(placed: Placed, along: float, across: float) -> Point:
    """A point by its place along the measured direction and across it."""
    return (across, along) if placed.measure.upright else (along, across)


def _edges(placed: Placed) -> str:
    start, end = placed.measure.edge
    lines = [(_at(placed, at, start), _at(placed, at, end)) for at in (placed.measure.low, placed.measure.high)]
    return line_path("edge", lines, data_feature=placed.measure.feature)


def _witness(placed: Placed, room: Room) -> str:
    outward = 1.0 if placed.measure.side in ("below", "right") else -1.0
    start = max(placed.measure.edge, key=lambda at: at * outward) + outward * room.mm(2)
    beyond = placed.lane + outward * room.mm(WITNESS_BEYOND_PX)
    ends = (placed.measure.low, placed.measure.high)
    return line_path("witness", [(_at(placed, at, start), _at(placed, at, beyond)) for at in ends])


def _line(placed: Placed) -> str:
    ends = (placed.measure.low, placed.measure.high)
    return line_path("dimension-line", [[_at(placed, at, placed.lane) for at in ends]])


def _ends(placed: Placed, room: Room) -> str:
    low, high = placed.measure.low, placed.measure.high
    if (high - low) * room.px_per_mm < ARROWS_FROM_PX:
        reach = room.mm(TICK_PX)
        ticks = [
            (_at(placed, at - reach, placed.lane + reach), _at(placed, at + reach, placed.lane - reach))
            for at in (low, high)
        ]
        return line_path("tick", ticks)
    length, half = (room.mm(px) for px in ARROW_PX)
    heads = [
        (
            _at(placed, at, placed.lane),
            _at(placed, at + way * length, placed.lane - half),
            _at(placed, at + way * length, placed.lane + half),
        )
        for at, way in ((low, 1.0), (high, -1.0))
    ]
    drawn = "".join("M" + " ".join(f"{number(x)},{number(y)}" for x, y in head) + "z" for head in heads)
    return element("path", {"class": "arrow", "d": drawn, "vector-effect": "non-scaling-stroke"})


def _figure(placed: Placed, room: Room, beside: bool) -> str:
    """The figure over the middle of the line, or beside the letter that stands there."""
    if not placed.text:
        return ""
    x, y = placed.middle
    over, aside = room.mm(TEXT_OVER_PX), room.mm(BESIDE_PX) if beside else 0.0
    size, anchor, halo = room.mm(LETTER_PX), "start" if beside else "middle", room.mm(HALO_PX)
    if placed.measure.upright:
        return words("figure", x - over, y - aside, size, placed.text, anchor=anchor, turned=True, halo=halo)
    return words("figure", x + aside, y - over, size, placed.text, anchor=anchor, halo=halo)


def _letter(placed: Placed, room: Room, letter: str) -> str:
    x, y = placed.middle
    disc = element("circle", {"cx": x, "cy": y, "r": room.mm(LETTER_RADIUS_PX), "vector-effect": "non-scaling-stroke"})
    return group("letter", [disc, words("letter-text", x, y + room.mm(0.36 * LETTER_PX), room.mm(LETTER_PX), letter)])
