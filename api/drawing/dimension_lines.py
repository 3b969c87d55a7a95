"""Dimension lines laid out around a drawing without running into each other: places first, markup in `figures`.

A lane is a line parallel to the drawing's side; shorter dimensions stand nearer. Letters and lanes have their size in
screen pixels, so the layout knows how many pixels a millimetre is shown with.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.drawing.geometry import Box, Point
from api.drawing.measures import Measure, Side

LETTER_PX = 12.0
"""Height of figures on screen, px."""

LETTER_WIDTH = 0.6
"""Mean width of a figure as a share of its height: tabular numerals of common faces."""

GAP_PX = 6.0
"""Least distance between two dimensions of one lane, px."""

BESIDE_PX = 12.0
"""From the middle of a letter to the figure beside it, px."""

FIRST_LANE_PX = 16.0
"""From the drawing to the nearest lane beyond a lane's own room, px."""


@dataclass(frozen=True, kw_only=True)
class Room:
    """How much room a dimension gets on screen, px: its lane, and the field or letter on it.

    ``shared``: several short dimensions may stand in one lane. ``field_px``: width and height kept free around the
    middle of each line (0: only the figure needs room). ``lettered``: a letter stands in the middle, the
    figure beside it.
    """

    px_per_mm: float
    lane_px: float = 21.0
    shared: bool = True
    field_px: tuple[float, float] = (0.0, 0.0)
    lettered: bool = False

    def mm(self, px: float) -> float:
        """Pixels on screen as mm of the drawing."""
        return px / self.px_per_mm


@dataclass(frozen=True, kw_only=True)
class Placed:
    """A dimension with its line: ``lane`` is the line's place across the measured direction, ``text`` what it says."""

    measure: Measure
    lane: float
    text: str

    @property
    def middle(self) -> Point:
        """Middle of the dimension line."""
        centre = (self.measure.low + self.measure.high) / 2
        return (self.lane, centre) if self.measure.upright else (centre, self.lane)


def figure_text(measure: Measure) -> str:
    """What stands at the line: the value with its tolerance as drawings print it, a measured one with its standard
    uncertainty, a predicted one as about so much; nothing where it is assumed."""
    length = measure.length
    if not length.known:
        return ""
    value = f"{length.value:.4f}".rstrip("0").rstrip(".")
    if length.source == "predicted":
        return f"≈ {length.value:.2f}"
    if length.bound in ("max", "min"):
        return f"{value} {length.bound}"
    if length.source == "measured":
        # A standard uncertainty is no tolerance and is not written like one.
        return f"{value}, u {length.tolerance:.2g}" if length.tolerance else value
    if length.tolerance:
        value = f"{value} ±{length.tolerance:.3g}"
    return f"({value})" if length.bound == "reference" else value


def place(measures: Sequence[Measure], content: Box, room: Room) -> tuple[list[Placed], Box]:
    """Every dimension on a lane outside ``content``, and the box that drawing, lines and figures fill."""
    placed: list[Placed] = []
    box = content
    for side in ("above", "below", "left", "right"):
        own = _in_order([measure for measure in measures if measure.side == side])
        lanes: list[list[tuple[float, float]]] = []
        for measure in own:
            text = figure_text(measure)
            if text and measure.layer:
                text = f"{measure.layer}: {text}"
            reach = _reach(measure, text, room)
            number = _free_lane(lanes, reach, room)
            lane = _lane(side, number, content, room)
            placed.append(Placed(measure=measure, lane=lane, text=text))
            box = box.around(_extent(measure, lane, reach, room))
    return placed, box


def _in_order(measures: Sequence[Measure]) -> list[Measure]:
    """Shorter dimensions first; a dimension of several halves stays together."""
    longest: dict[str, float] = {}
    for measure in measures:
        longest[measure.feature] = max(measure.high - measure.low, longest.get(measure.feature, 0.0))
    return sorted(measures, key=lambda m: (longest[m.feature], m.feature, m.high - m.low))


def _reach(measure: Measure, text: str, room: Room) -> tuple[float, float]:
    """From where to where line and text reach along the measured direction, mm."""
    along_field = room.field_px[1] if measure.upright else room.field_px[0]
    written = len(text) * LETTER_PX * LETTER_WIDTH
    if room.lettered:
        written = 2 * (written + BESIDE_PX)
    wide = room.mm(max(written, along_field))
    middle = (measure.low + measure.high) / 2
    return min(measure.low, middle - wide / 2), max(measure.high, middle + wide / 2)


def _free_lane(lanes: list[list[tuple[float, float]]], reach: tuple[float, float], room: Room) -> int:
    """Number of the first lane with room, nearest first; takes the place."""
    gap = room.mm(GAP_PX)
    for number, taken in enumerate(lanes if room.shared else ()):
        if all(reach[1] + gap <= low or high + gap <= reach[0] for low, high in taken):
            taken.append(reach)
            return number
    lanes.append([reach])
    return len(lanes) - 1


def _lane_mm(side: Side, room: Room) -> float:
    across_field = room.field_px[0] if side in ("left", "right") else room.field_px[1]
    return room.mm(max(room.lane_px, across_field + GAP_PX if across_field else 0.0))


def _lane(side: Side, number: int, content: Box, room: Room) -> float:
    step = _lane_mm(side, room)
    away = room.mm(FIRST_LANE_PX) + step * (number + 0.5)
    if side in ("above", "left"):
        return (content.top if side == "above" else content.left) - away
    return (content.bottom if side == "below" else content.right) + away


def _extent(measure: Measure, lane: float, reach: tuple[float, float], room: Room) -> Box:
    half = max(_lane_mm(measure.side, room) / 2, room.mm(LETTER_PX + 4))
    low, high = reach[0] - room.mm(3), reach[1] + room.mm(3)
    if measure.upright:
        return Box(left=lane - half, top=low, right=lane + half, bottom=high)
    return Box(left=low, top=lane - half, right=high, bottom=lane + half)
