"""An invented connector half seen by a pinhole camera, and the points a person would click in its pictures."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from matcher.errors import ObservationError
from matcher.imaging.clicks.inputs import ClickedRow, KnownRectangle, Outline, Picture, ScaleSegment
from matcher.imaging.clicks.lattice_fit import clicked_row, row_through, sites_of
from matcher.imaging.clicks.picture_results import RowFit
from matcher.imaging.clicks.reduction import measure_picture
from matcher.observations import Reduced
from matcher.uncertainty.reduce import reduce

PX_PER_MM = 40.0
PITCH, SPACING, LENGTH, WIDTH = 0.5, 2.0, 6.4, 3.1
CENTRE = np.array([900.0, 700.0])
SQUARE = ((0.0, 0.0), (400.0, 0.0), (400.0, 200.0), (0.0, 200.0))


def camera(points_mm: Any, *, tilt: tuple[float, float] = (0.0, 0.0), below: float = 0.0) -> np.ndarray:
    """Where a pinhole camera 100 mm above sees points (n × 2, mm) of a plane ``below`` mm under the reference plane.

    ``tilt`` turns the part about the x and y axes, rad; without it the reference plane has PX_PER_MM.
    """
    points = np.asarray(points_mm, dtype=np.float64)
    ax, ay = tilt
    about_x = np.array([[1, 0, 0], [0, math.cos(ax), -math.sin(ax)], [0, math.sin(ax), math.cos(ax)]])
    about_y = np.array([[math.cos(ay), 0, math.sin(ay)], [0, 1, 0], [-math.sin(ay), 0, math.cos(ay)]])
    space = np.column_stack([points, np.full(len(points), below)]) @ (about_y @ about_x).T
    return CENTRE + 100.0 * PX_PER_MM * space[:, :2] / (100.0 + space[:, 2:])


def clicks(points: np.ndarray, rng: np.random.Generator | None = None, sd: float = 0.0) -> tuple[Any, ...]:
    noise = 0.0 if rng is None else rng.normal(0.0, sd, points.shape)
    return tuple(map(tuple, (points + noise).tolist()))


def row_mm(y: float, *, start: float = 0.0, count: int = 12) -> np.ndarray:
    return np.column_stack([(np.arange(count) - (count - 1) / 2) * PITCH + start, np.full(count, y)])


def corners_mm(length: float, width: float) -> np.ndarray:
    return np.array([[-length, -width], [length, -width], [length, width], [-length, width]]) / 2.0


def fit_row(points: Any) -> RowFit:
    """One row fitted by the program, without the rest of the picture."""
    clicked = clicked_row(points)
    return row_through(clicked, *sites_of(clicked))


def picture(rng: np.random.Generator | None = None, sd: float = 0.0, tilt: Any = (0.0, 0.0), **parts: Any) -> Picture:
    """Two rows and the body of one half, seen by the camera."""

    def seen(points: np.ndarray) -> tuple[Any, ...]:
        return clicks(camera(points, tilt=tilt), rng, sd)

    shown = Picture(
        name="front",
        rows=(ClickedRow(points=seen(row_mm(-SPACING / 2))), ClickedRow(points=seen(row_mm(SPACING / 2)))),
        outlines=(Outline(corners=seen(corners_mm(LENGTH, WIDTH)), along="body_length", across="body_width"),),
    )
    return replace(shown, **parts)


def rectangle(rng: np.random.Generator | None = None, sd: float = 0.0, tilt: Any = (0.0, 0.0)) -> KnownRectangle:
    corners = clicks(camera(corners_mm(20.0, 12.0), tilt=tilt), rng, sd)
    return KnownRectangle(corners=corners, length=20.0, width=12.0, in_mm=True)


def ruler(length_mm: float = 10.0, **options: Any) -> ScaleSegment:
    start, end = clicks(camera([[-length_mm / 2, 4.0], [length_mm / 2, 4.0]]))
    return ScaleSegment(start=start, end=end, length_mm=length_mm, **options)


def reduced(given: Picture) -> dict[str, Reduced]:
    return {one.feature: one for one in reduce(measure_picture(given).observations)}


def refused(given: Picture) -> ObservationError:
    with pytest.raises(ObservationError) as caught:
        measure_picture(given)
    assert caught.value.remedy
    return caught.value


def outlined(corners: tuple[Any, ...]) -> Picture:
    return picture(rows=(), outlines=(Outline(corners=corners, along="body_length", across="body_width"),))
