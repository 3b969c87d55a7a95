"""Removes the perspective from a picture, and computes the uncertainty this adds.

Parallel planes have one vanishing line in a picture. So what straightens one of them straightens all, up to a scale for
each: one map serves lands, mating face and housing top, and `matcher.imaging.clicks.scale` handles their scales. Lens
distortion is not perspective and is not removed here.

* A **rectangle of known proportions** shows everything but the scale; of known sides, the scale too.
* The **contact lattice** of two or more parallel rows shows the vanishing line: along one row the steps shrink, and
  between the rows they differ. It shows lengths along the rows in pitches. It cannot show how lengths *across* compare
  with lengths along: a lattice of twice the row spacing, tilted more, gives the same picture (the camera's focal length
  could tell, and is not known). Across and along are assumed to have one scale in the middle of the rows; the effect
  of tilt on that is of second order (1 − cos) and stands in the budget as foreshortening.
* **One row** shows the change of scale along itself alone; opposite edges along it stay different.
* **Without any**, opposite edges are averaged and their difference stands in the budget.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.imaging.clicks.inputs import SAME_PLACE, KnownRectangle, checked_points, refuse_same_place, relative_u
from matcher.vocabulary import is_number

FLATTEST = 0.1
"""Smallest sine of a corner's angle, 6°: flatter, three corners are on one line for any purpose."""


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
    corners = checked_points(given, 2, field=field, fewest=4)  # type: ignore[arg-type]
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
        raise _corner_error(
            "this corner is on one line with its neighbours",
            corners,
            flat,
            field,
            "click the four corners of one rectangle in order round it",
        )
    turns = int(np.sign(sines).sum())
    if turns == 0:
        raise _corner_error(
            "this corner is out of order",
            corners,
            _first_out_of_order(corners),
            field,
            "click the corners in order round the rectangle; this order crosses over",
        )
    if abs(turns) != 4:
        dent = int(np.argmin(sines * np.sign(turns)))
        raise _corner_error("this corner lies inside the others", corners, dent, field, "click the corner again")
    return corners


def _sines(corners: Floats) -> Floats:
    """Sine of the turn at each corner, positive for one sense round, negative for the other."""
    after = edges(corners)
    before = after[[3, 0, 1, 2]]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(cross / (np.hypot(*before.T) * np.hypot(*after.T)))


def _first_out_of_order(corners: Floats) -> int:
    """The corner that should have come later: an edge that crosses another ends there."""
    swapped = corners[[0, 2, 1, 3]]
    return 1 if abs(int(np.sign(_sines(swapped)).sum())) == 4 else 2


def _corner_error(message: str, corners: Floats, i: int, field: str, remedy: str) -> ObservationError:
    return ObservationError(message, field=f"{field}[{i}]", value=corners[i].tolist(), remedy=remedy)


MOST_STRETCHED = 2.0
"""Most that removing the perspective may stretch or shrink any direction at a point, relative to the picture or to
another direction: a tilt of 60°. Beyond that the picture is not from above, or a corner or side is wrong."""

LARGEST_ASPECT = 100.0
"""Longest accepted rectangle, in widths."""


@dataclass(frozen=True, kw_only=True)
class FromRectangle:
    """A rectangle's four corners (8 coordinates) and the logarithm of its proportion become a rectangle again.

    It keeps its centre, its circumference in pixels and the direction of its first edge, so that only the distortion
    changes: its size in pixels, which is the scale, is a matter of its own (`circumference`).
    """

    corners: Floats
    length: float
    width: float
    click_u: float
    rel_u: float = 0.0

    @property
    def parameters(self) -> Floats:
        """Corner coordinates, then the deviation of ln(length/width)."""
        return np.append(self.corners.ravel(), 0.0)

    @property
    def covariance(self) -> Floats:
        """Clicks independent of each other and of the proportion."""
        return np.diag(np.append(np.full(8, self.click_u**2), 2.0 * self.rel_u**2))

    def straight(self, points: Floats, parameters: Floats) -> Floats:
        """Points as they would be seen from straight above."""
        return mapped(self._maps(parameters), points)

    def now(self, points: Floats) -> Floats:
        """Points as they would be seen from straight above, by the best map."""
        return mapped(self._best_map, points)

    @cached_property
    def _best_map(self) -> Floats:
        return self._maps(self.parameters)

    def _maps(self, parameters: Floats) -> Floats:
        corners = parameters[..., :8].reshape(*parameters.shape[:-1], 4, 2)
        return homographies(corners, self._target(corners, parameters[..., 8]))

    def _target(self, corners: Floats, deviation: Floats) -> Floats:
        length, width = self.length * np.exp(deviation / 2), self.width * np.exp(-deviation / 2)
        size = circumference(corners) / (2.0 * (length + width))
        first = (corners[..., 1, :] - corners[..., 0, :]) + (corners[..., 2, :] - corners[..., 3, :])
        along = first / lengths(first)[..., None]
        second = corners[..., 3, :] - corners[..., 0, :]
        side = np.sign(along[..., 0] * second[..., 1] - along[..., 1] * second[..., 0])[..., None]
        across = side * np.stack([-along[..., 1], along[..., 0]], axis=-1)
        a, b = (size * length / 2)[..., None] * along, (size * width / 2)[..., None] * across
        return np.asarray(corners.mean(axis=-2)[..., None, :] + np.stack([-a - b, a - b, a + b, b - a], axis=-2))


