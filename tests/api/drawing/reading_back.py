"""Reads a drawing back from the coordinates in its SVG, like a ruler laid on it.

Of the data attributes, only the feature's name is used.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"
_COMMAND = re.compile(r"([MLHVAz])([^MLHVAz]*)")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@dataclass(frozen=True, kw_only=True)
class Extent:
    """The bounding box of one closed or open piece of a path."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    @property
    def centre(self) -> tuple[float, float]:
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2


class ReadDrawing:
    """An SVG parsed as XML."""

    def __init__(self, svg: str) -> None:
        self.root = ElementTree.fromstring(svg)

    def paths(self, *classes: str, within: str | None = None) -> list[ElementTree.Element]:
        """Paths that have all these classes."""
        roots = [self.root] if within is None else self.groups(within)
        return [path for root in roots for path in root.iter(f"{SVG}path") if set(classes) <= _classes(path)]

    def groups(self, name: str) -> list[ElementTree.Element]:
        """Groups of a class."""
        return [group for group in self.root.iter(f"{SVG}g") if name in _classes(group)]

    def pieces(self, *classes: str, within: str | None = None) -> list[Extent]:
        """The boxes of all pieces of these paths."""
        return [_extent(piece) for path in self.paths(*classes, within=within) for piece in subpaths(path.attrib["d"])]

    def extent(self, *classes: str, within: str | None = None) -> Extent:
        """The bounding box of all of them."""
        found = self.pieces(*classes, within=within)
        return Extent(
            left=min(p.left for p in found),
            top=min(p.top for p in found),
            right=max(p.right for p in found),
            bottom=max(p.bottom for p in found),
        )

    def between_edges(self) -> dict[str, float]:
        """For each feature, the distance between its two edge lines, mm."""
        found = {}
        for dimension in self.groups("dimension"):
            feature = dimension.attrib["data-feature"]
            (edge,) = [path for path in dimension.iter(f"{SVG}path") if "edge" in _classes(path)]
            first, second = (_extent(piece) for piece in subpaths(edge.attrib["d"]))
            upright = first.height == 0 and second.height == 0
            found[feature] = abs(second.top - first.top) if upright else abs(second.left - first.left)
        return found

    def words(self) -> list[str]:
        """All text of the drawing."""
        return [text.text or "" for text in self.root.iter(f"{SVG}text")]


def _classes(element: ElementTree.Element) -> set[str]:
    return set(element.attrib.get("class", "").split())


def subpaths(data: str) -> Iterator[list[tuple[float, float]]]:
    """The corners of each piece of a path written with M, L, H, V, A and z in absolute coordinates."""
    points: list[tuple[float, float]] = []
    for command, rest in _COMMAND.findall(data):
        numbers = [float(text) for text in _NUMBER.findall(rest)]
        if command == "M" and points:
            yield points
            points = []
        if command in "ML":
            points += list(zip(numbers[::2], numbers[1::2], strict=True))
        elif command == "H":
            points.append((numbers[0], points[-1][1]))
        elif command == "V":
            points.append((points[-1][0], numbers[0]))
        elif command == "A":
            radius, end = numbers[0], (numbers[5], numbers[6])
            # Half circles: their top and bottom lie a radius above and below the middle.
            middle = ((points[-1][0] + end[0]) / 2, (points[-1][1] + end[1]) / 2)
            points += [(middle[0], middle[1] - radius), (middle[0], middle[1] + radius), end]
    yield points


def _extent(points: list[tuple[float, float]]) -> Extent:
    across, down = [x for x, _ in points], [y for _, y in points]
    return Extent(left=min(across), top=min(down), right=max(across), bottom=max(down))
