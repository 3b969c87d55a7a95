"""The drawing of a sheet: dimension lines that end at fixed places, arrows, squared paper.

The half changes its shape with every reading; the fields do not move, so nothing shifts while
typing. Coordinates are units of the sheet, which is `WIDTH` of them wide; the half itself is drawn in mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from api.drawing.geometry import Blocks, Box, Discs, Part, Point, rectangle
from api.drawing.svg import element, group, line_path, part_markup, words

WIDTH = 780.0
"""Width of every sheet, in its own units."""

ARROW, BEYOND, GAP = 9.0, 5.0, 4.0
"""Length of an arrow; how far an extension line goes past its dimension line, and how far from the part it begins."""

ROOM = 3.2 * ARROW
"""In less room than this the arrows of a dimension stand outside and point inwards."""

GRID_STEPS = (0.1, 0.5, 1.0, 5.0, 10.0, 50.0)
"""Steps of the paper's grid, mm."""

FINEST_GRID = 9.0
"""Smallest step of the grid, in the sheet's units; a finer grid is only grey."""

MOST_PIECES = 120
"""Most contacts of one row that are drawn one by one: more would be finer than a line."""


@dataclass(frozen=True, kw_only=True)
class Lane:
    """Where a dimension is drawn and typed: its line's place, and the middle of its field.

    ``name`` is the field's parameter; ``letter`` ties line and field where fields stand in a list. ``along`` lines
    lie across the sheet at height ``line``, others stand upright there. ``outwards`` is the side of the part that the
    line lies on: −1 left or above, 1 right or below.
    """

    name: str
    letter: str
    line: float
    field: Point
    along: bool
    outwards: float


@dataclass(frozen=True, kw_only=True)
class Span:
    """Both ends of a dimension on the sheet, and how far its two edges run."""

    low: float
    high: float
    edges: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Fit:
    """Where millimetres around a datum lie on the sheet."""

    scale: float
    x0: float
    y0: float

    @classmethod
    def into(cls, place: Box, bounds: Box, *, scale: float | None = None) -> Fit:
        """Places ``bounds`` in the middle of ``place``, as large as it fits unless a scale is given."""
        largest = min(place.width / bounds.width, place.height / bounds.height) if scale is None else scale
        return cls(
            scale=round(largest, 5),
            x0=round((place.left + place.right - largest * (bounds.left + bounds.right)) / 2, 3),
            y0=round((place.top + place.bottom - largest * (bounds.top + bounds.bottom)) / 2, 3),
        )

    def x(self, mm: float) -> float:
        """Across the sheet."""
        return round(self.x0 + self.scale * mm, 2)

    def y(self, mm: float) -> float:
        """Down the sheet."""
        return round(self.y0 + self.scale * mm, 2)

    def drawn(self, parts: Iterable[Part]) -> str:
        """Parts, in mm."""
        placed = f"translate({self.x0} {self.y0}) scale({self.scale})"
        return group("half", (part_markup(banded(part, MOST_PIECES)) for part in parts), transform=placed)


def banded(part: Part, most: int) -> Part:
    """The part; where it has too many equal pieces to tell apart, one band in their place."""
    if not isinstance(part.shape, Blocks | Discs) or len(part.shape.centres) <= most:
        return part
    return replace(part, shape=rectangle(part.shape.bounds))


def picture(name: str, height: float, fit: Fit, said: str, content: Sequence[str]) -> str:
    """A sheet on squared paper at the scale of its drawing; screen readers read ``said``."""
    step, pattern = _paper(name, fit)
    paper = element("rect", {"class": "paper", "width": WIDTH, "height": height, "fill": f"url(#{name}-mm)"})
    attributes: dict[str, str | float | None] = {
        "class": "drawing",
        "viewBox": f"0 0 {WIDTH:g} {height:g}",
        "role": "img",
        "aria-label": said,
    }
    scale = words("scale", WIDTH - 8, height - 8, 11, f"one square {step:g} mm", anchor="end")
    return element("svg", attributes, pattern, paper, *content, scale)


