"""Rows of one picture fitted together: common steps, an origin for each row, and the vanishing line if asked for.

Parameters θ: the step (x, y) of each group of rows, the origin (x, y) of each row, and the components of the
vanishing line. Without a vanishing line this is ordinary linear least squares; with one, Gauss–Newton on the clicks
themselves. The covariance is click_u² (JᵀJ)⁻¹ either way.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

import numpy as np
from scipy.special import chdtrc, fdtrc

from matcher.columns.columns import Bools, Floats, Ints
from matcher.errors import ObservationError
from matcher.features import FEATURES, PITCHES
from matcher.imaging.clicks.inputs import ClickedRow, ContactLattice, Picture, checked_body, checked_plane
from matcher.imaging.clicks.lattice_fit import click_error, clicked_row, row_of, sites_of
from matcher.imaging.clicks.propagation import gradient
from matcher.imaging.clicks.rectification import (
    FromRectangle,
    FromVanishingLine,
    Rectification,
    refuse_beyond,
)
from matcher.imaging.clicks.results import RowFit
from matcher.observations import Of

UNSEEN_CLICK = 1.0
"""Standard uncertainty of one click where no row shows it, px: twice the floor. Common practice, no source."""

MOST_ROWS = 4
"""Most rows of one picture."""

DISAGREE = 0.003
"""Probability, if the rows had one step, of steps that differ as much; below it they are kept apart. A choice."""

RowKey: TypeAlias = tuple[str, str, Of]
"""Feature, plane and body of a row."""

MOST_ITERATIONS = 50
"""Gauss–Newton needs four to eight."""

CONVERGED = 1e-7
"""Largest change of a predicted click, px, that ends the iteration."""


@dataclass(frozen=True, kw_only=True)
class Occupied:
    """Clicks of one row (n × 2), strays left out, their sites (n), and the group whose step the row has."""

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
        theta, jacobian = _bent(design, clicks - centre, theta, basis)
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


def _bent(design: Floats, clicks: Floats, start: Floats, basis: Floats) -> tuple[Floats, Floats]:
    theta = np.concatenate([start, np.zeros(len(basis))])
    if clicks.size <= len(theta):
        remedy = "click more contacts of each row, or a rectangle of known proportions"
        raise ObservationError("too few clicks show no perspective", field="rows", value=len(clicks), remedy=remedy)
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


@dataclass(frozen=True, kw_only=True)
class Row:
    """One clicked row: what it shows, its clicks (n × 2) as given and without perspective, their sites and which
    belong to it."""

    feature: str
    plane: str
    of: Of
    clicks: Floats
    straight: Floats
    sites: Ints
    used: Bools

    @property
    def key(self) -> RowKey:
        """Rows with one key stand on one lattice."""
        return self.feature, self.plane, self.of

    @cached_property
    def fit(self) -> RowFit:
        """The row by itself."""
        return row_of(self.straight, self.sites, self.used)

    def occupied(self, points: Floats, group: int) -> Occupied:
        """The points that belong to the row, for the joint fit."""
        return Occupied(points=points[self.used], sites=self.sites[self.used].astype(np.float64), group=group)


@dataclass(frozen=True, kw_only=True)
class Rows:
    """The rows of a picture, fitted together in the picture without perspective."""

    rows: tuple[Row, ...]
    joint: JointFit | None
    rectification: Rectification

    @property
    def click_error(self) -> tuple[float, float]:
        """Standard uncertainty of one click, px, and its degrees of freedom."""
        return (UNSEEN_CLICK, math.inf) if self.joint is None else self.joint.click_error

    @property
    def click_u(self) -> float:
        """Standard uncertainty of one click, px."""
        return self.click_error[0]

    @property
    def click_dof(self) -> float:
        """Degrees of freedom of ``click_u``."""
        return self.click_error[1]

    @property
    def fits(self) -> tuple[RowFit, ...]:
        """The rows one by one."""
        return tuple(row.fit for row in self.rows)

    @property
    def fit(self) -> JointFit:
        """The joint fit; raises TypeError in a picture without rows."""
        if self.joint is None:
            raise TypeError("a picture without rows has no fit of them")
        return self.joint

    @property
    def along(self) -> Floats | None:
        """Unit vector along the rows, None without a row."""
        return np.array(self.fits[0].direction) if self.rows else None

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of θ, px², by the clicks of the rows and of the perspective.

        A vanishing line is part of θ. A rectangle moves all clicks, and with them the fit, which is linear in them.
        """
        own = self.click_u**2 * self.fit.unit_covariance
        given = self.rectification
        if not isinstance(given, FromRectangle):
            return own
        occupied = [row.occupied(row.clicks, group) for row, group in zip(self.rows, self.fit.groups, strict=True)]
        clicks, fitting = np.concatenate([row.points for row in occupied]), np.linalg.pinv(design_of(occupied))
        moved = gradient(
            lambda parameters: (fitting @ given.straight(clicks, parameters)).reshape(len(parameters), -1),
            given.parameters,
            np.sqrt(np.diag(given.covariance)),
        )
        return np.asarray(own + moved.T @ given.covariance @ moved)

    def propagated(self, function: Callable[[Floats], Floats]) -> tuple[float, float]:
        """Value of a function of θ (k × m to k) and its standard uncertainty."""
        theta, covariance = self.fit.theta, self.covariance
        slopes = gradient(function, theta, np.sqrt(np.diag(covariance)))
        return float(function(theta[None, :])[0]), math.sqrt(float(slopes @ covariance @ slopes))


