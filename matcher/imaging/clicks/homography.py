"""Plane-to-plane maps of a pinhole camera, for one set of points or many at once.

Any function here takes leading dimensions, so that uncertainties are propagated in one call.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.imaging.clicks.points import SAME_PLACE, numbers_of, refuse_same_place

FLATTEST = 0.1
"""Smallest sine of a corner's angle, 6°: flatter, three corners are on one line for any purpose."""

STEP = 1e-3
"""Step of numerical derivatives, in units of each parameter's own standard uncertainty."""


def homographies(source: Floats, target: Floats) -> Floats:
    """Maps (… × 3 × 3) that take four points (… × 4 × 2) each to four others, last entry 1."""
    x, y = source[..., 0], source[..., 1]
    one, zero = np.ones_like(x), np.zeros_like(x)
    u, v = np.broadcast_to(target[..., 0], x.shape), np.broadcast_to(target[..., 1], x.shape)
    first = np.stack([x, y, one, zero, zero, zero, -u * x, -u * y], axis=-1)
    second = np.stack([zero, zero, zero, x, y, one, -v * x, -v * y], axis=-1)
    equations = np.concatenate([first, second], axis=-2)
    values = np.concatenate([u, v], axis=-1)[..., None]
    entries = np.linalg.solve(equations, values)[..., 0]
    whole = np.concatenate([entries, np.ones((*entries.shape[:-1], 1))], axis=-1)
    return whole.reshape(*entries.shape[:-1], 3, 3)


def mapped(maps: Floats, points: Floats) -> Floats:
    """Points (… × n × 2) under maps (… × 3 × 3)."""
    turned = points @ np.swapaxes(maps[..., :2], -1, -2) + maps[..., None, :, 2]
    return np.asarray(turned[..., :2] / turned[..., 2:])


def checked_corners(given: object, *, field: str) -> Floats:
    """Four corners (4 × 2) in order round a rectangle seen in perspective: convex, none on a line of two others.

    Raises
    ------
    ObservationError
        At ``field`` for another number of points, at ``field[i]`` for the corner that is wrong.
    """
    corners = numbers_of(given, 2, field=field, fewest=4)  # type: ignore[arg-type]
    if len(corners) != 4:
        raise ObservationError(
            f"an outline has four corners, not {len(corners)}",
            field=field,
            value=len(corners),
            remedy="click its four corners in order",
        )
    refuse_same_place(corners, SAME_PLACE, field=field)
    sines = _sines(corners)
    flat = int(np.argmin(np.abs(sines)))
    if abs(sines[flat]) < FLATTEST:
        remedy = "click the four corners of one rectangle in order round it"
        raise _corner_error("it is on one line with its neighbours", corners, flat, field, remedy)
    turns = int(np.sign(sines).sum())
    if turns == 0:
        remedy = "click the corners in order round the rectangle; this order crosses over"
        raise _corner_error("it is out of order", corners, _first_out_of_order(corners), field, remedy)
    if abs(turns) != 4:
        dent = int(np.argmin(sines * np.sign(turns)))
        raise _corner_error("it lies inside the others", corners, dent, field, "click the corner again")
    return corners


def _sines(corners: Floats) -> Floats:
    """Sine of the turn at each corner, positive for one sense round, negative for the other."""
    before, after = corners - np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0) - corners
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(cross / (np.hypot(*before.T) * np.hypot(*after.T)))


def _first_out_of_order(corners: Floats) -> int:
    """The corner that should have come later: an edge that crosses another ends there."""
    swapped = corners[[0, 2, 1, 3]]
    return 1 if abs(int(np.sign(_sines(swapped)).sum())) == 4 else 2


def _corner_error(message: str, corners: Floats, i: int, field: str, remedy: str) -> ObservationError:
    return ObservationError(message, field=f"{field}[{i}]", value=corners[i].tolist(), remedy=remedy)


def gradient(function: Callable[[Floats], Floats], at: Floats, u: Floats) -> Floats:
    """Derivatives (m × …) by m parameters, by central differences in one call.

    ``function`` takes (k × m) and gives (k × …). ``u`` are the parameters' standard uncertainties; one of 0 gets
    derivative 0, since nothing is to be propagated.
    """
    moving = np.nonzero(u > 0.0)[0]
    steps = np.zeros((len(moving), len(at)))
    steps[np.arange(len(moving)), moving] = STEP * u[moving]
    values = function(np.concatenate([at + steps, at - steps]))
    slopes = np.zeros((len(at), *values.shape[1:]))
    widths = (2.0 * STEP * u[moving]).reshape(-1, *([1] * (values.ndim - 1)))
    slopes[moving] = (values[: len(moving)] - values[len(moving) :]) / widths
    return slopes
