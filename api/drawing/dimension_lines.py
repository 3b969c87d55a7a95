"""Dimension lines: laid out around a drawing without overlaps, and written as SVG.

A lane is a line parallel to the drawing's side; shorter dimensions stand nearer. Letters and lanes have their size in
screen pixels, so the layout knows how many pixels a millimetre is shown with.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.drawing.geometry import Box, Point
from api.drawing.measures import Measure, Side
from api.drawing.svg import element, group, line_path, number, words

LETTER_PX = 12.0
"""Height of figures on screen, px."""

LETTER_WIDTH = 0.6
"""Mean width of a figure as a share of its height: tabular numerals of common faces."""

GAP_PX, FIRST_LANE_PX, LANE_PX = 6.0, 16.0, 21.0
"""Least distance between two dimensions of one lane, from the drawing to the nearest lane, and width of a lane, px."""

ARROW_PX = (8.0, 2.4)
"""Length and half width of an arrowhead on screen, px."""

ARROWS_FROM_PX, TICK_PX = 26.0, 3.5
"""Lines shorter than this end in oblique ticks, and their reach to each side, px."""

TEXT_OVER_PX, HALO_PX = 3.5, 4.0
"""Clear height between line and figure, and width of the stroke in paper's colour that keeps lines out of it, px."""

WITNESS_BEYOND_PX = 4.0
"""How far witness lines run past the dimension line, px."""


@dataclass(frozen=True, kw_only=True)
class Scale:
    """How large a view is shown."""

    px_per_mm: float

    def mm(self, px: float) -> float:
        """Pixels on screen as mm of the drawing."""
        return px / self.px_per_mm


@dataclass(frozen=True, kw_only=True)
class Placed:
    """A dimension with its line: ``lane`` is the line's place across the measured direction, ``text`` what it says."""

    measure: Measure
    lane: float
    text: str

    def at(self, along: float, across: float) -> Point:
        """A point by its place along the measured direction and across it."""
        return (across, along) if self.measure.upright else (along, across)


def figure_text(measure: Measure) -> str:
    """The text at the line: a value with its tolerance as drawings print it, a measured value with its standard
    uncertainty, a predicted one with ≈; nothing for an assumed one."""
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


def place(measures: Sequence[Measure], content: Box, scale: Scale) -> tuple[list[Placed], Box]:
    """Every dimension on a lane outside ``content``, and the box that drawing, lines and figures fill."""
    placed: list[Placed] = []
    box = content
    for side in ("above", "below", "left", "right"):
        lanes: list[list[tuple[float, float]]] = []
        for measure in _in_order([measure for measure in measures if measure.side == side]):
            text = figure_text(measure)
            if text and measure.layer:
                text = f"{measure.layer}: {text}"
            reach = _reach(measure, text, scale)
            lane = _lane(side, _free_lane(lanes, reach, scale), content, scale)
            placed.append(Placed(measure=measure, lane=lane, text=text))
            box = box.around(_extent(measure, lane, reach, scale))
    return placed, box


def _in_order(measures: Sequence[Measure]) -> list[Measure]:
    """Shorter dimensions first; a dimension of several halves stays together."""
    longest: dict[str, float] = {}
    for measure in measures:
        longest[measure.feature] = max(measure.high - measure.low, longest.get(measure.feature, 0.0))
    return sorted(measures, key=lambda m: (longest[m.feature], m.feature, m.high - m.low))


def _reach(measure: Measure, text: str, scale: Scale) -> tuple[float, float]:
    """From where to where line and text reach along the measured direction, mm."""
    wide = scale.mm(len(text) * LETTER_PX * LETTER_WIDTH)
    middle = (measure.low + measure.high) / 2
    return min(measure.low, middle - wide / 2), max(measure.high, middle + wide / 2)


def _free_lane(lanes: list[list[tuple[float, float]]], reach: tuple[float, float], scale: Scale) -> int:
    """Number of the nearest lane with room; reserves the place."""
    gap = scale.mm(GAP_PX)
    for place, taken in enumerate(lanes):
        if all(reach[1] + gap <= low or high + gap <= reach[0] for low, high in taken):
            taken.append(reach)
            return place
    lanes.append([reach])
    return len(lanes) - 1


def _lane(side: Side, place: int, content: Box, scale: Scale) -> float:
    away = scale.mm(FIRST_LANE_PX) + scale.mm(LANE_PX) * (place + 0.5)
    if side in ("above", "left"):
        return (content.top if side == "above" else content.left) - away
    return (content.bottom if side == "below" else content.right) + away


def _extent(measure: Measure, lane: float, reach: tuple[float, float], scale: Scale) -> Box:
    half = max(scale.mm(LANE_PX) / 2, scale.mm(LETTER_PX + 4))
    low, high = reach[0] - scale.mm(3), reach[1] + scale.mm(3)
    if measure.upright:
        return Box(left=lane - half, top=low, right=lane + half, bottom=high)
    return Box(left=low, top=lane - half, right=high, bottom=lane + half)


def dimension_markup(placed: Placed, scale: Scale) -> str:
    """One dimension as a group that a page can highlight by feature: the edges that count, witness lines, the line with
    its ends, and the figure."""
    measure = placed.measure
    start, end = measure.edge
    ends = (measure.low, measure.high)
    outward = 1.0 if measure.side in ("below", "right") else -1.0
    near = max(measure.edge, key=lambda at: at * outward) + outward * scale.mm(2)
    beyond = placed.lane + outward * scale.mm(WITNESS_BEYOND_PX)
    edges = [(placed.at(at, start), placed.at(at, end)) for at in ends]
    pieces = [
        line_path("edge", edges, data_feature=measure.feature),
        line_path("witness", [(placed.at(at, near), placed.at(at, beyond)) for at in ends]),
        line_path("dimension-line", [[placed.at(at, placed.lane) for at in ends]]),
        _ends(placed, scale),
        _figure(placed, scale),
    ]
    css, ending = (f" differs of-{measure.layer}", f"-{measure.layer}") if measure.layer else ("", "")
    return group(
        f"dimension {measure.length.source.value}{css}",
        pieces,
        id=f"dim-{measure.feature}{ending}",
        data_feature=measure.feature,
        data_mm=f"{measure.length.value:.6g}" if measure.length.known else None,
    )


def _ends(placed: Placed, scale: Scale) -> str:
    low, high = placed.measure.low, placed.measure.high
    if (high - low) * scale.px_per_mm < ARROWS_FROM_PX:
        reach = scale.mm(TICK_PX)
        ticks = [
            (placed.at(at - reach, placed.lane + reach), placed.at(at + reach, placed.lane - reach))
            for at in (low, high)
        ]
        return line_path("tick", ticks)
    length, half = (scale.mm(px) for px in ARROW_PX)
    heads = [
        (
            placed.at(at, placed.lane),
            placed.at(at + way * length, placed.lane - half),
            placed.at(at + way * length, placed.lane + half),
        )
        for at, way in ((low, 1.0), (high, -1.0))
    ]
    drawn = "".join("M" + " ".join(f"{number(x)},{number(y)}" for x, y in head) + "z" for head in heads)
    return element("path", {"class": "arrow", "d": drawn, "vector-effect": "non-scaling-stroke"})


def _figure(placed: Placed, scale: Scale) -> str:
    """The figure over the middle of the line."""
    if not placed.text:
        return ""
    turned = placed.measure.upright
    x, y = placed.at((placed.measure.low + placed.measure.high) / 2, placed.lane - scale.mm(TEXT_OVER_PX))
    return words("figure", x, y, scale.mm(LETTER_PX), placed.text, turned=turned, halo=scale.mm(HALO_PX))
