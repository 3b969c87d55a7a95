"""Clicked points as arrays: checked, and refused with the name of the offending point."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.observations import LARGEST_COUNT
from matcher.uncertainty.checked import is_number

LARGEST_PIXEL = 1e6
"""Largest coordinate that is taken seriously, px either way: no picture is larger."""

MOST_POINTS = LARGEST_COUNT
"""Most points of one row: the largest count of contacts that is taken at all."""

SAME_PLACE = 1.0
"""Two clicks closer than this, px, are one place clicked twice."""


def numbers_of(given: ArrayLike, width: int, *, field: str, fewest: int) -> Floats:
    """Points as an (n × width) array of finite pixels of sensible size.

    Raises
    ------
    ObservationError
        At ``field`` for too few, too many or shapeless points; at ``field[i]`` for one that is no place in a picture.
    """
    items = list(given) if isinstance(given, Sequence | np.ndarray) else []
    if len(items) < fewest:
        remedy = f"click at least {fewest}"
        raise ObservationError(f"{len(items)} points are too few", field=field, value=len(items), remedy=remedy)
    if len(items) > MOST_POINTS:
        raise ObservationError(
            f"{len(items)} points are too many", field=field, value=len(items), remedy=f"give at most {MOST_POINTS}"
        )
    return np.array([_checked(item, width, f"{field}[{i}]") for i, item in enumerate(items)], dtype=np.float64)


def point_of(given: ArrayLike, *, field: str) -> Floats:
    """One clicked point (x, y) as an array; raises as `numbers_of`, at ``field``."""
    return np.array(_checked(given, 2, field), dtype=np.float64)


def _checked(item: object, width: int, field: str) -> list[float]:
    listed = isinstance(item, Sequence | np.ndarray) and not isinstance(item, str | bytes)
    parts = [_coordinate(part) for part in (item if listed else [item])]  # type: ignore[attr-defined]
    if len(parts) != width or not all(math.isfinite(part) for part in parts):
        shape = "x and y, two finite numbers" if width == 2 else "one finite number"
        raise ObservationError("it is no place in a picture", field=field, value=item, remedy=f"give {shape} in pixels")
    if any(abs(part) > LARGEST_PIXEL for part in parts):
        remedy = f"give pixels, at most {LARGEST_PIXEL:.0f}"
        raise ObservationError("no picture is so large", field=field, value=item, remedy=remedy)
    return parts


def _coordinate(part: object) -> float:
    """A number as it is, NaN for anything else."""
    return float(part) if is_number(part) and not isinstance(part, bytes) else math.nan


def refuse_same_place(points: Floats, closest: float, *, field: str) -> None:
    """Refuse two points (n × d) that are nearer to each other than ``closest``; names the later one.

    Raises
    ------
    ObservationError
        At ``field[i]`` of the later of the two points.
    """
    order = np.argsort(points[:, 0], kind="stable")
    for rank, i in enumerate(order):
        for j in order[rank + 1 :]:
            if points[j, 0] - points[i, 0] >= closest:
                break
            if math.dist(points[i], points[j]) < closest:
                first, second = sorted((int(i), int(j)))
                raise ObservationError(
                    f"it is the same place as {field}[{first}]",
                    field=f"{field}[{second}]",
                    value=points[second].tolist(),
                    remedy="click every contact once",
                )
