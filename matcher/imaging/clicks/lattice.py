"""A row of contacts as a lattice: pitch, phase, site of each point, and how well the clicks fit.

A row needs at least three points, in any order; contacts may be left out. In one dimension position = phase + pitch ×
site, a straight line fitted by least squares: exactly the GUM's example H.3. In two dimensions both coordinates are
fitted on the site, which is total least squares for clicks that err equally in all directions: deviations across the
row count as clicking error too.

The clicking error comes from the residuals with their degrees of freedom, and is never taken to be below the floor
(`matcher.imaging.clicks.sites.click_error`, which says how often 95 % intervals hold the truth).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from matcher.columns.columns import Bools, Floats, Ints
from matcher.imaging.clicks.indexing import empty_sites
from matcher.imaging.clicks.lines import unit_covariance
from matcher.imaging.clicks.points import SAME_PLACE, numbers_of, refuse_same_place
from matcher.imaging.clicks.sites import (
    FEWEST,
    FLOOR_U,
    SiteFit,
    check_floor,
    click_error,
    clicked_row,
    fit_sites,
    length,
    regressed,
    sites_of,
)
from matcher.uncertainty.gum import coverage_factor


@dataclass(frozen=True, kw_only=True)
class Stray:
    """A point that was left out: its place in the given list, its nearest site, and how far off it is, px."""

    point: int
    site: int
    off: float


@dataclass(frozen=True, kw_only=True)
class Lattice:
    """A row as equal steps, px.

    Attributes
    ----------
    pitch, pitch_u: step, and its standard uncertainty.
    phase, phase_u: position of site 0 (that of the smallest position), and its standard uncertainty.
    covariance: 2 × 2, of (phase, pitch), px²: click_u² (XᵀX)⁻¹.
    indices: site of each point in the given order; for a stray point its nearest site.
    residuals: position minus site, px, in the given order, strays too.
    residual_sd: standard deviation of one click about the lattice, from the residuals (GUM H.3.2), strays left out.
    click_u: standard uncertainty of one click: ``residual_sd``, or the floor where that is larger.
    degrees_of_freedom: of ``click_u``; the more, the farther the residuals are below the floor.
    outliers: points left out.
    missing: sites without a point between the first and the last.
    spans: gaps between the first and the last contact.
    """

    pitch: float
    pitch_u: float
    phase: float
    phase_u: float
    covariance: Floats
    indices: tuple[int, ...]
    residuals: tuple[float, ...]
    residual_sd: float
    click_u: float
    degrees_of_freedom: float
    outliers: tuple[Stray, ...]
    missing: tuple[int, ...]
    spans: int

    @property
    def pitch_u95(self) -> float:
        """Expanded uncertainty of the pitch at 95 %, px, by Student's t."""
        return coverage_factor(self.degrees_of_freedom) * self.pitch_u

    @property
    def used_sites(self) -> Ints:
        """Sites of the points that were used, in the given order."""
        strays = {stray.point for stray in self.outliers}
        return np.array([site for i, site in enumerate(self.indices) if i not in strays], dtype=np.int64)


@dataclass(frozen=True, kw_only=True)
class RowFit:
    """A row of contacts in a picture.

    Attributes
    ----------
    lattice: along the row; ``phase`` counts from the foot of the picture's origin (0, 0) on the row's line.
    origin: (x, y) of site 0, px.
    direction: unit vector along the row, towards higher sites; its larger component is positive.
    tilt, tilt_u: angle from the x axis towards the y axis, rad, and its standard uncertainty.
    across: distance of each point from the row's line, px, in the given order, positive to the right of the direction
        as seen in the picture.
    """

    lattice: Lattice
    origin: tuple[float, float]
    direction: tuple[float, float]
    tilt: float
    tilt_u: float
    across: tuple[float, ...]

    @property
    def step(self) -> Floats:
        """Vector from one site to the next, px."""
        return self.lattice.pitch * np.array(self.direction)

    def at(self, site: float) -> Floats:
        """Where a site lies in the picture, px."""
        return np.array(self.origin) + site * self.step


def fit_lattice(positions: ArrayLike, *, floor_u: float = FLOOR_U, field: str = "positions") -> Lattice:
    """Fit a lattice to positions along a row, px, in any order.

    Raises
    ------
    ObservationError
        At ``field`` for fewer than three positions, no clear pitch, or positions that scatter too much; at
        ``field[i]`` for one that is no number, or a second one at the same place.
    """
    points = numbers_of(positions, 1, field=field, fewest=FEWEST)
    check_floor(floor_u)
    refuse_same_place(points, SAME_PLACE * 2 * floor_u, field=field)
    return _lattice(fit_sites(points, points[:, 0], floor_u, field), np.ones(1), floor_u)


def fit_row(points: ArrayLike, *, floor_u: float = FLOOR_U, field: str = "points") -> RowFit:
    """Fit a row to points (x, y), px, in any order.

    Raises
    ------
    ObservationError
        As `fit_lattice`, and where the points do not lie along a line.
    """
    clicked = clicked_row(points, floor_u=floor_u, field=field)
    return row_of(clicked, *sites_of(clicked, floor_u=floor_u, field=field), floor_u=floor_u)


def row_of(points: Floats, sites: Ints, used: Bools, *, floor_u: float = FLOOR_U) -> RowFit:
    """The row through points (n × 2) whose sites are known."""
    fitted = regressed(points, sites, used)
    direction = fitted.step / length(fitted.step)
    lattice = _lattice(fitted, direction, floor_u)
    normal = np.array([-direction[1], direction[0]])
    return RowFit(
        lattice=lattice,
        origin=(float(fitted.origin[0]), float(fitted.origin[1])),
        direction=(float(direction[0]), float(direction[1])),
        tilt=math.atan2(direction[1], direction[0]),
        tilt_u=lattice.pitch_u / lattice.pitch,
        across=tuple((fitted.residuals @ normal).tolist()),
    )


def _lattice(fitted: SiteFit, direction: Floats, floor_u: float) -> Lattice:
    dof = fitted.degrees_of_freedom
    click_u, click_dof = click_error(fitted.squares, dof, floor_u)
    used_sites = fitted.sites[fitted.used]
    covariance = click_u**2 * unit_covariance(used_sites.astype(np.float64))
    off = np.sqrt(np.sum(fitted.residuals**2, axis=1))
    strays = [Stray(point=int(i), site=int(fitted.sites[i]), off=float(off[i])) for i in np.nonzero(~fitted.used)[0]]
    return Lattice(
        pitch=float(fitted.step @ direction),
        pitch_u=math.sqrt(covariance[1, 1]),
        phase=float(fitted.origin @ direction),
        phase_u=math.sqrt(covariance[0, 0]),
        covariance=covariance,
        indices=tuple(fitted.sites.tolist()),
        residuals=tuple((fitted.residuals @ direction).tolist()),
        residual_sd=math.sqrt(fitted.squares / dof),
        click_u=click_u,
        degrees_of_freedom=click_dof,
        outliers=tuple(strays),
        missing=empty_sites(used_sites.tolist()),
        spans=int(used_sites.max()),
    )
