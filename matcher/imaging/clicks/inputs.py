"""What a person clicked in one picture, as given.

Points are (x, y) in pixels, x to the right, y downwards, pixel centres at whole numbers; any sequence of two numbers
does. Everything is checked by `matcher.imaging.clicks.reduction.measure_picture`, which names the offending point.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from matcher.features import Plane
from matcher.observations import Of

Point: TypeAlias = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class ClickedRow:
    """Centres of the contacts of one row, in any order, contacts left out where they cannot be seen.

    ``feature`` is pitch, or tail_pitch for tails or lands. Rows of one plane, feature and body are taken together.
    ``plane`` is the feature's usual one where nothing is said.
    """

    points: tuple[Point, ...]
    feature: str = "pitch"
    plane: str | None = None
    of: Of = Of.THIS


@dataclass(frozen=True, kw_only=True)
class Outline:
    """A rectangle of the part: its four corners in order round it, from any corner, either way.

    ``along`` and ``across`` name the features that its edges along and across the rows give; either may be left out.
    Which edges lie along the rows is seen from the rows; without a row the longer ones are taken.
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
    """A segment of known length: ``length_mm`` with standard uncertainty ``u_mm``, in ``plane``."""

    start: Point
    end: Point
    length_mm: float
    u_mm: float = 0.0
    plane: str = Plane.HOUSING_TOP


@dataclass(frozen=True, kw_only=True)
class StatedScale:
    """A scale that is known otherwise: ``px_per_mm`` with relative standard uncertainty ``rel`` (None: the
    instrument's), in ``plane``."""

    px_per_mm: float
    rel: float | None = None
    plane: str = Plane.HOUSING_TOP


@dataclass(frozen=True, kw_only=True)
class KnownRectangle:
    """A rectangle of known sides or proportions in the picture: takes the perspective out.

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
    """Takes the perspective out by the contacts themselves, which stand in equal steps on parallel rows.

    See `matcher.imaging.clicks.perspective` for what that can and cannot show.
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

    ``name`` tells pictures apart: readings of one picture share its scale. ``instrument`` is photo, usb_microscope,
    microscope or scanner; without a scale it becomes unscaled_photo, whatever it was. ``reference_plane`` is that of
    depths in an unscaled picture.
    """

    name: str
    instrument: str = "photo"
    rows: tuple[ClickedRow, ...] = ()
    outlines: tuple[Outline, ...] = ()
    segments: tuple[Segment, ...] = ()
    scale: ScaleSegment | StatedScale | None = None
    perspective: KnownRectangle | ContactLattice | None = None
    planes: tuple[PlaneDepth, ...] = ()
    reference_plane: str = Plane.HOUSING_TOP
