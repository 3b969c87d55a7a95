"""Rows of one picture fitted together: common steps, an origin for each row, and optionally the vanishing line.

Parameters θ: the step (x, y) of each group of rows, the origin (x, y) of each row, and the components of the
vanishing line. Without a vanishing line this is ordinary linear least squares; with one, Gauss–Newton on the clicks
themselves. The covariance is click_u² (JᵀJ)⁻¹ either way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.imaging.clicks.lattice_fit import click_error

MOST_ITERATIONS = 50
"""Gauss–Newton needs four to eight."""

CONVERGED = 1e-7
"""Largest change of a predicted click, px, at which the iteration ends."""


@dataclass(frozen=True, kw_only=True)
class Occupied:
    """Clicks of one row (n × 2) without outliers, their sites (n), and the group whose step the row has."""

    points: Floats
    sites: Floats
    group: int


@dataclass(frozen=True, kw_only=True)
class JointFit:
    """Rows fitted together.

    ``theta`` and its ``unit_covariance`` (for clicks of standard deviation 1); ``squares`` is the sum of squared
    residuals, px²; ``basis`` (k × 2) the directions of the vanishing line's components and ``centre`` its centre.
    """

    theta: Floats
    unit_covariance: Floats
    squares: float
    degrees_of_freedom: int
    groups: tuple[int, ...]
    basis: Floats
    centre: Floats

    @property
    def group_count(self) -> int:
        """Different steps."""
        return max(self.groups) + 1

    def step(self, theta: Floats, row: int) -> Floats:
        """Step of a row, px, for parameters (… × m)."""
        first = 2 * self.groups[row]
        return theta[..., first : first + 2]

    def origin(self, theta: Floats, row: int) -> Floats:
        """Site 0 of a row, px, for parameters (… × m)."""
        first = 2 * (self.group_count + row)
        return theta[..., first : first + 2]

    @property
    def click_error(self) -> tuple[float, float]:
        """Standard uncertainty of one click by all residuals, and its degrees of freedom."""
        return click_error(self.squares, self.degrees_of_freedom)

    @property
    def line_at(self) -> int:
        """Where the vanishing line's components begin in θ."""
        return 2 * (self.group_count + len(self.groups))


def fit_jointly(rows: Sequence[Occupied], *, basis: Floats | None = None) -> JointFit:
    """Fit rows together; ``basis`` (k × 2) asks for a vanishing line.

    Raises
    ------
    ObservationError
        At ``rows``, when the clicks are too few for a vanishing line, or no perspective explains them.
    """
    centre = np.concatenate([row.points for row in rows]).mean(axis=0)
    design = design_of(rows)
    clicks = np.concatenate([row.points for row in rows])
    linear, *_ = np.linalg.lstsq(design, clicks - centre, rcond=None)
    theta = np.asarray(linear.ravel(), dtype=np.float64)
    basis = np.zeros((0, 2)) if basis is None else basis
    if len(basis):
        theta, jacobian = _fit_with_perspective(design, clicks - centre, theta, basis)
    else:
        jacobian = np.asarray(np.kron(design, np.eye(2)), dtype=np.float64)
    residuals = (clicks - centre) - _seen(design, theta, basis)
    groups = max(row.group for row in rows) + 1
    theta[2 * groups : 2 * (groups + len(rows))] += np.tile(centre, len(rows))
    return JointFit(
        theta=theta,
        unit_covariance=np.asarray(np.linalg.inv(jacobian.T @ jacobian), dtype=np.float64),
        squares=float(np.sum(residuals**2)),
        degrees_of_freedom=clicks.size - len(theta),
        groups=tuple(row.group for row in rows),
        basis=basis,
        centre=centre,
    )


def design_of(rows: Sequence[Occupied]) -> Floats:
    """For each click its site in the column of its group, and 1 in the column of its row."""
    groups = max(row.group for row in rows) + 1
    design = np.zeros((sum(len(row.sites) for row in rows), groups + len(rows)))
    first = 0
    for r, row in enumerate(rows):
        last = first + len(row.sites)
        design[first:last, row.group], design[first:last, groups + r] = row.sites, 1.0
        first = last
    return design


def _seen(design: Floats, theta: Floats, basis: Floats) -> Floats:
    """Where the camera sees the sites (n × 2), from the centre: d = q/(1 − l·q)."""
    flat = design @ theta[: 2 * design.shape[1]].reshape(-1, 2)
    return np.asarray(flat / (1.0 - flat @ (theta[2 * design.shape[1] :] @ basis))[:, None])


def _jacobian(design: Floats, theta: Floats, basis: Floats) -> Floats:
    """∂d/∂q = I/(1 − l·q) + q lᵀ/(1 − l·q)², ∂d/∂l = q qᵀ/(1 − l·q)²; (2n × m)."""
    flat = design @ theta[: 2 * design.shape[1]].reshape(-1, 2)
    line = theta[2 * design.shape[1] :] @ basis
    depth = 1.0 / (1.0 - flat @ line)
    by_site = depth[:, None, None] * np.eye(2) + depth[:, None, None] ** 2 * flat[:, :, None] * line
    by_line = depth[:, None, None] ** 2 * flat[:, :, None] * (flat @ basis.T)[:, None, :]
    by_theta = np.einsum("np,nab->napb", design, by_site).reshape(2 * len(design), -1)
    return np.concatenate([by_theta, by_line.reshape(2 * len(design), -1)], axis=1)


def _fit_with_perspective(design: Floats, clicks: Floats, start: Floats, basis: Floats) -> tuple[Floats, Floats]:
    theta = np.concatenate([start, np.zeros(len(basis))])
    if clicks.size <= len(theta):
        raise ObservationError(
            "too few clicks to show the perspective",
            field="rows",
            value=len(clicks),
            remedy="click more contacts of each row, or a rectangle of known proportions",
        )
    seen = _seen(design, theta, basis)
    for _ in range(MOST_ITERATIONS):
        jacobian = _jacobian(design, theta, basis)
        change, _, rank, _ = np.linalg.lstsq(jacobian, (clicks - seen).ravel(), rcond=None)
        if rank < len(theta):
            break
        theta = theta + change
        previous, seen = seen, _seen(design, theta, basis)
        if float(np.max(np.abs(seen - previous))) < CONVERGED:
            return theta, _jacobian(design, theta, basis)
    raise ObservationError(
        "no perspective explains these rows",
        field="rows",
        value=len(clicks),
        remedy="click contacts of parallel rows, or a rectangle of known proportions",
    )
