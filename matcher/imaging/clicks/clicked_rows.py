"""The clicked rows of one picture: their sites, the error of one click, and pitches that rows share.

If the perspective is taken from the contacts, it is estimated together with the rows.
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
from matcher.imaging.clicks.joint_fit import JointFit, Occupied, design_of, fit_jointly
from matcher.imaging.clicks.lattice_fit import click_error, clicked_row, row_through, sites_of
from matcher.imaging.clicks.picture_results import RowFit
from matcher.imaging.clicks.rectification import (
    FromRectangle,
    FromVanishingLine,
    Rectification,
    gradient,
    refuse_beyond,
)
from matcher.observations import Of

UNSEEN_CLICK = 1.0
"""Standard uncertainty of one click in a picture without rows, px: twice the floor. Common practice, no source."""

MOST_ROWS = 4
"""Most rows of one picture."""

DISAGREE = 0.003
"""Significance level of the test for one common step; below it the rows keep their own steps. A choice."""


RowKey: TypeAlias = tuple[str, str, Of]
"""Feature, plane and body of a row."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One clicked row: its result, its clicks (n × 2) as given and without perspective, their sites and which
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
        return row_through(self.straight, self.sites, self.used)

    def occupied(self, points: Floats, group: int) -> Occupied:
        """Its points without outliers, for the joint fit."""
        return Occupied(points=points[self.used], sites=self.sites[self.used].astype(np.float64), group=group)


@dataclass(frozen=True, kw_only=True)
class Rows:
    """The rows of a picture, fitted together after the perspective was removed."""

    rows: tuple[Row, ...]
    joint: JointFit | None
    rectification: Rectification

    @property
    def click_error(self) -> tuple[float, float]:
        """Standard uncertainty of one click, px, with its degrees of freedom."""
        return (UNSEEN_CLICK, math.inf) if self.joint is None else self.joint.click_error

    @property
    def click_u(self) -> float:
        """Standard uncertainty of one click, px."""
        return self.click_error[0]

    @property
    def click_dof(self) -> float:
        """Degrees of freedom of ``click_u``."""
        return self.click_error[1]

    @cached_property
    def fits(self) -> tuple[RowFit, ...]:
        """The rows one by one."""
        return tuple(row.fit for row in self.rows)

    @property
    def fit(self) -> JointFit:
        """The joint fit; raises TypeError in a picture without rows."""
        if self.joint is None:
            raise TypeError("a picture without rows has no fit of them")
        return self.joint

    @cached_property
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
    """Find the sites of every row, estimate the perspective if the contacts are used for it, and fit all rows.

    Raises
    ------
    ObservationError
        At ``rows``, ``rows[i].points`` or ``rows[i].points[j]``.
    """
    if len(picture.rows) > MOST_ROWS:
        raise ObservationError(
            "too many rows",
            field="rows",
            value=len(picture.rows),
            remedy=f"give at most {MOST_ROWS} rows of one picture",
        )
    bent = isinstance(picture.perspective, ContactLattice)
    if bent and not picture.rows:
        raise ObservationError(
            "there is no row to take the perspective from",
            field="perspective",
            value=None,
            remedy="click contacts of at least one row, or a rectangle of known proportions",
        )
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
        raise ObservationError(
            "a row cannot show this feature",
            field=f"{field}.feature",
            value=given.feature,
            remedy=f"known: {', '.join(PITCHES)}",
        )
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
    """Rows in a picture whose perspective is not estimated from the contacts."""
    error = click_error(*_squares_apart(rows))
    agreeing = {key for key in {row.key for row in rows} if _agree([r for r in rows if r.key == key], error)}
    groups = _groups(rows, agreeing)
    joint = fit_jointly([row.occupied(row.straight, group) for row, group in zip(rows, groups, strict=True)])
    if isinstance(rectification, FromRectangle):
        rectification = replace(rectification, click_u=joint.click_error[0])
    return Rows(rows=tuple(rows), joint=joint, rectification=rectification)


def _by_contacts(rows: Sequence[Row]) -> Rows:
    """Rows whose own lattice gives the perspective; rows of one key have one step."""
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


def _squares_apart(rows: Sequence[Row]) -> tuple[float, int]:
    """Sum of squared residuals, px², of rows that each have a step of their own, and its degrees of freedom."""
    freedom = [2 * (int(np.count_nonzero(row.used)) - 2) for row in rows]
    squares = [row.fit.lattice.residual_sd**2 * dof for row, dof in zip(rows, freedom, strict=True)]
    return sum(squares), sum(freedom)


def _agree(rows: Sequence[Row], error: tuple[float, float]) -> bool:
    """Whether rows of one key have one step, by an F test of the squares that one step adds; ``error`` is that of a
    click."""
    if len(rows) == 1:
        return True
    one = fit_jointly([row.occupied(row.straight, 0) for row in rows])
    (click_u, dof), (squares, own_freedom) = error, _squares_apart(rows)
    freedom = one.degrees_of_freedom - own_freedom
    added = max(one.squares - squares, 0.0) / click_u**2
    p = chdtrc(freedom, added) if math.isinf(dof) else fdtrc(freedom, dof, added / freedom)
    return bool(p > DISAGREE)
