"""All rows of one picture: sites, the error of one click, common steps, and how neighbouring rows stand."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import chdtrc, fdtrc

from matcher.columns.columns import Bools, Floats, Ints
from matcher.errors import ObservationError
from matcher.features import FEATURES, PITCHES
from matcher.imaging.clicks.homography import gradient
from matcher.imaging.clicks.inputs import ClickedRow, ContactLattice, Picture
from matcher.imaging.clicks.joint import JointFit, Occupied, design_of, fit_jointly
from matcher.imaging.clicks.lattice import RowFit, row_of
from matcher.imaging.clicks.naming import checked_body, checked_plane
from matcher.imaging.clicks.perspective import FromRectangle, FromVanishingLine, Rectification, refuse_beyond
from matcher.imaging.clicks.sites import click_error, clicked_row, sites_of
from matcher.observations import Of

MOST_ROWS = 4
"""Most rows of one picture."""

DISAGREE = 0.003
"""Probability, if the rows had one step, of steps that differ as much; below it they are kept apart. A choice."""


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
    def key(self) -> tuple[str, str, Of]:
        """Rows with one key stand on one lattice."""
        return self.feature, self.plane, self.of

    def occupied(self, points: Floats, group: int) -> Occupied:
        """The points that belong to the row, for the joint fit."""
        return Occupied(points=points[self.used], sites=self.sites[self.used].astype(np.float64), group=group)


@dataclass(frozen=True, kw_only=True)
class Rows:
    """The rows of a picture, fitted together in the picture without perspective.

    ``click_u`` is the standard uncertainty of one click, px, with ``click_dof``; ``fits`` are the rows one by one.
    """

    rows: tuple[Row, ...]
    fits: tuple[RowFit, ...]
    joint: JointFit | None
    rectification: Rectification
    click_u: float
    click_dof: float

    @property
    def fit(self) -> JointFit:
        """The joint fit; raises TypeError in a picture without rows."""
        if self.joint is None:
            raise TypeError("a picture without rows has no fit of them")
        return self.joint

    @property
    def along(self) -> Floats | None:
        """Unit vector along the rows, None without a row."""
        return None if not self.fits else np.array(self.fits[0].direction)

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of θ, px², by the clicks of the rows and of the perspective.

        A vanishing line is part of θ. A rectangle moves all clicks, and with them the fit, which is linear in them.
        """
        own = self.click_u**2 * self.fit.unit_covariance
        if not isinstance(self.rectification, FromRectangle):
            return own
        occupied = [row.occupied(row.clicks, group) for row, group in zip(self.rows, self.fit.groups, strict=True)]
        clicks, fitting = np.concatenate([row.points for row in occupied]), np.linalg.pinv(design_of(occupied))
        given = self.rectification
        moved = gradient(
            lambda parameters: (fitting @ given.straight(clicks, parameters)).reshape(len(parameters), -1),
            given.parameters,
            np.sqrt(np.diag(given.covariance)),
        )
        return own + moved.T @ given.covariance @ moved

    def propagated(self, function: Callable[[Floats], Floats]) -> tuple[float, float]:
        """Value of a function of θ (k × m to k) and its standard uncertainty."""
        theta, covariance = self.fit.theta, self.covariance
        slopes = gradient(function, theta, np.sqrt(np.diag(covariance)))
        return float(function(theta[None, :])[0]), math.sqrt(float(slopes @ covariance @ slopes))


UNSEEN_CLICK = 1.0
"""Standard uncertainty of one click where no row shows it, px: twice the floor. Common practice, no source."""


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
    rows = _same_way([_taken(given, i, rectification, bent) for i, given in enumerate(picture.rows)])
    if not rows:
        return Rows(rows=(), fits=(), joint=None, rectification=rectification, click_u=UNSEEN_CLICK, click_dof=math.inf)
    return _by_contacts(rows) if bent else _as_given(rows, rectification)


def _taken(given: ClickedRow, i: int, rectification: Rectification, bent: bool) -> Row:
    field = f"rows[{i}]"
    if given.feature not in PITCHES:
        remedy = f"known: {', '.join(PITCHES)}"
        raise ObservationError("no row shows this", field=f"{field}.feature", value=given.feature, remedy=remedy)
    plane = checked_plane(given.plane or str(FEATURES[given.feature].plane), field=f"{field}.plane")
    of = checked_body(given.of, field=f"{field}.of")
    clicks = clicked_row(given.points, field=f"{field}.points")
    refuse_beyond(rectification, clicks, fields=[f"{field}.points[{j}]" for j in range(len(clicks))])
    straight = rectification.now(clicks)
    sites, used = sites_of(straight, field=f"{field}.points", bent=bent)
    return Row(feature=given.feature, plane=plane, of=of, clicks=clicks, straight=straight, sites=sites, used=used)


