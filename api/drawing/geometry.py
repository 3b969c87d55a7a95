"""Plain shapes in mm (x along the rows, y down the sheet), the box they fill, and the error for what cannot be
drawn."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

Point = tuple[float, float]


class DrawingError(ValueError):
    """A half cannot be drawn from these values. Carries ``field``, ``value`` and ``remedy``; knows no HTTP."""

    def __init__(self, message: str, *, field: str, value: object, remedy: str) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        self.value = value
        self.remedy = remedy


@dataclass(frozen=True, kw_only=True)
class Box:
    """An upright rectangle by its edges, mm."""

    left: float
    top: float
    right: float
    bottom: float

    @classmethod
    def centred(cls, width: float, height: float, x: float = 0.0, y: float = 0.0) -> Box:
        """A box around a centre."""
        return cls(left=x - width / 2, top=y - height / 2, right=x + width / 2, bottom=y + height / 2)

    @property
    def width(self) -> float:
        """Right minus left."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Bottom minus top."""
        return self.bottom - self.top

    def grown(self, by: float) -> Box:
        """Larger by this much on every side."""
        return Box(left=self.left - by, top=self.top - by, right=self.right + by, bottom=self.bottom + by)

    def around(self, other: Box) -> Box:
        """The smallest box that holds both."""
        return Box(
            left=min(self.left, other.left),
            top=min(self.top, other.top),
            right=max(self.right, other.right),
            bottom=max(self.bottom, other.bottom),
        )


@dataclass(frozen=True, kw_only=True)
class Motion:
    """Mirrored left to right, then turned by quarters (x towards y), then shifted."""

    x: float = 0.0
    y: float = 0.0
    quarter_turns: int = 0
    mirrored: bool = False

    def of(self, point: Point) -> Point:
        """Where a point goes."""
        x, y = (-point[0] if self.mirrored else point[0]), point[1]
        for _ in range(self.quarter_turns % 4):
            x, y = -y, x
        return x + self.x, y + self.y


@dataclass(frozen=True, kw_only=True)
class Polygon:
    """A closed outline."""

    points: tuple[Point, ...]

    @property
    def bounds(self) -> Box:
        """The box it fills."""
        return _box_of(self.points)

    def moved(self, motion: Motion) -> Polygon:
        """The same outline elsewhere."""
        return Polygon(points=_moved(self.points, motion))


@dataclass(frozen=True, kw_only=True)
class Blocks:
    """Equal upright rectangles around several centres."""

    centres: tuple[Point, ...]
    width: float
    height: float

    @property
    def bounds(self) -> Box:
        """The box they fill."""
        box = _box_of(self.centres)
        return Box(
            left=box.left - self.width / 2,
            top=box.top - self.height / 2,
            right=box.right + self.width / 2,
            bottom=box.bottom + self.height / 2,
        )

    def moved(self, motion: Motion) -> Blocks:
        """The same pieces elsewhere."""
        upright = motion.quarter_turns % 2 == 0
        return Blocks(
            centres=_moved(self.centres, motion),
            width=self.width if upright else self.height,
            height=self.height if upright else self.width,
        )


@dataclass(frozen=True, kw_only=True)
class Discs:
    """Equal circles around several centres."""

    centres: tuple[Point, ...]
    radius: float

    @property
    def bounds(self) -> Box:
        """The box they fill."""
        return _box_of(self.centres).grown(self.radius)

    def moved(self, motion: Motion) -> Discs:
        """The same pieces elsewhere."""
        return replace(self, centres=_moved(self.centres, motion))


@dataclass(frozen=True, kw_only=True)
class Wire:
    """Bent strips of metal seen on edge: lines of real thickness, ends cut square."""

    lines: tuple[tuple[Point, ...], ...]
    thickness: float

    @property
    def bounds(self) -> Box:
        """The box of the centre lines: square ends reach no further along their direction."""
        return _box_of(point for line in self.lines for point in line)

    def moved(self, motion: Motion) -> Wire:
        """The same pieces elsewhere."""
        return replace(self, lines=tuple(_moved(line, motion) for line in self.lines))


Shape = Polygon | Blocks | Discs | Wire


@dataclass(frozen=True, kw_only=True)
class Part:
    """One piece of a drawing.

    ``role`` is what it is (plastic, well, raised, key, metal, wire, tail, power, hold-down, land, peg, shield, latch,
    blocked, board, first, measured-edge); ``feature`` the thing on the half that it belongs to, if any. ``assumed``
    pieces are drawn from proportions, ``hidden`` ones lie underneath; both are dashed.
    """

    role: str
    shape: Shape
    feature: str = ""
    assumed: bool = False
    hidden: bool = False

    def moved(self, motion: Motion) -> Part:
        """The same piece elsewhere."""
        return replace(self, shape=self.shape.moved(motion))


def rectangle(box: Box) -> Polygon:
    """A box as an outline."""
    return Polygon(
        points=((box.left, box.top), (box.right, box.top), (box.right, box.bottom), (box.left, box.bottom)),
    )


def bounds_of(parts: Iterable[Part]) -> Box:
    """The box that all parts fill; ValueError without any."""
    boxes = [part.shape.bounds for part in parts]
    if not boxes:
        raise ValueError("nothing is drawn")
    found = boxes[0]
    for box in boxes[1:]:
        found = found.around(box)
    return found


def _box_of(points: Iterable[Point]) -> Box:
    given = list(points)
    across, down = [x for x, _ in given], [y for _, y in given]
    return Box(left=min(across), top=min(down), right=max(across), bottom=max(down))


def _moved(points: tuple[Point, ...], motion: Motion) -> tuple[Point, ...]:
    return tuple(motion.of(point) for point in points)
