"""Read one open footprint file (`.kicad_mod`, old and new heads) into pads and drawn shapes, mm.

Files come from anywhere: size, nesting and coordinates are limited here, and every fault becomes an `UnusableFootprint`
with its reason. The brackets are read here because a folder holds thousands of files: a general parser of such
expressions, which tries each word as a number and steps from character to character, takes ten times as long.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

LARGEST_FILE = 2_000_000
"""Bytes; the largest connector footprint known to us has 85,000 (measured on Debian's package)."""

DEEPEST_NESTING = 40
"""Brackets within brackets; real files reach about 8."""

FARTHEST = 500.0
"""Largest coordinate or size in mm; beyond it the file is not in millimetres or is not a connector."""

Expression: TypeAlias = "list[str | Expression]"
"""The content between two brackets: words, quoted or not, and expressions."""

_TOKEN = re.compile(
    r"""
    \( (?: [^()\[\]"']++ | "[^"\\]*+" )*+ \)   # words in brackets, quoted without escapes: most of a file
    | [()\[\]]
    | " [^"\\]*+ (?: \\. [^"\\]*+ )*+ "?       # a quoted word; one that does not close takes all the rest
    | [^\s()\[\]"'] [^\s()\[\]"]*+             # a bare word
    | '                                        # this format quotes no expressions
    """,
    re.VERBOSE | re.DOTALL,
)
"""Every alternative is possessive (no backtracking), so parsing time is proportional to the length of the text."""

_WORD = re.compile(r'"([^"]*)"|([^\s"]+)')
_ESCAPED = re.compile(r"\\(.)", re.DOTALL)
_CLOSING = {"(": ")", "[": "]"}
_HEADS = ("module", "footprint")
_SHAPES = ("fp_line", "fp_rect", "fp_circle", "fp_arc", "fp_poly")


class UnusableFootprint(ValueError):  # noqa: N818 - a reason to pass over one file, not a fault of the program
    """One file that gives no half; ``reason`` groups it in the report, ``detail`` says more."""

    def __init__(self, reason: str, detail: str = "") -> None:
        super().__init__(f"{reason}: {detail}" if detail else reason)
        self.reason = reason
        self.detail = detail


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

    ``kind`` is smd, thru_hole, connect (a bare land, no solder) or np_thru_hole (no copper). ``drill`` is the diameter
    of a round hole, mm.
    """

    number: str
    kind: str
    shape: str
    x: float
    y: float
    box: Box
    copper: bool
    back: bool
    drill: float | None


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
    """A footprint file as read. ``name`` is the name inside the file, without its library's."""

    name: str
    attributes: tuple[str, ...]
    pads: tuple[Pad, ...]
    outline: tuple[Stroke, ...]


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
    tree = _tree(text)
    if len(tree) < 2 or _word(tree[0]) not in _HEADS:
        raise UnusableFootprint("no footprint", f"it begins with {_word(tree[0])[:40]!r}" if tree else "an empty list")
    lists = [(_word(item[0]), item) for item in tree[2:] if isinstance(item, list) and item]
    return Footprint(
        name=_word(tree[1]).rpartition(":")[2],
        attributes=tuple(_word(word) for head, item in lists if head == "attr" for word in item[1:]),
        pads=tuple(_pad(item) for head, item in lists if head == "pad"),
        outline=tuple(_stroke(item) for head, item in lists if head in _SHAPES and _is_outline(item)),
    )


def _tree(text: str) -> Expression:
    """The single expression in the text."""
    if not text.strip():
        raise UnusableFootprint("empty")
    here: Expression = []
    around: list[tuple[Expression, str]] = []
    unclosed = UnusableFootprint("cut off or damaged", "brackets or quotes do not close")
    for token in _TOKEN.findall(text):
        if token[0] == "(" and len(token) > 1:
            words = token[1:-1]
            here.append([quoted or bare for quoted, bare in _WORD.findall(words)] if '"' in words else words.split())
        elif token in _CLOSING:
            inner: Expression = []
            here.append(inner)
            around.append((here, _CLOSING[token]))
            here = inner
            if len(around) > DEEPEST_NESTING:
                raise UnusableFootprint("nested deeper than a footprint can be", f"more than {DEEPEST_NESTING} levels")
        elif token in (")", "]"):
            if not around or around[-1][1] != token:
                raise unclosed
            here, _ = around.pop()
        elif token == "'":
            raise UnusableFootprint("no well-formed expression", "a single quote stands before a word")
        else:
            here.append(_ESCAPED.sub(r"\1", token[1:-1]) if token[0] == '"' else token)
    if around:
        raise unclosed
    if len(here) != 1 or isinstance(here[0], str):
        raise UnusableFootprint("no footprint", "the text is not one bracketed expression")
    return here[0]


def _word(item: str | Expression) -> str:
    return item if isinstance(item, str) else ""


def _part(item: Expression, head: str) -> Expression | None:
    for part in item:
        if isinstance(part, list) and part and part[0] == head:
            return part[1:]
    return None


def _numbers(item: Expression, head: str, least: int) -> list[float]:
    """The numbers of a sub-expression; raises UnusableFootprint if it is missing or implausible."""
    values = []
    for word in _part(item, head) or ():
        try:
            values.append(float(word))  # type: ignore[arg-type]
        except (TypeError, ValueError):  # an expression, or a word that is no number
            continue
    if len(values) < least:
        raise UnusableFootprint("a shape without its numbers", f"{_word(item[0])} lacks {head}")
    for value in values:
        if not -FARTHEST <= value <= FARTHEST:  # false for what is no number, too
            raise UnusableFootprint("not in millimetres", f"{head} lies beyond {FARTHEST:.0f}")
    return values


def _pad(item: Expression) -> Pad:
    if len(item) < 4:
        raise UnusableFootprint("a shape without its numbers", "a pad lacks its form")
    x, y, *turn = _numbers(item, "at", 2)
    width, height = _numbers(item, "size", 2)[:2]
    angle = math.radians(turn[0]) if turn else 0.0
    cosine, sine = math.cos(angle), math.sin(angle)
    half_x = (abs(width * cosine) + abs(height * sine)) / 2
    half_y = (abs(width * sine) + abs(height * cosine)) / 2
    dx, dy = _offset(item, angle)
    layers = [_word(word) for word in _part(item, "layers") or ()]
    kind = _word(item[2])
    return Pad(
        number=_word(item[1]),
        kind=kind,
        shape=_word(item[3]),
        x=x,
        y=y,
        box=Box(left=x + dx - half_x, top=y + dy - half_y, right=x + dx + half_x, bottom=y + dy + half_y),
        copper=kind != "np_thru_hole" and any(name.endswith(".Cu") for name in layers),
        back="B.Cu" in layers and "F.Cu" not in layers,
        drill=_drill(item),
    )


def _drill(item: Expression) -> float | None:
    """Diameter of a round hole; the pad's own size may be larger than the hole."""
    across = _numbers(item, "drill", 0)
    return across[0] if len(across) == 1 else None


def _offset(item: Expression, angle: float) -> tuple[float, float]:
    """Offset of a hole's copper from the hole; it turns with the pad (counter-clockwise, y down)."""
    drill = _part(item, "drill")
    if drill is None or _part(drill, "offset") is None:
        return 0.0, 0.0
    dx, dy = _numbers(drill, "offset", 2)[:2]
    return dx * math.cos(angle) + dy * math.sin(angle), dy * math.cos(angle) - dx * math.sin(angle)


def _is_outline(item: Expression) -> bool:
    """Whether a shape lies in the fabrication layer."""
    layer = _part(item, "layer") or [""]
    return _word(layer[0]) in ("F.Fab", "B.Fab")


def _stroke(item: Expression) -> Stroke:
    head = _word(item[0])
    if head == "fp_poly":
        return _around(_polygon(item))
    if head == "fp_circle":
        x, y = _numbers(item, "center", 2)[:2]
        radius = math.dist((x, y), _numbers(item, "end", 2)[:2])
        return Stroke(ends=(), box=Box(left=x - radius, top=y - radius, right=x + radius, bottom=y + radius))
    start, end = _numbers(item, "start", 2)[:2], _numbers(item, "end", 2)[:2]
    if head == "fp_arc":
        return _around(_arc(item, start, end))
    return _around([(start[0], start[1]), (end[0], end[1])])


def _polygon(item: Expression) -> list[tuple[float, float]]:
    points = []
    for point in _part(item, "pts") or ():
        if isinstance(point, list) and point:
            x, y = _numbers([point[0], point], _word(point[0]), 2)[:2]
            points.append((x, y))
    if not points:
        raise UnusableFootprint("a shape without its numbers", "fp_poly lacks pts")
    return points


def _arc(item: Expression, start: list[float], end: list[float]) -> list[tuple[float, float]]:
    """Points of an arc. Old form: ``start`` is its centre, ``end`` one end, ``angle`` its sweep (clockwise, y down)."""
    if _part(item, "angle") is None:
        middle = _numbers(item, "mid", 2)
        return [(start[0], start[1]), (middle[0], middle[1]), (end[0], end[1])]
    sweep = math.radians(_numbers(item, "angle", 1)[0])
    dx, dy = end[0] - start[0], end[1] - start[1]
    other = (
        start[0] + dx * math.cos(sweep) - dy * math.sin(sweep),
        start[1] + dx * math.sin(sweep) + dy * math.cos(sweep),
    )
    return [(end[0], end[1]), other]


def _around(points: list[tuple[float, float]]) -> Stroke:
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return Stroke(ends=tuple(points), box=Box(left=min(xs), top=min(ys), right=max(xs), bottom=max(ys)))
