"""The profile of grey levels along a line drawn in a picture, averaged across a band.

Averaging reduces noise, and a trimmed mean removes specks that cover only a part of the band. If no width is given, the
band is as wide as the contacts are long: lanes beside the line are compared with the line to find out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates, uniform_filter1d

from matcher.columns.columns import Floats, Ints
from matcher.errors import ObservationError

Image = NDArray[Any]
"""A grey image (h, w): 8- or 16-bit whole numbers, or floating point from 0 to 1."""

Line = tuple[float, float, float, float]
"""x0, y0, x1, y1 in px: x right, y down, pixel centres at whole numbers."""

SHORTEST_PX = 16.0
"""Shortest line, px: four contacts of the smallest pitch that is looked for (4 px)."""

WIDEST_CHOSEN = (0.125, 61.0)
"""Widest band that is chosen if none is given, as a part of the line and in px: across the row, a contact of a row of
four is not longer than an eighth of the line; with this many pixels, noise does not matter any more."""

BEYOND_ENDS = 0.2
"""How far the picture is read beyond each end of the line, as a part of its length: most of a pitch of a row of
four."""

FIRST_LANES = 3
"""Number of lanes (one px wide each) in the middle of the band that the others are compared with."""

LIKE_THE_MIDDLE = 0.7
"""Least covariance of a lane of the band with the middle, compared with that of the lanes next to the middle. Tuned on
rendered rows: it falls to nothing within a pixel or two beyond the contacts' ends."""

TRIMMED = 0.25
"""Part of the levels across the band that the mean leaves out at either extreme: dirt that covers less has no
effect."""

WIDEST = 0.5
"""Widest band, as a part of the line: a wider one holds more of the picture than the row."""


@dataclass(frozen=True, kw_only=True)
class Profile:
    """Grey levels (0..1) along a line, every ``step`` px from its start, averaged over ``width`` px across it.

    ``line`` is (x0, y0, x1, y1) in px: x right, y down, pixel centres at whole numbers. ``ahead`` and ``behind`` are
    the levels just before the line's start and just after its end, as far as the image reaches, in the same order and
    step: they show the whole of a contact that the line cuts.
    """

    values: Floats
    step: float
    line: Line
    width: float
    ahead: Floats
    behind: Floats

    def point(self, position: float) -> tuple[float, float]:
        """The image point (x, y), px, at ``position`` px from the start of the line."""
        x0, y0, x1, y1 = self.line
        part = position / math.hypot(x1 - x0, y1 - y0)
        return x0 + part * (x1 - x0), y0 + part * (y1 - y0)


def profile_along(image: Image, line: Line, width: float | None = None) -> Profile:
    """The grey levels along ``line``, averaged across a band ``width`` px wide (None: chosen by the line's length).

    ``image`` is (h, w): whole numbers of 8 or 16 bits, or floating point from 0 to 1; only the band is read, with
    bilinear interpolation. Parts of the band outside the image are left out.

    Raises `ObservationError`: field ``image`` for anything but a grey image with finite levels in the band, ``line``
    for a line that is too short or leaves the image, ``width`` for a band of no width or too wide a band.
    """
    _check_image(image)
    x0, y0, x1, y1 = ends = _checked_line(line, image.shape)
    length = math.hypot(x1 - x0, y1 - y0)
    across = _checked_width(width, length)
    count = round(length) + 1
    before, after = _room(ends, count, image.shape)
    places = np.arange(-before, count + after) / (count - 1)
    lanes = max(FIRST_LANES, 2 * math.ceil(across / 2.0) + 1) if width is None else math.ceil(across)
    levels = _lanes(image, ends, places, (np.arange(lanes) + 0.5) / lanes * across - across / 2.0)
    if width is None:
        chosen = _like_the_middle(levels[:, before : before + count])
        across *= len(chosen) / lanes
        levels = levels[chosen]
    values = _trimmed_mean(levels)
    return Profile(
        values=values[before : before + count],
        step=length / (count - 1),
        line=ends,
        width=across,
        ahead=values[:before],
        behind=values[before + count :],
    )


def rows_read(line: Line, width: float | None = None) -> tuple[float, float]:
    """The least and the greatest y that `profile_along` may read of an image for this line and width."""
    x0, y0, x1, y1 = line
    length = max(math.hypot(x1 - x0, y1 - y0), SHORTEST_PX)
    half = (WIDEST_CHOSEN[1] if width is None else width) / 2.0 + 1.0
    beyond = BEYOND_ENDS * abs(y1 - y0) * (1.0 + 2.0 / length) + 2.0
    return min(y0, y1) - beyond - half, max(y0, y1) + beyond + half


