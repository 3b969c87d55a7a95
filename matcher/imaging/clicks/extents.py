"""Lengths clicked from end to end or from corner to corner."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.features import FEATURES, Direction
from matcher.imaging.clicks.context import Context, checked_length, line, plane_for
from matcher.imaging.clicks.inputs import Outline, Segment, checked_body
from matcher.imaging.clicks.picture_results import PictureReading
from matcher.imaging.clicks.rectification import (
    AS_SEEN,
    FromRectangle,
    FromVanishingLine,
    checked_corners,
    edges,
    lengths,
    propagated,
    refuse_beyond,
)
from matcher.imaging.clicks.scale import segment_ends
from matcher.observations import BudgetLine
from matcher.vocabulary import is_number

CLEARLY_LONGER = 1.2
"""Without a row, the edges of an outline must differ by this factor to show which lie along the rows. A choice."""

SQUAREST, STEEPEST = 0.7, 1.5
"""Smallest sine of an outline's corner, and largest ratio of its opposite edges: beyond, it is not a rectangle of a
half seen from above."""

ASTRAY = math.cos(math.radians(30.0))
"""Smallest cosine between a segment and the direction in which its feature lies."""


def outline_readings(given: Outline, i: int, context: Context) -> tuple[PictureReading, ...]:
    """Length and width of a rectangle of the part.

    Opposite edges are averaged. If the perspective is not removed, or only along one row, half of their difference
    stands in the budget as a limit (rectangular): in an oblique view the true length lies between both.

    Raises
    ------
    ObservationError
        At ``outlines[i]`` and the corner or feature that is wrong.
    """
    field = f"outlines[{i}]"
    if given.along is None and given.across is None:
        raise ObservationError(
            "the outline names no feature",
            field=f"{field}.along",
            value=None,
            remedy="name the features in along and across, or one of them",
        )
    of = checked_body(given.of, field=f"{field}.of")
    corners = checked_corners(given.corners, field=f"{field}.corners")
    refuse_beyond(context.rows.rectification, corners, fields=[f"{field}.corners[{j}]" for j in range(4)])
    straight = context.rows.rectification.now(corners)
    _refuse_no_rectangle(straight, f"{field}.corners")
    first_is_along = _first_is_along(straight, context.rows.along, f"{field}.corners")
    readings = []
    for name, along in ((given.along, True), (given.across, False)):
        if name is not None:
            feature = checked_length(name, field=f"{field}.{'along' if along else 'across'}", along=along)
            plane = plane_for(given.plane, feature, field=f"{field}.plane")
            value, lines = _edge_pair(corners, straight, first_is_along == along, context)
            readings.append(context.reading(feature, value, lines, plane=plane, of=of, field=f"{field}.corners"))
    return tuple(readings)


def _refuse_no_rectangle(corners: Floats, field: str) -> None:
    sides = edges(corners)
    long = lengths(sides)
    for i in range(4):
        cross = abs(float(sides[i - 1][0] * sides[i][1] - sides[i - 1][1] * sides[i][0]))
        if cross < SQUAREST * long[i - 1] * long[i]:
            raise ObservationError(
                "this corner is too far from a right angle for a rectangle",
                field=f"{field}[{i}]",
                value=corners[i].tolist(),
                remedy="click the corner again, or take the picture from straight above",
            )
    for i in (0, 1):
        if not 1 / STEEPEST < long[i] / long[i + 2] < STEEPEST:
            raise ObservationError(
                f"opposite edges are {long[i]:.0f} and {long[i + 2]:.0f} px long",
                field=field,
                value=[float(long[i]), float(long[i + 2])],
                remedy="click the corners again, or take the picture from straight above",
            )


def _first_is_along(corners: Floats, along: Floats | None, field: str) -> bool:
    """Whether the edge from the first to the second corner lies along the rows."""
    sides = edges(corners)
    long = lengths(sides)
    if along is not None:
        return bool(abs(float(sides[0] @ along)) > math.sqrt(0.5) * long[0])
    ratio = float((long[0] + long[2]) / (long[1] + long[3]))
    if 1 / CLEARLY_LONGER < ratio < CLEARLY_LONGER:
        raise ObservationError(
            "the picture does not show which edges lie along the rows",
            field=field,
            value=ratio,
            remedy="click a row of contacts in the same picture, or give length and width as segments",
        )
    return ratio > 1.0


def _edge_pair(corners: Floats, straight: Floats, first: bool, context: Context) -> tuple[float, list[BudgetLine]]:
    """Mean of two opposite edges, px, and its budget."""
    start = 0 if first else 1
    value, lines = _by_clicks(_mean_edge(start, context), corners, context)
    sides = edges(straight)
    long = lengths(sides)
    if not _sees_both_ways(context):
        half = abs(float(long[start] - long[start + 2])) / 2
        lines.append(line("opposite edges differ", "rectangular", half / math.sqrt(3.0), 1.0))
    lines.extend(context.skew_line(sides[start] / long[start], value))
    return value, lines


def _mean_edge(start: int, context: Context) -> Callable[[Floats], Floats]:
    def function(both: Floats) -> Floats:
        straight = context.rows.rectification.straight(both[..., :8].reshape(-1, 4, 2), both[..., 8:])
        pair = lengths(edges(straight)[..., [start, start + 2], :])
        return np.asarray(pair.mean(axis=-1))

    return function


def _sees_both_ways(context: Context) -> bool:
    """Whether the perspective is known along the rows and across."""
    how = context.rows.rectification
    return isinstance(how, FromRectangle) or (isinstance(how, FromVanishingLine) and len(how.basis) == 2)


def _by_clicks(function: Callable[[Floats], Floats], own: Floats, context: Context) -> tuple[float, list[BudgetLine]]:
    """Value, and the budget lines of its own clicks and of the perspective's.

    If both have the same clicking error, they are one line, with one figure for the degrees of freedom.
    """
    edge_u, edge_dof = context.edge_u
    value, own_part, shared_part = propagated(function, own.ravel(), edge_u, context.rows.rectification)
    if edge_u == context.rows.click_u:
        whole = math.hypot(own_part, shared_part)
        return value, [line("clicks at the ends", "normal", edge_u, whole / edge_u, edge_dof)]
    lines = [line("where the edges are", "normal", edge_u, own_part / edge_u, edge_dof)]
    if context.rows.rectification is not AS_SEEN:
        lines.append(line("clicks that show the perspective", "normal", shared_part, 1.0, context.rows.click_dof))
    return value, lines


def segment_reading(given: Segment, i: int, context: Context) -> PictureReading:
    """One feature clicked from end to end.

    Raises
    ------
    ObservationError
        At ``segments[i]`` and the end, feature or spans that is wrong.
    """
    field = f"segments[{i}]"
    feature = checked_length(given.feature, field=f"{field}.feature")
    of = checked_body(given.of, field=f"{field}.of")
    ends = segment_ends(given, context.rows.rectification, field=field)
    if not is_number(given.spans) or given.spans < 1 or given.spans != int(given.spans):
        raise ObservationError(
            "the number of gaps is a whole number from 1",
            field=f"{field}.spans",
            value=given.spans,
            remedy="give the number of gaps between the ends",
        )
    if given.spans != 1 and not FEATURES[feature].repeats:
        raise ObservationError(
            "this feature has no gaps", field=f"{field}.spans", value=given.spans, remedy="leave spans out"
        )
    plane = plane_for(given.plane, feature, field=f"{field}.plane")
    straight = context.rows.rectification.now(ends)
    drawn = (straight[1] - straight[0]) / np.linalg.norm(straight[1] - straight[0])
    direction = _direction_of(feature, drawn, context.rows.along, field)
    value, lines = _by_clicks(_projection(direction, context), ends, context)
    lines.extend(context.skew_line(direction, value))
    return context.reading(feature, value, lines, plane=plane, of=of, field=f"{field}.end", spans=int(given.spans))


def _direction_of(feature: str, drawn: Floats, along: Floats | None, field: str) -> Floats:
    """Direction in which a feature lies: along or across the rows, or as drawn if there is no row."""
    way = FEATURES[feature].direction
    if along is None or way is Direction.UPWARDS:
        return drawn
    lies = along if way is Direction.ALONG else np.array([-along[1], along[0]])
    cosine = float(drawn @ lies)
    if abs(cosine) < ASTRAY:
        raise ObservationError(
            f"{feature} lies {way} the rows, this segment does not",
            field=f"{field}.end",
            value=drawn.tolist(),
            remedy="click the ends again, or name the feature that was clicked",
        )
    return np.asarray(math.copysign(1.0, cosine) * lies)


def _projection(direction: Floats, context: Context) -> Callable[[Floats], Floats]:
    def function(both: Floats) -> Floats:
        straight = context.rows.rectification.straight(both[..., :4].reshape(-1, 2, 2), both[..., 4:])
        return np.asarray((straight[:, 1] - straight[:, 0]) @ direction)

    return function
