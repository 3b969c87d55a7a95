"""A row of contacts as a lattice: pitch, phase, site of each point, and how well the clicks fit.

A row needs at least three points, in any order; contacts may be left out. In one dimension position = phase + pitch ×
site, a straight line fitted by least squares: exactly the GUM's example H.3. In two dimensions both coordinates are
fitted on the site, which is total least squares for clicks that err equally in all directions: deviations across the
row count as clicking error too.

The clicking error comes from the residuals with their degrees of freedom, and is never taken to be below the floor.
Where the floor rules the degrees of freedom are infinite.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri

from matcher.budget import coverage_factor
from matcher.columns import Bools, Floats, Ints
from matcher.errors import ObservationError
from matcher.picture.indexing import LOOSEST, PRIOR_DOF, USUAL_CLICKING, assign, empty_sites
from matcher.picture.lines import unit_covariance
from matcher.picture.points import SAME_PLACE, numbers_of, refuse_same_place

FLOOR_U = 0.5
"""Smallest standard uncertainty of one click, px: half a pixel, however well the points fit (agreed)."""

FEWEST = 3
"""Fewest points of a row: two fit any lattice without residual."""

FALSE_ALARM = 0.01
"""Probability that a row without any stray has a point called one. A choice: the interval must not suffer from it."""

ROUGHEST = 1 / 8
"""Largest clicking error in pitches: beyond, good points reach `LOOSEST` and gaps are counted wrong."""


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
    degrees_of_freedom: of ``click_u``; infinite where the floor rules.
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
        """Expanded uncertainty of the pitch at 95 %, px: by Student's t, or the normal where the floor rules."""
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
    return _lattice(_fitted(points, points[:, 0], floor_u, field), np.ones(1), floor_u)


def fit_row(points: ArrayLike, *, floor_u: float = FLOOR_U, field: str = "points") -> RowFit:
    """Fit a row to points (x, y), px, in any order.

    Raises
    ------
    ObservationError
        As `fit_lattice`, and where the points do not lie along a line.
    """
    clicked = clicked_row(points, floor_u=floor_u, field=field)
    return row_of(clicked, *sites_of(clicked, floor_u=floor_u, field=field), floor_u=floor_u)


def clicked_row(points: ArrayLike, *, floor_u: float = FLOOR_U, field: str = "points") -> Floats:
    """Checked points (n × 2) of one row; raises as `fit_row` for points that cannot be used at all."""
    clicked = numbers_of(points, 2, field=field, fewest=FEWEST)
    check_floor(floor_u)
    refuse_same_place(clicked, SAME_PLACE * 2 * floor_u, field=field)
    return clicked


def sites_of(
    clicked: Floats, *, floor_u: float = FLOOR_U, field: str = "points", bent: bool = False
) -> tuple[Ints, Bools]:
    """Site of each point (n × 2) of a row, and whether the point belongs to it.

    ``bent`` lets the steps change steadily along the row, as they do in a tilted picture; for that a row needs five
    points. Raises as `fit_row`.
    """
    degree = 2 if bent and len(clicked) >= FEWEST + 2 else 1
    fitted = _fitted(clicked, clicked @ _main_direction(clicked), floor_u, field, degree)
    return fitted.sites, fitted.used


def row_of(points: Floats, sites: Ints, used: Bools, *, floor_u: float = FLOOR_U) -> RowFit:
    """The row through points (n × 2) whose sites are known."""
    fitted = _regressed(points, sites, used)
    direction = fitted.step / _length(fitted.step)
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


def check_floor(floor_u: float) -> None:
    """Refuse a floor of the clicking error that is not a finite number above 0, at field ``floor_u``."""
    if not (isinstance(floor_u, int | float) and 0.0 < floor_u < math.inf):
        raise ObservationError(
            "no click is without error", field="floor_u", value=floor_u, remedy="give a number of pixels above 0"
        )


def _main_direction(points: Floats) -> Floats:
    """Direction along which most points stretch, whatever a few strays do; its larger component is positive.

    The median of the directions between far points bears a third of strays; the middle half by order along the
    longest extent would be enough for a start, since the fit itself finds the direction anew from the sites.
    """
    n = len(points)
    i, j = np.triu_indices(n, 1)
    if len(i) > MOST_PAIRS:
        chosen = np.linspace(0, len(i) - 1, MOST_PAIRS).astype(np.int64)
        i, j = i[chosen], j[chosen]
    steps = points[j] - points[i]
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    far = lengths >= np.median(lengths)
    angles = 2.0 * np.arctan2(steps[far, 1], steps[far, 0])
    doubled = _weighted_median_angle(angles, lengths[far])
    direction = np.array([math.cos(doubled / 2), math.sin(doubled / 2)])
    return direction * math.copysign(1.0, direction[np.argmax(np.abs(direction))])


MOST_PAIRS = 4000
"""Pairs of points looked at for a row's direction: more change it by less than its uncertainty."""


def _weighted_median_angle(angles: Floats, weights: Floats) -> float:
    """Weighted median about the weighted mean direction, rad."""
    middle = math.atan2(float(weights @ np.sin(angles)), float(weights @ np.cos(angles)))
    off = np.angle(np.exp(1j * (angles - middle)))
    order = np.argsort(off)
    half = np.searchsorted(np.cumsum(weights[order]), weights.sum() / 2)
    return middle + float(off[order[half]])


