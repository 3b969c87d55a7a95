"""What a person clicked in one picture, as given.

Points are (x, y) in pixels, x to the right, y downwards, pixel centres at whole numbers; any sequence of two numbers
does. Everything is checked by `matcher.imaging.clicks.reduction.measure_picture`, which names the offending point.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.features import Plane
from matcher.observations import LARGEST_COUNT, Of
from matcher.uncertainty.instruments import Taken
from matcher.uncertainty.measuring_setup import SIDE_VIEW
from matcher.vocabulary import is_number

Point: TypeAlias = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class ClickedRow:
    """Centres of the contacts of one row, in any order, contacts left out where they cannot be seen.

    ``feature`` is pitch, or tail_pitch for tails or lands. Rows of one plane, feature and body are taken together.
    ``plane`` defaults to the feature's usual one.
    """

    points: tuple[Point, ...]
    feature: str = "pitch"
    plane: str | None = None
    of: Of = Of.THIS


@dataclass(frozen=True, kw_only=True)
class Outline:
    """A rectangle of the part: its four corners in order round it, from any corner, either way.

    ``along`` and ``across`` name the features that its edges along and across the rows give; either may be left out.
    The rows show which edges lie along them; without a row the longer edges are taken.
    """

    corners: tuple[Point, ...]
    along: str | None = None
    across: str | None = None
    plane: str | None = None
    of: Of = Of.THIS


@dataclass(frozen=True, kw_only=True)
class Segment:
    """One feature clicked from end to end. With rows in the picture only its part along or across them counts.

    ``spans`` gaps lie between the ends (for a pitch); the value is divided by them.
    """

    start: Point
    end: Point
    feature: str
    plane: str | None = None
    spans: int = 1
    of: Of = Of.THIS


@dataclass(frozen=True, kw_only=True)
class ScaleSegment:
    """A segment of known length: ``length_mm`` with standard uncertainty ``u_mm``, in ``plane``.

    Of a disc that lies on ``plane`` (a coin, a washer) it is the diameter, between opposite points of the upper rim,
    which is nearer to the lens by ``thickness_mm``. ``camera_distance_mm`` is from the lens to ``plane`` (None: not
    known).
    """

    start: Point
    end: Point
    length_mm: float
    u_mm: float = 0.0
    plane: str = Plane.HOUSING_TOP
    thickness_mm: float = 0.0
    camera_distance_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class StatedScale:
    """A scale known from elsewhere: ``px_per_mm`` with relative standard uncertainty ``rel`` (None: the instrument's),
    in ``plane``."""

    px_per_mm: float
    rel: float | None = None
    plane: str = Plane.HOUSING_TOP


@dataclass(frozen=True, kw_only=True)
class KnownRectangle:
    """A rectangle of known sides or proportions in the picture, used to remove the perspective.

    ``length`` is the side from the first to the second corner, ``width`` from the second to the third. In millimetres
    (``in_mm``) they give the scale too; otherwise only their proportion counts. ``rel_u`` is the relative standard
    uncertainty of each side by itself.
    """

    corners: tuple[Point, ...]
    length: float
    width: float
    in_mm: bool = False
    rel_u: float = 0.0
    plane: str = Plane.HOUSING_TOP


@dataclass(frozen=True, kw_only=True)
class ContactLattice:
    """Removes the perspective with the help of the contacts, which have equal steps on parallel rows.

    See `matcher.imaging.clicks.rectification` for what that can and cannot show.
    """


@dataclass(frozen=True, kw_only=True)
class PlaneDepth:
    """How far a plane lies from the scale's plane (in an unscaled picture: from the reference plane).

    Either ``depth_mm`` (positive: farther from the camera) with ``camera_distance_mm`` (lens to the reference plane)
    and their standard uncertainties (None: a tenth of each), or ``rel``, the relative standard uncertainty of the
    plane's scale.
    """

    plane: str
    depth_mm: float | None = None
    camera_distance_mm: float | None = None
    u_depth_mm: float | None = None
    u_camera_distance_mm: float | None = None
    rel: float | None = None


@dataclass(frozen=True, kw_only=True)
class Picture:
    """Everything clicked in one picture.

    ``name`` identifies the picture: its readings share its scale. ``instrument`` is photo, usb_microscope, microscope
    or scanner. ``taken`` matters without a scale alone; None: by hand for what no stand holds perpendicular, straight
    from above for a microscope or scanner. A picture with a known rectangle is rectified, however it was taken.
    ``reference_plane`` is that of depths in an unscaled picture.
    """

    name: str
    instrument: str = "photo"
    taken: Taken | None = None
    rows: tuple[ClickedRow, ...] = ()
    outlines: tuple[Outline, ...] = ()
    segments: tuple[Segment, ...] = ()
    scale: ScaleSegment | StatedScale | None = None
    perspective: KnownRectangle | ContactLattice | None = None
    planes: tuple[PlaneDepth, ...] = ()
    reference_plane: str = Plane.HOUSING_TOP


PLANES = (*(str(plane) for plane in Plane), SIDE_VIEW)
"""Names of planes; side_view is that of heights."""


def checked_plane(plane: object, *, field: str) -> str:
    """The name of a plane; raises ObservationError at ``field`` for anything else."""
    if not isinstance(plane, str) or plane not in PLANES:
        raise ObservationError(
            f"{plane!r} is not a plane of a picture", field=field, value=plane, remedy=f"known: {', '.join(PLANES)}"
        )
    return str(plane)


def checked_body(of: object, *, field: str) -> Of:
    """Which body it is; raises ObservationError at ``field`` for a name that is none."""
    if not isinstance(of, str) or of not in list(Of):
        raise ObservationError(f"{of!r} is not a body", field=field, value=of, remedy=f"known: {', '.join(Of)}")
    return Of(of)


def relative_u(value: object, *, field: str) -> float:
    """A relative standard uncertainty, from 0 to below 1; raises ObservationError at ``field`` for anything else."""
    if not is_number(value) or not 0.0 <= value < 1.0:
        raise ObservationError(
            "this is not a relative uncertainty",
            field=field,
            value=value,
            remedy="give a part of one, e.g. 0.01 for 1 %",
        )
    return float(value)


def positive(value: object, *, field: str, what: str) -> float:
    """A finite number above 0; raises ObservationError at ``field`` for anything else."""
    if not is_number(value) or not value > 0.0:
        raise ObservationError(
            f"{what} is a finite number above 0", field=field, value=value, remedy=f"give {what} as it is"
        )
    return float(value)


LARGEST_PIXEL = 1e6
"""Largest coordinate accepted, px in either direction: no picture is larger."""

MOST_POINTS = LARGEST_COUNT
"""Most points of one row: the largest contact count accepted."""

SAME_PLACE = 1.0
"""Two clicks closer than this, px, are the same place clicked twice."""


def checked_points(given: ArrayLike, width: int, *, field: str, fewest: int) -> Floats:
    """Points as an (n × width) array of finite pixels of sensible size.

    Raises
    ------
    ObservationError
        At ``field`` for too few, too many or shapeless points; at ``field[i]`` for one that is no place in a picture.
    """
    items = list(given) if isinstance(given, Sequence | np.ndarray) else []
    if len(items) < fewest:
        raise ObservationError(
            f"{len(items)} points are too few", field=field, value=len(items), remedy=f"click at least {fewest}"
        )
    if len(items) > MOST_POINTS:
        raise ObservationError(
            f"{len(items)} points are too many", field=field, value=len(items), remedy=f"give at most {MOST_POINTS}"
        )
    if (
        isinstance(given, np.ndarray)
        and given.dtype == np.float64
        and given.ndim < 3
        and given.size == width * len(items)
    ):
        places = given.reshape(len(items), width)
        if bool((np.abs(places) <= LARGEST_PIXEL).all()):  # false for what is no number, too
            return places.copy()
    return np.array([_checked(item, width, f"{field}[{i}]") for i, item in enumerate(items)], dtype=np.float64)


def checked_point(given: ArrayLike, *, field: str) -> Floats:
    """One clicked point (x, y) as an array; raises as `checked_points`, at ``field``."""
    return np.array(_checked(given, 2, field), dtype=np.float64)


def _checked(item: object, width: int, field: str) -> list[float]:
    listed = isinstance(item, Sequence | np.ndarray) and not isinstance(item, str | bytes)
    parts = [_coordinate(part) for part in (item if listed else [item])]  # type: ignore[attr-defined]
    if len(parts) != width or not all(math.isfinite(part) for part in parts):
        shape = "x and y, two finite numbers" if width == 2 else "one finite number"
        raise ObservationError(
            "this is not a point in a picture", field=field, value=item, remedy=f"give {shape} in pixels"
        )
    if any(abs(part) > LARGEST_PIXEL for part in parts):
        raise ObservationError(
            "no picture is that large", field=field, value=item, remedy=f"give pixels, at most {LARGEST_PIXEL:.0f}"
        )
    return parts


def _coordinate(part: object) -> float:
    """A number unchanged; NaN for anything else."""
    return float(part) if is_number(part) and not isinstance(part, bytes) else math.nan


def refuse_same_place(points: Floats, closest: float, *, field: str) -> None:
    """Refuse two points (n × d) that are nearer to each other than ``closest``; names the later one.

    Raises
    ------
    ObservationError
        At ``field[i]`` of the later of the two points.
    """
    order, places = np.argsort(points[:, 0], kind="stable").tolist(), points.tolist()
    for rank, i in enumerate(order):
        for j in order[rank + 1 :]:
            if places[j][0] - places[i][0] >= closest:
                break
            if math.dist(places[i], places[j]) < closest:
                first, second = sorted((i, j))
                raise ObservationError(
                    f"this is the same place as {field}[{first}]",
                    field=f"{field}[{second}]",
                    value=points[second].tolist(),
                    remedy="click every contact once",
                )
