"""Writes shapes and elements as SVG text: user units are mm, attributes only, everything escaped.

No ``style`` attributes and no scripts: pages forbid both. Colours and line widths are the page's, by class.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping

from api.drawing.geometry import Blocks, Box, Discs, DrawingError, Part, Point, Polygon, Shape, Wire

DECIMALS = 4
"""Decimals of a coordinate: 0.1 µm."""

NAMESPACE = "http://www.w3.org/2000/svg"

_SPECIAL = re.compile("[\x00-\x1f&<>\"'\ud800-\udfff\ufffe\uffff]")
"""Letters that XML 1.0 cannot hold as they are, in text or in an attribute."""

_ESCAPES = {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#39;", "\t": " ", "\n": " ", "\r": " "}


def escape(text: str) -> str:
    """Text for content or a quoted attribute; characters that XML cannot hold even escaped become U+FFFD."""
    return _SPECIAL.sub(lambda found: _ESCAPES.get(found[0], "\ufffd"), text)


def number(value: float) -> str:
    """A coordinate in mm; DrawingError for anything that is not a number."""
    if not math.isfinite(value):
        raise DrawingError(
            f"a coordinate came out as {value}", field="drawing", value=value, remedy="check the sizes entered"
        )
    text = f"{value:.{DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def element(name: str, attributes: Mapping[str, str | float | None], *content: str) -> str:
    """One element; attributes of None are left out, numbers written as mm. ``content`` is markup already."""
    written = "".join(
        f' {key}="{escape(value) if isinstance(value, str) else number(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    inner = "".join(content)
    return f"<{name}{written}>{inner}</{name}>" if inner else f"<{name}{written}/>"


def group(css: str, content: Iterable[str], **attributes: str | float | None) -> str:
    """A ``<g>`` of a class; attribute names have low lines for hyphens."""
    named = {name.replace("_", "-"): value for name, value in attributes.items()}
    return element("g", {"class": css, **named}, *content)


def words(
    css: str,
    x: float,
    y: float,
    size: float,
    said: str,
    *,
    anchor: str = "middle",
    turned: bool = False,
    halo: float | None = None,
) -> str:
    """A line of text; ``turned`` reads upwards. ``halo`` is the width of a stroke behind it, which pages colour."""
    place: dict[str, str | float | None] = {"class": css, "x": x, "y": y, "font-size": size, "text-anchor": anchor}
    if halo is not None:
        place |= {"stroke-width": halo, "paint-order": "stroke"}
    if turned:
        place["transform"] = f"rotate(-90 {number(x)} {number(y)})"
    return element("text", place, escape(said))


def line_path(css: str, lines: Iterable[Iterable[Point]], **attributes: str | float | None) -> str:
    """Open lines of constant thickness on screen."""
    drawn = "".join(_open(line) for line in lines)
    named = {name.replace("_", "-"): value for name, value in attributes.items()}
    return element("path", {"class": css, "d": drawn, "vector-effect": "non-scaling-stroke", **named})


def part_markup(part: Part) -> str:
    """One part with its classes: role, and ``assumed`` or ``hidden`` where it is."""
    flags = [part.role, *(flag for flag in ("assumed", "hidden") if getattr(part, flag))]
    attributes: dict[str, str | float | None] = {"class": " ".join(flags), "data-feature": part.feature or None}
    if isinstance(part.shape, Wire):
        # Real thickness: this stroke is metal seen on edge and grows with the part.
        attributes["stroke-width"] = part.shape.thickness
    else:
        attributes["vector-effect"] = "non-scaling-stroke"
    return element("path", {**attributes, "d": path_of(part.shape)})


def path_of(shape: Shape) -> str:
    """Path data in absolute mm; equal pieces (contacts) are one path."""
    if isinstance(shape, Polygon):
        return _open(shape.points) + "z"
    if isinstance(shape, Wire):
        return "".join(_open(line) for line in shape.lines)
    if isinstance(shape, Discs):
        return "".join(_disc(x, y, shape.radius) for x, y in shape.centres)
    return _blocks(shape)


def _open(line: Iterable[Point]) -> str:
    points = [f"{number(x)},{number(y)}" for x, y in line]
    return f"M{' '.join(points)}"


def _blocks(shape: Blocks) -> str:
    """Absolute corners, so that no rounding adds up along a row."""
    pieces = []
    for x, y in shape.centres:
        left, right = number(x - shape.width / 2), number(x + shape.width / 2)
        top, bottom = number(y - shape.height / 2), number(y + shape.height / 2)
        pieces.append(f"M{left},{top}H{right}V{bottom}H{left}z")
    return "".join(pieces)


def _disc(x: float, y: float, radius: float) -> str:
    left, right, r = number(x - radius), number(x + radius), number(radius)
    return f"M{left},{number(y)}A{r},{r} 0 0 1 {right},{number(y)}A{r},{r} 0 0 1 {left},{number(y)}z"


def document(
    box: Box, px_per_mm: float, title: str, description: str, content: Iterable[str], *, css: str, prefix: str = ""
) -> str:
    """A whole picture for a page: ``box`` in mm is its viewBox, shown at ``px_per_mm``; title and description are read
    out by screen readers. ``prefix`` keeps ids apart where several pictures stand on one page."""
    view = " ".join(number(value) for value in (box.left, box.top, box.width, box.height))
    attributes: dict[str, str | float | None] = {
        "xmlns": NAMESPACE,
        "class": f"drawing {css}",
        "viewBox": view,
        "width": round(box.width * px_per_mm, 2),
        "height": round(box.height * px_per_mm, 2),
        "role": "img",
        "aria-labelledby": f"{prefix}title {prefix}description",
    }
    named = element("title", {"id": f"{prefix}title"}, escape(title))
    described = element("desc", {"id": f"{prefix}description"}, escape(description))
    return element("svg", attributes, named, described, *content)
