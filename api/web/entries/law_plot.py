"""A plot of a law through the members of a series, and of how far each member and measurement is from it. SVG, px."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from api.drawing.svg import element, group, words
from api.web.entries.laws_view import Line
from api.web.page.figures import label

WIDTH, LEFT, RIGHT = 620.0, 62.0, 14.0
"""Width of the plot and of the margins for figures, px."""

UPPER, LOWER, BETWEEN, FOOT, HEAD = 220.0, 130.0, 34.0, 40.0, 24.0
"""Heights of both panels, of the space between them, and of the margins, px."""

TEXT = 12.0
"""Height of letters, px."""

TICKS = 5
"""About how many figures an axis has."""

LEAST_OFF = 0.05
"""Least half-height of the lower panel, mm: smaller differences are rounding in drawings."""

KIND_SHIFT = {"plug": -3.0, "receptacle": 3.0}
"""Marks of the two kinds stand side by side, px."""


@dataclass(frozen=True, kw_only=True)
class Point:
    """One member, or a measurement of it: mm at a number of contacts per row; ``off`` is the distance from the law,
    ``u`` the expanded uncertainty."""

    kind: str
    positions: int
    value: float
    off: float | None
    inferred: bool = False
    measured: bool = False
    u: float = 0.0


@dataclass(frozen=True, kw_only=True)
class _Frame:
    """One panel: its place and the ranges that it shows."""

    top: float
    height: float
    low: float
    high: float
    first: float
    last: float

    def x(self, positions: float) -> float:
        return LEFT + (positions - self.first) / (self.last - self.first) * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        return self.top + (self.high - value) / (self.high - self.low) * self.height


def law_plot(feature: str, lines: Sequence[Line], points: Sequence[Point]) -> Markup | None:
    """Both panels; None where there is nothing to draw."""
    if not points or not lines:
        return None
    sizes = [point.positions for point in points]
    first, last = min(sizes) - 1.0, max(sizes) + 1.0
    values = [*(p.value for p in points), *(line.at(size) for line in lines for size in (min(sizes), max(sizes)))]
    room = max((max(values) - min(values)) * 0.06, LEAST_OFF)
    upper = _Frame(top=HEAD, height=UPPER, low=min(values) - room, high=max(values) + room, first=first, last=last)
    off = [abs(p.off) + p.u for p in points if p.off is not None]
    tolerances = [line.tolerance for line in lines if line.tolerance is not None]
    reach = 1.15 * max([LEAST_OFF, *off, *tolerances])
    lower = _Frame(top=HEAD + UPPER + BETWEEN, height=LOWER, low=-reach, high=reach, first=first, last=last)
    content = [
        *_panel(upper, f"{label(feature)}, mm"),
        group("law", (_law_line(upper, line, min(sizes), max(sizes)) for line in lines)),
        group("members", _marks(upper, points, lambda point: point.value)),
        *_panel(lower, "Off the law, mm"),
        *_bands(lower, tolerances),
        _across("zero", lower.y(0.0)),
        group("members", _marks(lower, points, lambda point: point.off)),
        *_sizes(lower),
    ]
    return _document(feature, points, content)


def _document(feature: str, points: Sequence[Point], content: Sequence[str]) -> Markup:
    height = HEAD + UPPER + BETWEEN + LOWER + FOOT
    listed = sum(not p.inferred and not p.measured for p in points)
    measured = sum(p.measured for p in points)
    inferred = sum(p.inferred for p in points)
    said = f"{listed} listed, {inferred} not listed, {measured} measured; the figures are in the table of variants."
    attributes: dict[str, str | float | None] = {
        "class": "plot",
        "viewBox": f"0 0 {WIDTH:.0f} {height:.0f}",
        "width": WIDTH,
        "height": height,
        "role": "img",
        "aria-labelledby": "plot-title plot-said",
    }
    title = element("title", {"id": "plot-title"}, f"{label(feature)} by contacts per row")
    described = element("desc", {"id": "plot-said"}, said)
    return Markup(element("svg", attributes, title, described, *content))


def _panel(frame: _Frame, name: str) -> Iterator[str]:
    yield words("axis-name", LEFT, frame.top - 8, TEXT, name, anchor="start")
    for value in ticks(frame.low, frame.high):
        y = frame.y(value)
        yield _across("grid-line", y)
        yield words("axis-figure", LEFT - 6, y + 4, TEXT, _figure(value), anchor="end")


def _across(css: str, y: float) -> str:
    """A line from side to side."""
    return element("path", {"class": css, "d": f"M{LEFT},{y:.2f}H{WIDTH - RIGHT}"})


def _figure(value: float) -> str:
    return f"{value:.6g}".replace("-", "−")


def _sizes(frame: _Frame) -> Iterator[str]:
    bottom = frame.top + frame.height
    for size in ticks(frame.first, frame.last, whole=True):
        yield words("axis-figure", frame.x(size), bottom + 16, TEXT, f"{size:.0f}")
    yield words("axis-name", WIDTH - RIGHT, bottom + 33, TEXT, "contacts of a row", anchor="end")


def ticks(low: float, high: float, whole: bool = False) -> list[float]:
    """Round figures within a range, about `TICKS` of them."""
    raw = (high - low) / TICKS
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= raw)
    step = max(round(step), 1) if whole else step
    first = math.ceil(low / step)
    return [round(step * place, 9) for place in range(first, math.floor(high / step) + 1)]


def _law_line(frame: _Frame, line: Line, low: int, high: int) -> str:
    ends = [f"{frame.x(size):.2f},{frame.y(line.at(size)):.2f}" for size in (low, high)]
    return element("path", {"class": f"law-line {line.kind}", "d": f"M{ends[0]} L{ends[1]}"})


def _bands(frame: _Frame, tolerances: Sequence[float]) -> Iterator[str]:
    for tolerance in sorted(set(tolerances)):
        for edge in (tolerance, -tolerance):
            yield _across("tolerance", frame.y(edge))


def _marks(frame: _Frame, points: Sequence[Point], value: Callable[[Point], float | None]) -> Iterator[str]:
    """The marks of a panel, one path for each look: halves of different heights mostly coincide."""
    looks: dict[str, dict[str, None]] = defaultdict(dict)
    for point in points:
        height = value(point)
        if height is not None:
            look = "measured" if point.measured else "inferred" if point.inferred else "listed"
            looks[f"{look} {point.kind}".strip()][_mark(frame, point, height)] = None
    for look, marks in sorted(looks.items()):
        yield element("path", {"class": look, "d": "".join(marks)})


def _mark(frame: _Frame, point: Point, value: float) -> str:
    x, y = frame.x(point.positions) + KIND_SHIFT.get(point.kind, 0.0), frame.y(value)
    if point.measured:
        reach = point.u / (frame.high - frame.low) * frame.height
        return f"M{x - 4:.1f},{y - 4:.1f}l8,8m0,-8l-8,8M{x:.1f},{y - reach:.1f}V{y + reach:.1f}"
    return _SHAPES.get(point.kind, _diamond)(x, y)


def _square(x: float, y: float) -> str:
    return f"M{x - 3.2:.2f},{y - 3.2:.2f}h6.4v6.4h-6.4z"


def _disc(x: float, y: float) -> str:
    return f"M{x - 3.6:.2f},{y:.2f}a3.6,3.6 0 0 1 7.2,0a3.6,3.6 0 0 1 -7.2,0z"


def _diamond(x: float, y: float) -> str:
    return f"M{x:.2f},{y - 4.4:.2f}l4.4,4.4l-4.4,4.4l-4.4,-4.4z"


_SHAPES: dict[str, Callable[[float, float], str]] = {"plug": _square, "receptacle": _disc}
"""The mark of each kind; of any other a diamond."""