def _same_way(rows: Sequence[Row]) -> list[Row]:
    """Rows counted in the direction of the first one, so that neighbours can be compared."""
    turned = list(rows)
    steps = [_fit(row).step for row in rows]
    for i, row in enumerate(rows):
        if float(steps[i] @ steps[0]) < 0.0:
            turned[i] = replace(row, sites=row.sites[row.used].max() - row.sites)
    return turned


def _fit(row: Row) -> RowFit:
    return row_of(row.straight, row.sites, row.used)


def _as_given(rows: Sequence[Row], rectification: Rectification) -> Rows:
    """Rows in a picture that needs no perspective taken out, or whose rectangle has done so."""
    points = [row.straight for row in rows]
    apart = fit_jointly([row.occupied(points[i], i) for i, row in enumerate(rows)])
    click_u, dof = _click_error(apart)
    agreeing = {key for key in {row.key for row in rows} if _agree(key, rows, points, click_u, dof)}
    groups = _groups(rows, agreeing)
    joint = fit_jointly([row.occupied(points[i], groups[i]) for i, row in enumerate(rows)])
    click_u, dof = _click_error(joint)
    if isinstance(rectification, FromRectangle):
        rectification = replace(rectification, click_u=click_u)
    return Rows(
        rows=tuple(rows),
        fits=tuple(_fit(row) for row in rows),
        joint=joint,
        rectification=rectification,
        click_u=click_u,
        click_dof=dof,
    )


def _by_contacts(rows: Sequence[Row]) -> Rows:
    """Rows whose own lattice shows the perspective; rows of one key are taken to have one step."""
    keys = {row.key for row in rows}
    groups = _groups(rows, keys)
    occupied = [row.occupied(row.clicks, groups[i]) for i, row in enumerate(rows)]
    basis = np.eye(2) if len(keys) < len(rows) else np.array([_fit(rows[0]).direction])
    joint = fit_jointly(occupied, basis=basis)
    click_u, dof = _click_error(joint)
    line = slice(joint.line_at, None)
    rectification = FromVanishingLine(
        centre=joint.centre,
        basis=basis,
        parameters=joint.theta[line],
        covariance=click_u**2 * joint.unit_covariance[line, line],
    )
    for i, row in enumerate(rows):
        refuse_beyond(rectification, row.clicks, fields=[f"rows[{i}].points[{j}]" for j in range(len(row.clicks))])
    straight = [replace(row, straight=rectification.now(row.clicks)) for row in rows]
    return Rows(
        rows=tuple(straight),
        fits=tuple(_fit(row) for row in straight),
        joint=joint,
        rectification=rectification,
        click_u=click_u,
        click_dof=dof,
    )


def _click_error(fit: JointFit) -> tuple[float, float]:
    """Standard uncertainty of one click by all residuals, and its degrees of freedom."""
    return click_error(fit.squares, fit.degrees_of_freedom)


def _groups(rows: Sequence[Row], agreeing: set[tuple[str, str, Of]]) -> list[int]:
    names: list[object] = [row.key if row.key in agreeing else i for i, row in enumerate(rows)]
    return [list(dict.fromkeys(names)).index(name) for name in names]


def _agree(key: tuple[str, str, Of], rows: Sequence[Row], points: Sequence[Floats], click_u: float, dof: float) -> bool:
    """Whether the rows of a key have one step: F test of the squares that one step adds."""
    members = [i for i, row in enumerate(rows) if row.key == key]
    if len(members) == 1:
        return True
    one = fit_jointly([rows[i].occupied(points[i], 0) for i in members])
    several = fit_jointly([rows[i].occupied(points[i], k) for k, i in enumerate(members)])
    freedom = one.degrees_of_freedom - several.degrees_of_freedom
    added = max(one.squares - several.squares, 0.0) / click_u**2
    p = chdtrc(freedom, added) if math.isinf(dof) else fdtrc(freedom, dof, added / freedom)
    return bool(p > DISAGREE)
