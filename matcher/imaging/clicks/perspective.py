"""Taking the perspective out of a picture, and what that adds to the uncertainty.

Planes that are parallel to each other have one vanishing line in a picture. What straightens one of them therefore
straightens all, up to a scale for each: one map serves lands, mating face and housing top, and their scales are the
business of `matcher.imaging.clicks.scale`. Lens distortion is no perspective and is not taken out here.

* A **rectangle of known proportions** shows everything but the scale; of known sides, the scale too.
* The **contact lattice** of two or more parallel rows shows the vanishing line: along one row the steps shrink, and
  between the rows they differ. It shows lengths along the rows in pitches. It cannot show how lengths *across* compare
  with lengths along: a lattice of twice the row spacing, tilted more, gives the same picture (the camera's focal length
  could tell, and is not known). Across and along are taken as equally large in the middle of the rows; what tilt does
  to that is of second order (1 − cos) and stands in the budget as foreshortening.
* **One row** shows the change of scale along itself alone; opposite edges along it stay different.
* **Without any**, opposite edges are averaged and their difference stands in the budget.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.imaging.clicks.homography import checked_corners, homographies, mapped
from matcher.imaging.clicks.inputs import KnownRectangle
from matcher.uncertainty.checked import is_number

MOST_STRETCHED = 2.0
"""Most that taking the perspective out may stretch or shrink any direction at a point, against the picture or against
another direction: a tilt of 60°. Beyond, it is no picture from above, or a slip in the corners or sides."""

LARGEST_ASPECT = 100.0
"""Longest rectangle that is taken seriously, in widths."""


class Rectification(Protocol):
    """A map that takes the perspective out, with the uncertainty of its parameters (m)."""

    @property
    def parameters(self) -> Floats:
        """Best values (m)."""

    @property
    def covariance(self) -> Floats:
        """Covariance of the parameters (m × m)."""

    def straight(self, points: Floats, parameters: Floats) -> Floats:
        """Points (… × n × 2) of the picture without perspective, px, for parameters (… × m)."""

    def now(self, points: Floats) -> Floats:
        """Points (n × 2) of the picture without perspective, px, for the best parameters."""


@dataclass(frozen=True, kw_only=True)
class AsSeen:
    """The picture as it is."""

    @property
    def parameters(self) -> Floats:
        """None at all."""
        return np.zeros(0)

    @property
    def covariance(self) -> Floats:
        """Of nothing."""
        return np.zeros((0, 0))

    def straight(self, points: Floats, parameters: Floats) -> Floats:
        """The points as they are."""
        return np.broadcast_to(points, (*parameters.shape[:-1], *points.shape[-2:]))

    def now(self, points: Floats) -> Floats:
        """The points as they are."""
        return points


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
        corners = parameters[..., :8].reshape(*parameters.shape[:-1], 4, 2)
        return mapped(homographies(corners, self._target(corners, parameters[..., 8])), points)

    def now(self, points: Floats) -> Floats:
        """Points as they would be seen from straight above, by the best map."""
        return mapped(self._map, points)

    @cached_property
    def _map(self) -> Floats:
        return homographies(self.corners, self._target(self.corners, np.zeros(())))

    def _target(self, corners: Floats, deviation: Floats) -> Floats:
        length, width = self.length * np.exp(deviation / 2), self.width * np.exp(-deviation / 2)
        size = circumference(corners) / (2.0 * (length + width))
        first = (corners[..., 1, :] - corners[..., 0, :]) + (corners[..., 2, :] - corners[..., 3, :])
        along = first / np.linalg.norm(first, axis=-1, keepdims=True)
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


def refuse_beyond(rectification: Rectification, points: Floats, *, fields: Sequence[str]) -> None:
    """Refuse points (n × 2) where taking the perspective out stretches or shrinks beyond `MOST_STRETCHED`.

    Raises
    ------
    ObservationError
        At the point's name among ``fields``.
    """
    if isinstance(rectification, AsSeen):
        return
    near = rectification.now((points[:, None, :] + PROBE).reshape(-1, 2)).reshape(-1, 3, 2)
    stretches = np.linalg.svd(near[:, 1:] - near[:, :1], compute_uv=False)
    largest, smallest = stretches[:, 0], stretches[:, 1]
    worst = np.maximum(np.maximum(largest, 1.0 / smallest), largest / smallest)
    for i in np.nonzero(~(worst < MOST_STRETCHED))[0]:
        raise ObservationError(
            "the perspective is too strong here to be taken out",
            field=fields[int(i)],
            value=points[i].tolist(),
            remedy="take the picture from straight above; check the rectangle's corners and sides",
        )


PROBE = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
"""Steps of one pixel either way, which show how a map stretches."""


def circumference(corners: Floats) -> Floats:
    """Sum of the four sides of quadrilaterals (… × 4 × 2)."""
    return np.asarray(np.linalg.norm(np.roll(corners, -1, axis=-2) - corners, axis=-1).sum(axis=-1))


def from_rectangle(given: KnownRectangle, click_u: float, *, field: str = "perspective") -> FromRectangle:
    """The map that makes a known rectangle a rectangle.

    Raises
    ------
    ObservationError
        For corners as `checked_corners`, and for sides that are no sides.
    """
    corners = checked_corners(given.corners, field=f"{field}.corners")
    for name in ("length", "width"):
        value = getattr(given, name)
        if not is_number(value) or not 0.0 < value < math.inf:
            remedy = "give the side as a finite number above 0"
            raise ObservationError("a side has a length", field=f"{field}.{name}", value=value, remedy=remedy)
    if not is_number(given.rel_u) or not 0.0 <= given.rel_u < 1.0:
        remedy = "give a part of one, e.g. 0.01 for 1 %"
        raise ObservationError("it is no relative u", field=f"{field}.rel_u", value=given.rel_u, remedy=remedy)
    if not 1.0 / LARGEST_ASPECT <= given.length / given.width <= LARGEST_ASPECT:
        remedy = "give both sides in one unit"
        raise ObservationError("no rectangle is so slender", field=f"{field}.length", value=given.length, remedy=remedy)
    known = FromRectangle(corners=corners, length=given.length, width=given.width, click_u=click_u, rel_u=given.rel_u)
    refuse_beyond(known, corners, fields=[f"{field}.corners[{i}]" for i in range(4)])
    return known