@dataclass(frozen=True, kw_only=True)
class _Fitted:
    """Coordinates (n × d) fitted on the sites.

    Origin and step (d) at site 0, residuals (n × d), which points were used, and the leverage of every point: how
    much the fit at its site varies, in variances of one click.
    """

    sites: Ints
    used: Bools
    origin: Floats
    step: Floats
    residuals: Floats
    leverage: Floats
    degree: int

    @property
    def squares(self) -> float:
        """Sum of squared residuals of the points used, px²."""
        return float(np.sum(self.residuals[self.used] ** 2))

    @property
    def degrees_of_freedom(self) -> int:
        """Coordinates less parameters."""
        return int((np.count_nonzero(self.used) - self.degree - 1) * self.residuals.shape[1])


def _fitted(points: Floats, along: Floats, floor_u: float, field: str, degree: int = 1) -> _Fitted:
    """Sites and fit, strays left out one after the other, and taken back where they fit after all."""
    assignment = assign(along, floor_u, field=field)
    used = assignment.inliers.copy()
    fitted = _regressed(points, assignment.indices, used, degree)
    for _ in range(2 * len(points)):
        changed = _most_misplaced(fitted, floor_u)
        if changed is None:
            break
        used[changed] = not used[changed]
        fitted = _regressed(points, fitted.sites, used, degree)
        if np.count_nonzero(used) < max(FEWEST, 2 * len(points) / 3 - 1e-9):
            raise _no_row(len(points), field)
    _refuse_rough(fitted, floor_u, field)
    return fitted


def _regressed(points: Floats, sites: Ints, used: Bools, degree: int = 1) -> _Fitted:
    """Polynomial of ``degree`` in the site, a straight line for a lattice, fitted to each coordinate."""
    shifted = (sites - sites[used].min()).astype(np.float64)
    powers = np.vander(shifted / max(shifted[used].max(), 1.0), degree + 1, increasing=True)
    q, r = np.linalg.qr(powers[used])
    coefficients = np.linalg.solve(r, q.T @ points[used])
    return _Fitted(
        sites=sites - sites[used].min(),
        used=used.copy(),
        origin=coefficients[0],
        step=coefficients[1] / max(shifted[used].max(), 1.0),
        residuals=points - powers @ coefficients,
        leverage=np.sum(np.linalg.solve(r.T, powers.T) ** 2, axis=0),
        degree=degree,
    )


NO_FREEDOM = 1e-9
"""Smallest share of a click's variance that its residual shows; a point that alone fixes the fit has none."""


def _most_misplaced(fitted: _Fitted, floor_u: float) -> int | None:
    """The used point that is strangest, or else the stray that fits best on a free site; None when all is well."""
    used, ratio = fitted.used, _strangeness(fitted, floor_u)
    worst = int(np.argmax(np.where(used, ratio, 0.0)))
    if ratio[worst] > 1.0:
        return worst
    nearest = int(np.argmin(np.where(used | np.isin(fitted.sites, fitted.sites[used]), np.inf, ratio)))
    return nearest if not used[nearest] and ratio[nearest] < 1.0 else None


def _strangeness(fitted: _Fitted, floor_u: float) -> Floats:
    """How far each point lies beyond what clicking explains, judged by the other points: above 1 it is a stray.

    A used point is compared with the fit to the others (externally studentised), one that is not used with the fit as
    it is, both by an F test at `FALSE_ALARM` / n; what is known about clicking beforehand counts for `PRIOR_DOF`
    degrees of freedom.
    """
    used, n, dims = fitted.used, np.count_nonzero(fitted.used), fitted.residuals.shape[1]
    spread = np.where(used, np.maximum(1.0 - fitted.leverage, NO_FREEDOM), 1.0 + fitted.leverage)
    squared = np.sum(fitted.residuals**2, axis=1) / spread
    dof = fitted.degrees_of_freedom - dims * used
    usual = PRIOR_DOF * (USUAL_CLICKING * floor_u) ** 2
    variance = (np.maximum(fitted.squares - squared * used, 0.0) + usual) / (dof + PRIOR_DOF)
    limit = dims * fdtri(dims, dof + PRIOR_DOF, 1.0 - FALSE_ALARM / n)
    farthest = (LOOSEST * _length(fitted.step)) ** 2
    return np.asarray(np.maximum(squared / (variance * limit), np.sum(fitted.residuals**2, axis=1) / farthest))


def _length(vector: Floats) -> float:
    return math.hypot(*vector.tolist())


def _no_row(count: int, field: str) -> ObservationError:
    return ObservationError(
        "these points do not lie on one row of equal steps",
        field=field,
        value=count,
        remedy="click contacts of one row and one group only; measure groups apart",
    )


def _refuse_rough(fitted: _Fitted, floor_u: float, field: str) -> None:
    pitch = _length(fitted.step)
    scatter = math.sqrt(fitted.squares / max(fitted.degrees_of_freedom, 1))
    if scatter > ROUGHEST * pitch:
        raise ObservationError(
            f"the points scatter by {scatter:.1f} px at a pitch of {pitch:.1f} px: gaps cannot be counted",
            field=field,
            value=len(fitted.sites),
            remedy="take a larger picture, or click the same spot of every contact",
        )
    if floor_u > ROUGHEST * pitch:
        raise ObservationError(
            f"a pitch of {pitch:.1f} px is too small to be clicked",
            field=field,
            value=pitch,
            remedy="take a larger picture",
        )


def _lattice(fitted: _Fitted, direction: Floats, floor_u: float) -> Lattice:
    dof = fitted.degrees_of_freedom
    residual_sd = math.sqrt(fitted.squares / dof)
    click_u, floor_rules = max(residual_sd, floor_u), residual_sd <= floor_u
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
        residual_sd=residual_sd,
        click_u=click_u,
        degrees_of_freedom=math.inf if floor_rules else float(dof),
        outliers=tuple(strays),
        missing=empty_sites(used_sites.tolist()),
        spans=int(used_sites.max()),
    )