@dataclass(frozen=True, kw_only=True)
class FromVanishingLine:
    """p′ = c + d/(1 + l·d), d = p − c: as seen from straight above, unchanged at the centre c.

    The vanishing line is 1 + l·d = 0; ``l`` = ``parameters`` · ``basis``: two parameters for two rows, one (along the
    row) for one.
    """

    centre: Floats
    basis: Floats
    parameters: Floats
    covariance: Floats

    def straight(self, points: Floats, parameters: Floats) -> Floats:
        """Points as they would be seen from straight above, foreshortening left."""
        off = points - self.centre
        line = parameters @ self.basis
        return np.asarray(self.centre + off / (1.0 + np.einsum("...nc,...c->...n", off, line))[..., None])

    def now(self, points: Floats) -> Floats:
        """Points as they would be seen from straight above, by the best vanishing line."""
        return self.straight(points, self.parameters)


Rectification: TypeAlias = FromRectangle | FromVanishingLine
"""A map that removes the perspective, with ``parameters`` (m) and their ``covariance`` (m × m)."""

AS_SEEN = FromVanishingLine(
    centre=np.zeros(2), basis=np.zeros((0, 2)), parameters=np.zeros(0), covariance=np.zeros((0, 0))
)
"""The unchanged picture: a vanishing line at infinity, without parameters."""


def refuse_beyond(rectification: Rectification, points: Floats, *, fields: Sequence[str]) -> None:
    """Refuse points (n × 2) where removing the perspective stretches or shrinks beyond `MOST_STRETCHED`.

    Raises
    ------
    ObservationError
        At the point's name among ``fields``.
    """
    if rectification is AS_SEEN:
        return
    near = rectification.now((points[:, None, :] + PROBE).reshape(-1, 2)).reshape(-1, 3, 2)
    stretches = np.linalg.svd(near[:, 1:] - near[:, :1], compute_uv=False)
    largest, smallest = stretches[:, 0], stretches[:, 1]
    worst = np.maximum(np.maximum(largest, 1.0 / smallest), largest / smallest)
    for i in np.nonzero(~(worst < MOST_STRETCHED))[0]:
        raise ObservationError(
            "the perspective is too strong here to be removed",
            field=fields[int(i)],
            value=points[i].tolist(),
            remedy="take the picture from straight above; check the rectangle's corners and sides",
        )


PROBE = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
"""Steps of one pixel either way, which show how a map stretches."""


def edges(corners: Floats) -> Floats:
    """The edges of quadrilaterals (… × 4 × 2), each from one corner to the next."""
    return np.asarray(corners[..., [1, 2, 3, 0], :] - corners)


def lengths(steps: Floats) -> Floats:
    """Lengths of steps (… × 2), in a third of the time that NumPy's norm takes for a few."""
    return np.asarray(np.hypot(steps[..., 0], steps[..., 1]))


def circumference(corners: Floats) -> Floats:
    """Sum of the four sides of quadrilaterals (… × 4 × 2)."""
    return np.asarray(lengths(edges(corners)).sum(axis=-1))


def from_rectangle(given: KnownRectangle, click_u: float) -> FromRectangle:
    """The map that makes a known rectangle a rectangle.

    Raises
    ------
    ObservationError
        For corners as `checked_corners`, and for sides that are no sides.
    """
    corners = checked_corners(given.corners, field="perspective.corners")
    for name in ("length", "width"):
        value = getattr(given, name)
        if not is_number(value) or not 0.0 < value < math.inf:
            raise ObservationError(
                "this is not the length of a side",
                field=f"perspective.{name}",
                value=value,
                remedy="give the side as a finite number above 0",
            )
    rel_u = relative_u(given.rel_u, field="perspective.rel_u")
    if not 1.0 / LARGEST_ASPECT <= given.length / given.width <= LARGEST_ASPECT:
        raise ObservationError(
            "the rectangle is too narrow",
            field="perspective.length",
            value=given.length,
            remedy="give both sides in one unit",
        )
    known = FromRectangle(corners=corners, length=given.length, width=given.width, click_u=click_u, rel_u=rel_u)
    refuse_beyond(known, corners, fields=[f"perspective.corners[{i}]" for i in range(4)])
    return known


STEP = 1e-3
"""Step of numerical derivatives, in units of each parameter's own standard uncertainty."""


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


def propagated(
    function: Callable[[Floats], Floats], own: Floats, own_u: float, rectification: Rectification
) -> tuple[float, float, float]:
    """Value, standard uncertainty by own clicks, and by the perspective's parameters."""
    at = np.concatenate([own, rectification.parameters])
    sd = np.concatenate([np.full(len(own), own_u), np.sqrt(np.diag(rectification.covariance))])
    slopes = gradient(function, at, sd)
    shared = slopes[len(own) :]
    value = float(function(at[None, :])[0])
    return (
        value,
        own_u * float(np.linalg.norm(slopes[: len(own)])),
        math.sqrt(float(shared @ rectification.covariance @ shared)),
    )