def _paper(name: str, fit: Fit) -> tuple[float, str]:
    step = next((step for step in GRID_STEPS if step * fit.scale >= FINEST_GRID), GRID_STEPS[-1])
    size = round(step * fit.scale, 4)
    lines = element("path", {"class": "grid", "d": f"M{size},0H0V{size}"})
    at = {"x": fit.x0, "y": fit.y0, "width": size, "height": size}
    pattern = element("pattern", {"id": f"{name}-mm", "patternUnits": "userSpaceOnUse", **at}, lines)
    return step, element("defs", {}, pattern)


def dimension(lane: Lane, span: Span, states: Iterable[str] = ()) -> str:
    """A dimension line from edge to edge, with the edges that count, and the letter of its field."""
    lines = _along(lane, span) if lane.along else _upright(lane, span)
    css = " ".join(["dimension", *states])
    return group(css, [*lines, balloon(lane.field, lane.letter)], data_for=lane.name)


def _along(lane: Lane, span: Span) -> Iterator[str]:
    """A dimension along the sheet; its line reaches to the field where the field is beside it."""
    near = min(span.edges) if lane.outwards < 0 else max(span.edges)
    for x in (span.low, span.high):
        yield line_path("edge", [[(x, span.edges[0]), (x, span.edges[1])]])
        yield line_path("extension", [[(x, near + lane.outwards * GAP), (x, lane.line + lane.outwards * BEYOND)]])
    line = [(span.low, lane.line), (span.high, lane.line)]
    yield line_path("line", [line if span.low <= lane.field[0] <= span.high else [*line, (lane.field[0], lane.line)]])
    way = 1.0 if span.high - span.low >= ROOM else -1.0
    yield _arrow((span.low, lane.line), (-way, 0.0))
    yield _arrow((span.high, lane.line), (way, 0.0))


def _upright(lane: Lane, span: Span) -> Iterator[str]:
    """A dimension down the sheet: its line turns a corner to its field."""
    near = min(span.edges) if lane.outwards < 0 else max(span.edges)
    for y in (span.low, span.high):
        yield line_path("edge", [[(span.edges[0], y), (span.edges[1], y)]])
        yield line_path("extension", [[(near + lane.outwards * GAP, y), (lane.line + lane.outwards * BEYOND, y)]])
    ends = (span.low, span.high) if lane.field[1] > span.high else (span.high, span.low)
    yield line_path("line", [[(lane.line, ends[0]), (lane.line, ends[1]), (lane.line, lane.field[1]), lane.field]])
    way = 1.0 if span.high - span.low >= ROOM else -1.0
    yield _arrow((lane.line, span.low), (0.0, -way))
    yield _arrow((lane.line, span.high), (0.0, way))


def _arrow(tip: Point, towards: Point) -> str:
    """An arrow's head at its tip, pointing so."""
    (x, y), (dx, dy) = tip, towards
    back, side = (x - ARROW * dx, y - ARROW * dy), (ARROW / 3.2 * dy, ARROW / 3.2 * dx)
    corners = [tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1])]
    return element("path", {"class": "arrow", "d": f"M{' '.join(f'{px:.2f},{py:.2f}' for px, py in corners)}z"})


def note(name: str, letter: str, line: Sequence[Point], field: Point, states: Iterable[str] = ()) -> str:
    """A note with a line to what it is about."""
    x, y = line[-1]
    dot = element("circle", {"class": "arrow", "cx": x, "cy": y, "r": 3.0})
    drawn = [line_path("line", [line]), dot, balloon(field, letter)]
    return group(" ".join(["dimension", *states]), drawn, data_for=name)


def caption(at: Point, said: str) -> str:
    """The contents of a part of the sheet."""
    return words("caption", at[0], at[1], 13, said)


def balloon(at: Point, letter: str) -> str:
    """The letter that stands for a field where the fields are in a list."""
    circle = element("circle", {"cx": at[0], "cy": at[1], "r": 28.0})
    return group("balloon", [circle, words("letter", at[0], at[1] + 13, 38, letter)])