def _room(line: Line, count: int, shape: tuple[int, ...]) -> tuple[int, int]:
    """Steps by which the line can be extended at its start and at its end inside the image."""
    x0, y0, x1, y1 = line
    most = math.ceil(BEYOND_ENDS * count)
    step_x, step_y = (x1 - x0) / (count - 1), (y1 - y0) / (count - 1)
    return _steps_inside(x0, y0, -step_x, -step_y, shape, most), _steps_inside(x1, y1, step_x, step_y, shape, most)


def _steps_inside(x: float, y: float, step_x: float, step_y: float, shape: tuple[int, ...], most: int) -> int:
    steps = np.arange(1, most + 1)
    along_x, along_y = x + steps * step_x, y + steps * step_y
    inside = (along_x >= 0) & (along_x <= shape[1] - 1) & (along_y >= 0) & (along_y <= shape[0] - 1)
    return int(np.argmin(np.append(inside, False)))


def _lanes(image: Image, line: Line, places: Floats, offsets: Floats) -> Floats:
    """Levels (lanes, places) along lines beside ``line``.

    ``offsets`` are px to the line's right as seen in the picture, ``places`` parts of the line (0: its start, 1: its
    end). Lanes that leave the image are left out; the line itself lies inside, so at least one lane is left.
    """
    x0, y0, x1, y1 = line
    height, width = image.shape
    length = math.hypot(x1 - x0, y1 - y0)
    across_x, across_y = -(y1 - y0) / length, (x1 - x0) / length
    x = (x0 + places * (x1 - x0)) + offsets[:, None] * across_x
    y = (y0 + places * (y1 - y0)) + offsets[:, None] * across_y
    inside = (x > -1.0) & (x < width) & (y > -1.0) & (y < height)
    whole = inside.all(axis=1)
    whole[len(offsets) // 2] = True
    levels = _bilinear(image, x[whole].clip(0, width - 1), y[whole].clip(0, height - 1))
    if not np.isfinite(levels).all():
        raise ObservationError(
            "the image has levels that are not finite numbers along the line",
            field="image",
            value="not finite",
            remedy="give an image of finite grey levels, from 0 (black) to 1 (white)",
        )
    return levels


def _trimmed_mean(levels: Floats) -> Floats:
    """Mean over the lanes without the darkest and the brightest. scipy.stats, which has it too, takes half a second of
    every start."""
    left_out = int(TRIMMED * len(levels))
    ordered = np.partition(levels, (left_out, len(levels) - left_out - 1), axis=0)
    return np.asarray(ordered[left_out : len(levels) - left_out].mean(axis=0))


def _like_the_middle(levels: Floats) -> Ints:
    """Lanes around the middle that look like the middle: the band ends where the contacts end.

    Slow changes are removed first, since the light is the same on and beside the contacts.
    """
    lanes, count = levels.shape
    middle = lanes // 2
    flat = levels - uniform_filter1d(levels, max(5, count // 8), axis=1, mode="reflect")
    pattern = flat[max(0, middle - 1) : middle + 2].mean(axis=0)
    along: Floats = uniform_filter1d(flat @ pattern, FIRST_LANES, mode="nearest")
    # The three lanes in the middle hold their own noise in the pattern; those beside them do not.
    beside = [lane for lane in (middle - 3, middle + 3) if 0 <= lane < lanes]
    usual = max((float(along[lane]) for lane in beside), default=0.0)
    unlike = np.flatnonzero(along < LIKE_THE_MIDDLE * usual)
    first = int(max(unlike[unlike < middle - 1], default=-1)) + 1
    last = int(min(unlike[unlike > middle + 1], default=lanes)) - 1
    return np.arange(min(first, middle), max(last, middle) + 1)


def _bilinear(image: Image, x: Floats, y: Floats) -> Floats:
    """Levels (0..1) at points inside the image; only the rows near the points are read."""
    top, bottom = int(y.min()), int(y.max()) + 2
    near = image[top:bottom]
    white = float(np.iinfo(image.dtype).max) if image.dtype.kind == "u" else 1.0
    levels: Floats = map_coordinates(near, (y - top, x), order=1, output=np.float64, mode="nearest", prefilter=False)
    return levels / white


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
            f"grey levels of type {image.dtype} cannot be read: the level of white is not known",
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
        part, most = WIDEST_CHOSEN
        return min(length * part, most)
    if not (math.isfinite(width) and 0.0 < width <= WIDEST * length):
        raise ObservationError(
            f"a band of {width:g} px is too wide or too narrow for a line of {length:.4g} px",
            field="width",
            value=width,
            remedy=f"give a width above 0 and up to {WIDEST * length:.4g} px, or leave it out",
        )
    return float(width)
