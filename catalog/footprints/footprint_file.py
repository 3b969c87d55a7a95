"""Read one open footprint file (`.kicad_mod`, old and new heads) into pads and drawn shapes, mm.

Files come from anywhere: every fault becomes an `UnusableFootprint` with its reason.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from catalog.footprints.expressions import (
    Expression,
    UnusableFootprint,
    numbers_of,
    parse_expression,
    part_of,
    word_of,
)
from catalog.model.land_pattern import USUAL_ROUNDING

LARGEST_FILE = 2_000_000
"""Bytes; the largest connector footprint known to us has 85,000 (measured on Debian's package)."""

_HEADS = ("module", "footprint")
FABRICATION, COURTYARD = ("F.Fab", "B.Fab"), ("F.CrtYd", "B.CrtYd")

CIRCLE_CORNERS = 16
"""Strokes that stand for a circle of a courtyard, drawn around it."""

Point = tuple[float, float]
Segment = tuple[float, float, float, float]
"""x0, y0, x1, y1 of a straight stroke."""

_SHAPES = ("fp_line", "fp_rect", "fp_circle", "fp_arc", "fp_poly")


@dataclass(frozen=True, kw_only=True)
class Box:
    """A rectangle along the axes, mm."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """Extent along x."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Extent along y."""
        return self.bottom - self.top

    @property
    def area(self) -> float:
        """Width times height, mm²."""
        return self.width * self.height

    def turned(self) -> Box:
        """The same with x and y exchanged."""
        return Box(left=self.top, top=self.left, right=self.bottom, bottom=self.right)

    @classmethod
    def around(cls, boxes: Iterable[Box]) -> Box:
        """The smallest box around one or more boxes."""
        lefts, tops, rights, bottoms = zip(*((box.left, box.top, box.right, box.bottom) for box in boxes), strict=True)
        return cls(left=min(lefts), top=min(tops), right=max(rights), bottom=max(bottoms))

    def touches(self, other: Box, slack: float = 0.0) -> bool:
        """Whether the two overlap or come closer than ``slack``."""
        return (
            self.left <= other.right + slack
            and other.left <= self.right + slack
            and self.top <= other.bottom + slack
            and other.top <= self.bottom + slack
        )


@dataclass(frozen=True, kw_only=True)
class Pad:
    """One land or hole: (x, y) is its centre, ``box`` its copper, ``back`` says that it is only on the back of the
    board.

    ``kind`` is smd, thru_hole, connect (a bare land, no solder) or np_thru_hole (no copper). ``width`` and ``height``
    are its size before it is turned by ``turn`` degrees, ``drills`` the diameter of a round hole or width and height of
    a slot, and ``offset`` how far its copper lies from it before it is turned.
    """

    number: str
    kind: str
    shape: str
    x: float
    y: float
    width: float
    height: float
    turn: float
    box: Box
    copper: bool
    back: bool
    drills: tuple[float, ...]
    offset: tuple[float, float]
    rounding: float
    layers: tuple[str, ...]

    @property
    def drill(self) -> float | None:
        """Diameter of a round hole, mm; the pad's own size may be larger than the hole."""
        return self.drills[0] if len(self.drills) == 1 else None


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """One drawn shape of the fabrication layer: its end points (none for a circle) and its extent."""

    ends: tuple[tuple[float, float], ...]
    box: Box

    def turned(self) -> Stroke:
        """The same with x and y exchanged."""
        return Stroke(ends=tuple((y, x) for x, y in self.ends), box=self.box.turned())


@dataclass(frozen=True, kw_only=True)
class Footprint:
    """A footprint file as read. ``name`` is the name inside the file, without its library's. ``keepouts`` are areas
    that must stay without copper."""

    name: str
    attributes: tuple[str, ...]
    pads: tuple[Pad, ...]
    outline: tuple[Stroke, ...]
    courtyard: tuple[Segment, ...] = ()
    keepouts: tuple[tuple[Point, ...], ...] = ()


def read_footprint(path: Path) -> Footprint:
    """Read a file; raises UnusableFootprint with the reason for anything that cannot be used."""
    try:
        with path.open("rb") as stream:
            raw = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        raise UnusableFootprint("cannot be opened", error.strerror or str(error)) from error
    if len(raw) > LARGEST_FILE:
        raise UnusableFootprint("larger than a footprint can be", f"more than {LARGEST_FILE:,} bytes")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnusableFootprint("no text", f"byte {error.start} is not UTF-8") from error
    return parse_footprint(text)


def parse_footprint(text: str) -> Footprint:
    """Read a footprint from its text; raises UnusableFootprint."""
    tree = parse_expression(text)
    if len(tree) < 2 or word_of(tree[0]) not in _HEADS:
        raise UnusableFootprint(
            "no footprint", f"it begins with {word_of(tree[0])[:40]!r}" if tree else "an empty list"
        )
    lists = [(word_of(item[0]), item) for item in tree[2:] if isinstance(item, list) and item]
    return Footprint(
        name=word_of(tree[1]).rpartition(":")[2],
        attributes=tuple(word_of(word) for head, item in lists if head == "attr" for word in item[1:]),
        pads=tuple(_pad(item) for head, item in lists if head == "pad"),
        outline=tuple(_stroke(item) for head, item in lists if head in _SHAPES and _is_on(item, FABRICATION)),
        courtyard=tuple(
            each for head, item in lists if head in _SHAPES and _is_on(item, COURTYARD) for each in _segments(item)
        ),
        keepouts=tuple(_area(item) for head, item in lists if head == "zone" and part_of(item, "keepout")),
    )


def _pad(item: Expression) -> Pad:
    if len(item) < 4:
        raise UnusableFootprint("a shape without its numbers", "a pad lacks its form")
    x, y, *turn = numbers_of(item, "at", 2)
    width, height = numbers_of(item, "size", 2)[:2]
    angle = math.radians(turn[0]) if turn else 0.0
    cosine, sine = math.cos(angle), math.sin(angle)
    half_x = (abs(width * cosine) + abs(height * sine)) / 2
    half_y = (abs(width * sine) + abs(height * cosine)) / 2
    drill = part_of(item, "drill") or []
    aside = numbers_of(drill, "offset", 2)[:2] if part_of(drill, "offset") else (0.0, 0.0)
    dx, dy = aside[0] * cosine + aside[1] * sine, aside[1] * cosine - aside[0] * sine
    layers = tuple(word_of(word) for word in part_of(item, "layers") or ())
    kind = word_of(item[2])
    return Pad(
        number=word_of(item[1]),
        kind=kind,
        shape=word_of(item[3]),
        x=x,
        y=y,
        width=width,
        height=height,
        turn=turn[0] if turn else 0.0,
        box=Box(left=x + dx - half_x, top=y + dy - half_y, right=x + dx + half_x, bottom=y + dy + half_y),
        copper=kind != "np_thru_hole" and any(name.endswith(".Cu") for name in layers),
        back="B.Cu" in layers and "F.Cu" not in layers,
        drills=tuple(numbers_of(item, "drill", 0)),
        offset=(aside[0], aside[1]),
        rounding=next(iter(numbers_of(item, "roundrect_rratio", 0)), USUAL_ROUNDING),
        layers=layers,
    )


def _is_on(item: Expression, layers: tuple[str, ...]) -> bool:
    """Whether a shape lies in one of these layers."""
    layer = part_of(item, "layer") or [""]
    return word_of(layer[0]) in layers


def _stroke(item: Expression) -> Stroke:
    head = word_of(item[0])
    if head == "fp_poly":
        return _around(_polygon(item))
    if head == "fp_circle":
        x, y = numbers_of(item, "center", 2)[:2]
        radius = math.dist((x, y), numbers_of(item, "end", 2)[:2])
        return Stroke(ends=(), box=Box(left=x - radius, top=y - radius, right=x + radius, bottom=y + radius))
    start, end = numbers_of(item, "start", 2)[:2], numbers_of(item, "end", 2)[:2]
    if head == "fp_arc":
        return _around(_arc(item, start, end))
    return _around([(start[0], start[1]), (end[0], end[1])])


def _segments(item: Expression) -> list[Segment]:
    """A shape of the courtyard as straight strokes; an arc becomes chords, a circle a polygon around it."""
    stroke, head = _stroke(item), word_of(item[0])
    points, box = list(stroke.ends), stroke.box
    if head == "fp_rect":
        points = [(box.left, box.top), (box.right, box.top), (box.right, box.bottom), (box.left, box.bottom)]
    elif head == "fp_circle":
        angles = [2 * math.pi * corner / CIRCLE_CORNERS for corner in range(CIRCLE_CORNERS)]
        reach = box.width / 2 / math.cos(math.pi / CIRCLE_CORNERS)
        middle = (box.left + box.right) / 2, (box.top + box.bottom) / 2
        points = [(middle[0] + reach * math.cos(angle), middle[1] + reach * math.sin(angle)) for angle in angles]
    closed = [*points, points[0]] if head in ("fp_rect", "fp_circle", "fp_poly") else points
    return [(*start, *end) for start, end in itertools.pairwise(closed)]


def _area(item: Expression) -> tuple[Point, ...]:
    """The corners of a zone."""
    return tuple(_polygon([item[0], *(part_of(item, "polygon") or [])]))


def _polygon(item: Expression) -> list[tuple[float, float]]:
    points = []
    for point in part_of(item, "pts") or ():
        if isinstance(point, list) and point:
            x, y = numbers_of([point[0], point], word_of(point[0]), 2)[:2]
            points.append((x, y))
    if not points:
        raise UnusableFootprint("a shape without its numbers", "fp_poly lacks pts")
    return points


def _arc(item: Expression, start: list[float], end: list[float]) -> list[tuple[float, float]]:
    """Points of an arc. Old form: ``start`` is its centre, ``end`` one end, ``angle`` its sweep (clockwise, y down)."""
    if part_of(item, "angle") is None:
        middle = numbers_of(item, "mid", 2)
        return [(start[0], start[1]), (middle[0], middle[1]), (end[0], end[1])]
    sweep = math.radians(numbers_of(item, "angle", 1)[0])
    dx, dy = end[0] - start[0], end[1] - start[1]
    other = (
        start[0] + dx * math.cos(sweep) - dy * math.sin(sweep),
        start[1] + dx * math.sin(sweep) + dy * math.cos(sweep),
    )
    return [(end[0], end[1]), other]


def _around(points: list[tuple[float, float]]) -> Stroke:
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return Stroke(ends=tuple(points), box=Box(left=min(xs), top=min(ys), right=max(xs), bottom=max(ys)))
