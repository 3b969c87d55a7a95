"""The scale of a picture and of its planes.

A scale holds within one plane. A plane that lies farther from the lens is seen smaller: by D/(D + d) at depth d below a
reference plane at distance D (pinhole camera; exact for parallel planes, tilted or not). If depth and distance are
stated, the readings are corrected and carry the uncertainty of the correction; otherwise readings in another plane
carry the instrument's default uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.imaging.clicks.inputs import (
    SAME_PLACE,
    PlaneDepth,
    ScaleSegment,
    Segment,
    StatedScale,
    checked_plane,
    checked_point,
    positive,
    relative_u,
)
from matcher.imaging.clicks.picture_results import PictureScale
from matcher.imaging.clicks.rectification import (
    FromRectangle,
    Rectification,
    circumference,
    gradient,
    lengths,
    propagated,
    refuse_beyond,
)
from matcher.uncertainty.gum import rectangular
from matcher.vocabulary import is_number

ROUGHEST_SCALE = 0.2
"""Largest relative uncertainty of a scale: beyond, the plausible ranges of the features say more."""

DEPTH_PART = 0.1
"""Relative standard uncertainty of a depth or distance stated without uncertainty. Common practice, no source."""

NEAREST_CAMERA_MM = 50.0
"""Nearest that a lens stands to what it takes, mm, where nobody says how near. Common practice, no source."""

NEAREST = -0.5
"""Nearest plane to the lens, as depth over distance: halfway. No half is so tall."""


@dataclass(frozen=True, kw_only=True)
class PlaneScale:
    """``factor`` takes lengths seen in a plane to how the reference plane would show them; ``rel`` is its relative
    standard uncertainty."""

    factor: float = 1.0
    rel: float = 0.0


def scale_from_segment(
    given: ScaleSegment, rectification: Rectification, click_u: float, click_dof: float
) -> PictureScale:
    """Pixels per millimetre from a segment of known length: its ends' clicks, its own u, the perspective's; of a disc
    also the height of its rim.

    Raises
    ------
    ObservationError
        At ``scale.end`` for a segment of no length, or so short that it is no scale; at the number that is none.
    """
    length_mm = positive(given.length_mm, field="scale.length_mm", what="the segment's length in mm")
    if not is_number(given.u_mm) or not 0.0 <= given.u_mm < length_mm:
        raise ObservationError(
            "it is not an uncertainty of this length",
            field="scale.u_mm",
            value=given.u_mm,
            remedy="give a standard uncertainty in mm, at least 0 and below the length",
        )
    ends = segment_ends(given, rectification, field="scale")
    size, size_u = _extent(ends, rectification, click_u)
    rim = _rim(given)
    rel = math.hypot(size_u / size, given.u_mm / length_mm, rim.rel)
    if rel > ROUGHEST_SCALE:
        raise ObservationError(
            f"a scale of {size:.1f} px is uncertain by {rel:.0%}",
            field="scale.end",
            value=ends[1].tolist(),
            remedy="click a longer segment of known length",
        )
    return PictureScale(
        px_per_mm=size * rim.factor / length_mm,
        rel=rel,
        plane=checked_plane(given.plane, field="scale.plane"),
        source=f"disc {given.thickness_mm:g} mm thick" if given.thickness_mm else "segment of known length",
        degrees_of_freedom=click_dof * (rel * size / size_u) ** 4,
    )


def _rim(given: ScaleSegment) -> PlaneScale:
    """Scale of the plane that a disc lies on, against that of its upper rim: 1 − t/D for thickness t and distance D.

    Where D is not stated, t/D is anything from 0 to its largest (JCGM 100:2008 (GUM) 4.3.7). The thickness itself is
    known well enough. Raises ObservationError at the number that cannot be.
    """
    thickness = given.thickness_mm
    if not is_number(thickness) or not 0.0 <= thickness < given.length_mm:
        raise ObservationError(
            "this is not the thickness of a disc",
            field="scale.thickness_mm",
            value=thickness,
            remedy="give it in mm, at least 0 and below the diameter",
        )
    if given.camera_distance_mm is None:
        half = thickness / NEAREST_CAMERA_MM / 2.0
        nearer, u = half, rectangular(half)
    else:
        distance = positive(
            given.camera_distance_mm, field="scale.camera_distance_mm", what="the lens's distance in mm"
        )
        nearer = thickness / distance
        u = DEPTH_PART * nearer
    if nearer >= -NEAREST:
        raise ObservationError(
            "the disc is too thick for a scale: its rim is too near to the lens",
            field="scale.thickness_mm",
            value=thickness,
            remedy="take a thinner disc, or put something of known length where the part is",
        )
    return PlaneScale(factor=1.0 - nearer, rel=u / (1.0 - nearer))


def segment_ends(given: Segment | ScaleSegment, rectification: Rectification, *, field: str) -> Floats:
    """Both ends (2 × 2) of a segment.

    Raises ObservationError at the end that is no place, that is where the other is, or where the perspective is too
    strong.
    """
    ends = np.stack(
        [checked_point(given.start, field=f"{field}.start"), checked_point(given.end, field=f"{field}.end")]
    )
    if math.dist(ends[0], ends[1]) < SAME_PLACE:
        raise ObservationError(
            "this is the same place as the start",
            field=f"{field}.end",
            value=given.end,
            remedy="click both ends of the segment",
        )
    refuse_beyond(rectification, ends, fields=(f"{field}.start", f"{field}.end"))
    return ends


def _extent(ends: Floats, rectification: Rectification, click_u: float) -> tuple[float, float]:
    """Length of a segment without perspective, px, and its standard uncertainty."""

    def length(both: Floats) -> Floats:
        straight = rectification.straight(both[..., :4].reshape(-1, 2, 2), both[..., 4:])
        return lengths(straight[:, 1] - straight[:, 0])

    value, by_clicks, by_perspective = propagated(length, ends.ravel(), click_u, rectification)
    return value, math.hypot(by_clicks, by_perspective)


def scale_from_rectangle(given: FromRectangle, plane: str, click_dof: float) -> PictureScale:
    """Pixels per millimetre from a rectangle whose sides are known in mm: circumference over circumference."""
    corners = given.parameters[:8]
    size = float(circumference(given.corners))
    slopes = gradient(lambda many: circumference(many.reshape(-1, 4, 2)), corners, np.full(8, given.click_u))
    clicks = given.click_u * float(np.linalg.norm(slopes)) / size
    sides = given.rel_u * math.hypot(given.length, given.width) / (given.length + given.width)
    rel = math.hypot(clicks, sides)
    if rel > ROUGHEST_SCALE:
        raise ObservationError(
            f"a rectangle of {size / 4:.0f} px gives no scale: its uncertainty is {rel:.0%}",
            field="perspective.corners",
            value=size,
            remedy="click a larger rectangle of known sides, or leave in_mm out",
        )
    return PictureScale(
        px_per_mm=size / (2.0 * (given.length + given.width)),
        rel=rel,
        plane=plane,
        source="rectangle of known sides",
        degrees_of_freedom=click_dof * (rel / clicks) ** 4,
    )


def stated_scale(given: StatedScale, default_rel: float) -> PictureScale:
    """A scale known from elsewhere; raises ObservationError for numbers that cannot be a scale."""
    px_per_mm = positive(given.px_per_mm, field="scale.px_per_mm", what="the number of pixels per mm")
    rel = default_rel if given.rel is None else positive(given.rel, field="scale.rel", what="the scale's relative u")
    if rel > ROUGHEST_SCALE:
        raise ObservationError(
            f"a scale with an uncertainty of {rel:.0%} cannot be used",
            field="scale.rel",
            value=rel,
            remedy="give a part of one, e.g. 0.01 for 1 %",
        )
    plane = checked_plane(given.plane, field="scale.plane")
    return PictureScale(px_per_mm=px_per_mm, rel=rel, plane=plane, source="stated", degrees_of_freedom=math.inf)


def plane_scales(given: Sequence[PlaneDepth], reference: str) -> Mapping[str, PlaneScale]:
    """Scale of each stated plane against that of the reference plane, which is 1.

    Raises
    ------
    ObservationError
        At ``planes[i]`` and the part that is wrong.
    """
    scales = {reference: PlaneScale()}
    for i, one in enumerate(given):
        field = f"planes[{i}]"
        plane = checked_plane(one.plane, field=f"{field}.plane")
        if plane in scales:
            what = "this is the plane of the scale itself" if plane == reference else "this plane is stated twice"
            raise ObservationError(what, field=f"{field}.plane", value=plane, remedy="state each other plane once")
        scales[plane] = _stated_plane(one, field)
    return scales


def _stated_plane(given: PlaneDepth, field: str) -> PlaneScale:
    if given.rel is not None and given.depth_mm is None:
        return PlaneScale(rel=relative_u(given.rel, field=f"{field}.rel"))
    if given.rel is not None or not is_number(given.depth_mm):
        raise ObservationError(
            "the plane's depth is not clear",
            field=f"{field}.depth_mm",
            value=given.depth_mm,
            remedy="give depth_mm and camera_distance_mm, or rel alone",
        )
    distance = positive(given.camera_distance_mm, field=f"{field}.camera_distance_mm", what="the lens's distance in mm")
    depth = float(given.depth_mm)
    if not NEAREST < depth / distance < 1.0:
        raise ObservationError(
            "a plane cannot lie there",
            field=f"{field}.depth_mm",
            value=depth,
            remedy="give the depth below the reference plane in mm, negative above it",
        )
    u_depth = _own_u(given.u_depth_mm, depth, f"{field}.u_depth_mm")
    u_distance = _own_u(given.u_camera_distance_mm, distance, f"{field}.u_camera_distance_mm")
    factor = 1.0 + depth / distance
    return PlaneScale(factor=factor, rel=math.hypot(u_depth / distance, depth * u_distance / distance**2) / factor)


def _own_u(stated: float | None, size: float, field: str) -> float:
    if stated is None:
        return DEPTH_PART * abs(size)
    if not is_number(stated) or not 0.0 <= stated < math.inf:
        raise ObservationError(
            "this is not a standard uncertainty", field=field, value=stated, remedy="give a standard uncertainty in mm"
        )
    return float(stated)
