"""The profile of grey levels along a line drawn in a picture, averaged across a band."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matcher.columns import Bools, Floats
from matcher.errors import ObservationError

Image = NDArray[Any]
"""A grey image (h, w): 8- or 16-bit whole numbers, or floating point from 0 to 1."""

Line = tuple[float, float, float, float]
"""x0, y0, x1, y1 in px: x right, y down, pixel centres at whole numbers."""

SHORTEST_PX = 16.0
"""Shortest line with anything to count on it: four contacts of the smallest pitch that can be told apart (4 px)."""

DEFAULT_WIDTH = 1.0 / 60.0
"""Width of the band as a part of the line where none is given: about a third of a pitch of a row of twenty, so it
stays on the contacts of a slightly tilted row."""

DEFAULT_WIDTHS_PX = (3.0, 31.0)
"""Least and greatest width of the band where none is given: enough to average noise, little enough to stay on a row."""

WIDEST = 0.5
"""Widest band as a part of the line: wider takes in more of the picture than the row."""


@dataclass(frozen=True, kw_only=True)
class Profile:
    """Grey levels (0..1) along a line, every ``step`` px from its start, averaged over ``width`` px across it.

    ``line`` is (x0, y0, x1, y1) in px: x right, y down, pixel centres at whole numbers.
    """

    values: Floats
    step: float
    line: Line
    width: float

    def point(self, position: float) -> tuple[float, float]:
        """The image point (x, y), px, at ``position`` px from the start of the line."""
        x0, y0, x1, y1 = self.line
        part = position / math.hypot(x1 - x0, y1 - y0)
        return x0 + part * (x1 - x0), y0 + part * (y1 - y0)


def profile_along(image: Image, line: Line, width: float | None = None) -> Profile:
    """The grey levels along ``line``, averaged across a band ``width`` px wide (None: chosen by the line's length).

    ``image`` is (h, w): whole numbers of 8 or 16 bits, or floating point from 0 to 1; only the band is read, in
    bilinear interpolation. What of the band lies outside the image is left out of the average.

    Raises `ObservationError`: field ``image`` for what is no grey image or has no finite levels in the band, ``line``
    for a line that is too short or leaves the image, ``width`` for a band that is not wide at all or too wide.
    """
    _check_image(image)
    x0, y0, x1, y1 = ends = _checked_line(line, image.shape)
    length = math.hypot(x1 - x0, y1 - y0)
    across = _checked_width(width, length)
    count = round(length) + 1
    t = np.linspace(0.0, 1.0, count)
    rows = max(1, math.ceil(across))
    offsets = (np.arange(rows) + 0.5) / rows * across - across / 2.0
    x = (x0 + t * (x1 - x0))[None, :] - (offsets * (y1 - y0) / length)[:, None]
    y = (y0 + t * (y1 - y0))[None, :] + (offsets * (x1 - x0) / length)[:, None]
    values = _averaged(image, x, y)
    return Profile(values=values, step=length / (count - 1), line=ends, width=across)


def _averaged(image: Image, x: Floats, y: Floats) -> Floats:
    """Mean over the rows of points (x, y) that lie in the image: there is at least one, the line itself."""
    height, width = image.shape
    inside: Bools = (x >= -0.5) & (x <= width - 0.5) & (y >= -0.5) & (y <= height - 0.5)
    levels = _bilinear(image, x.clip(0, width - 1), y.clip(0, height - 1))
    used = np.where(inside, levels, 0.0)
    if not np.isfinite(used).all():
        raise ObservationError(
            "the image has levels that are not finite numbers along the line",
            field="image",
            value="not finite",
            remedy="give an image of finite grey levels, from 0 (black) to 1 (white)",
        )
    means: Floats = used.sum(axis=0) / np.maximum(inside.sum(axis=0), 1)
    return means


def _bilinear(image: Image, x: Floats, y: Floats) -> Floats:
    """Levels (0..1) at points inside the image; reads four pixels per point and copies nothing else."""
    left = np.minimum(x.astype(np.intp), max(image.shape[1] - 2, 0))
    top = np.minimum(y.astype(np.intp), max(image.shape[0] - 2, 0))
    right, bottom = np.minimum(left + 1, image.shape[1] - 1), np.minimum(top + 1, image.shape[0] - 1)
    fx, fy = x - left, y - top
    upper = image[top, left] * (1.0 - fx) + image[top, right] * fx
    lower = image[bottom, left] * (1.0 - fx) + image[bottom, right] * fx
    white = float(np.iinfo(image.dtype).max) if image.dtype.kind == "u" else 1.0
    levels: Floats = (upper * (1.0 - fy) + lower * fy) / white
    return levels


def _check_image(image: Image) -> None:
    if not isinstance(image, np.ndarray) or image.ndim != 2 or 0 in image.shape:
        raise ObservationError(
            "the image is not a grey image",
            field="image",
            value=getattr(image, "shape", type(image).__name__),
            remedy="give one grey level per pixel, as an array of height by width",
        )
    if image.dtype.kind != "f" and image.dtype not in (np.uint8, np.uint16):
        raise ObservationError(
            f"grey levels of type {image.dtype} have no known white",
            field="image",
            value=str(image.dtype),
            remedy="give 8- or 16-bit levels, or floating point from 0 (black) to 1 (white)",
        )


def _checked_line(line: Line, shape: tuple[int, ...]) -> Line:
    numbers = [float(value) for value in line]
    if len(numbers) != 4 or not all(math.isfinite(value) for value in numbers):
        raise _line_error("the line is not four finite numbers", line, "give x0, y0, x1, y1 in pixels")
    x0, y0, x1, y1 = numbers
    height, width = shape
    for x, y, end in ((x0, y0, "starts"), (x1, y1, "ends")):
        if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
            message = f"the line {end} at ({x:g}, {y:g}), outside the image of {width} by {height} pixels"
            raise _line_error(message, line, "draw the line inside the image, over the end contacts of the row")
    if math.hypot(x1 - x0, y1 - y0) < SHORTEST_PX:
        message = f"the line is {math.hypot(x1 - x0, y1 - y0):.3g} px long; the shortest is {SHORTEST_PX:g} px"
        raise _line_error(message, line, "draw it along the row, from outside the first contact to outside the last")
    return x0, y0, x1, y1


def _line_error(message: str, line: Line, remedy: str) -> ObservationError:
    return ObservationError(message, field="line", value=tuple(line), remedy=remedy)


def _checked_width(width: float | None, length: float) -> float:
    if width is None:
        least, most = DEFAULT_WIDTHS_PX
        return min(max(length * DEFAULT_WIDTH, least), most)
    if not (math.isfinite(width) and 0.0 < width <= WIDEST * length):
        raise ObservationError(
            f"a band {width:g} px wide cannot be averaged along a line of {length:.4g} px",
            field="width",
            value=width,
            remedy=f"give a width above 0 and up to {WIDEST * length:.4g} px, or none to have it chosen",
        )
    return float(width)