def measured_rows(picture: Picture, rectification: Rectification) -> Rows:
    """Find the sites of every row, the perspective if the contacts are to show it, and fit all rows.

    Raises
    ------
    ObservationError
        At ``rows``, ``rows[i].points`` or ``rows[i].points[j]``.
    """
    if len(picture.rows) > MOST_ROWS:
        remedy = f"give at most {MOST_ROWS} rows of one picture"
        raise ObservationError("too many rows", field="rows", value=len(picture.rows), remedy=remedy)
    bent = isinstance(picture.perspective, ContactLattice)
    if bent and not picture.rows:
        remedy = "click contacts of at least one row, or a rectangle of known proportions"
        raise ObservationError("no row shows the perspective", field="perspective", value=None, remedy=remedy)
    rows = [_checked_row(given, i, rectification, bent) for i, given in enumerate(picture.rows)]
    # All are counted in the direction of the first, so that neighbours can be compared.
    for i, row in enumerate(rows):
        if float(row.fit.step @ rows[0].fit.step) < 0.0:
            rows[i] = replace(row, sites=row.sites[row.used].max() - row.sites)
    if not rows:
        return Rows(rows=(), joint=None, rectification=rectification)
    return _by_contacts(rows) if bent else _as_given(rows, rectification)


def _checked_row(given: ClickedRow, i: int, rectification: Rectification, bent: bool) -> Row:
    field = f"rows[{i}]"
    if given.feature not in PITCHES:
        remedy = f"known: {', '.join(PITCHES)}"
        raise ObservationError("no row shows this", field=f"{field}.feature", value=given.feature, remedy=remedy)
    plane = checked_plane(given.plane or str(FEATURES[given.feature].plane), field=f"{field}.plane")
    of = checked_body(given.of, field=f"{field}.of")
    clicks = clicked_row(given.points, field=f"{field}.points")
    refuse_beyond(rectification, clicks, fields=_fields(i, clicks))
    straight = rectification.now(clicks)
    sites, used = sites_of(straight, field=f"{field}.points", bent=bent)
    return Row(feature=given.feature, plane=plane, of=of, clicks=clicks, straight=straight, sites=sites, used=used)


def _fields(i: int, clicks: Floats) -> list[str]:
    return [f"rows[{i}].points[{j}]" for j in range(len(clicks))]


def _as_given(rows: Sequence[Row], rectification: Rectification) -> Rows:
    """Rows in a picture that needs no perspective taken out, or whose rectangle has done so."""
    apart = fit_jointly([row.occupied(row.straight, i) for i, row in enumerate(rows)])
    agreeing = {key for key in {row.key for row in rows} if _agree([r for r in rows if r.key == key], apart)}
    groups = _groups(rows, agreeing)
    joint = fit_jointly([row.occupied(row.straight, group) for row, group in zip(rows, groups, strict=True)])
    if isinstance(rectification, FromRectangle):
        rectification = replace(rectification, click_u=joint.click_error[0])
    return Rows(rows=tuple(rows), joint=joint, rectification=rectification)


def _by_contacts(rows: Sequence[Row]) -> Rows:
    """Rows whose own lattice shows the perspective; rows of one key are taken to have one step."""
    keys = {row.key for row in rows}
    basis = np.eye(2) if len(keys) < len(rows) else np.array([rows[0].fit.direction])
    groups = _groups(rows, keys)
    joint = fit_jointly([row.occupied(row.clicks, group) for row, group in zip(rows, groups, strict=True)], basis=basis)
    line = slice(joint.line_at, None)
    rectification = FromVanishingLine(
        centre=joint.centre,
        basis=basis,
        parameters=joint.theta[line],
        covariance=joint.click_error[0] ** 2 * joint.unit_covariance[line, line],
    )
    for i, row in enumerate(rows):
        refuse_beyond(rectification, row.clicks, fields=_fields(i, row.clicks))
    straight = tuple(replace(row, straight=rectification.now(row.clicks)) for row in rows)
    return Rows(rows=straight, joint=joint, rectification=rectification)


def _groups(rows: Sequence[Row], agreeing: set[RowKey]) -> list[int]:
    """Group of each row: rows of one key that agrees have one step, every other row its own."""
    names: list[object] = [row.key if row.key in agreeing else i for i, row in enumerate(rows)]
    return [list(dict.fromkeys(names)).index(name) for name in names]


def _agree(rows: Sequence[Row], apart: JointFit) -> bool:
    """Whether rows of one key have one step: F test of the squares that one step adds; ``apart`` fits all rows."""
    if len(rows) == 1:
        return True
    one = fit_jointly([row.occupied(row.straight, 0) for row in rows])
    several = fit_jointly([row.occupied(row.straight, i) for i, row in enumerate(rows)])
    click_u, dof = apart.click_error
    freedom = one.degrees_of_freedom - several.degrees_of_freedom
    added = max(one.squares - several.squares, 0.0) / click_u**2
    p = chdtrc(freedom, added) if math.isinf(dof) else fdtrc(freedom, dof, added / freedom)
    return bool(p > DISAGREE)
