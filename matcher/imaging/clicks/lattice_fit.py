"""A row of contacts as a lattice: pitch, phase, site of each point, and how well the clicks fit.

A row needs at least three points, in any order; contacts may be left out. In one dimension position = phase + pitch ×
site, a straight line fitted by least squares: exactly the GUM's example H.3. In two dimensions both coordinates are
fitted on the site, which is total least squares for clicks with equal errors in all directions: deviations across the
row count as clicking error too.

The clicking error comes from the residuals with their degrees of freedom, and is never taken to be below the floor
(`matcher.imaging.clicks.lattice_fit.click_error`, which says how often 95 % intervals hold the truth).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri

from matcher.columns.columns import Bools, Floats, Ints
from matcher.errors import ObservationError
from matcher.imaging.clicks.inputs import SAME_PLACE, checked_points, refuse_same_place
from matcher.imaging.clicks.picture_results import Lattice, Outlier, RowFit
from matcher.imaging.clicks.site_assignment import LOOSEST, PRIOR_DOF, USUAL_CLICKING, assign, no_row
from matcher.observations import LARGEST_COUNT

FLOOR_U = 0.5
"""Smallest standard uncertainty of one click, px: half a pixel, however well the points fit (agreed)."""

FEWEST = 3
"""Fewest points of a row: two fit any lattice without residual."""

AS_GOOD_AS_KNOWN = 1e6
"""Degrees of freedom from which Student's factor is the normal's to six figures."""

FALSE_ALARM = 0.002
"""Probability that a point of a row without outliers is rejected. A choice: low enough not to affect the interval."""

ROUGHEST = 1 / 8
"""Largest clicking error in pitches: beyond it, good points reach `LOOSEST` and gaps are counted wrong."""


def click_error(squares: float, degrees_of_freedom: int, floor_u: float = FLOOR_U) -> tuple[float, float]:
    """Standard uncertainty of one click, and its degrees of freedom, from the residuals' sum of squares.

    Never below the floor. If the residuals show less, a known part fills them up to the floor, and the degrees of
    freedom are those of both together (Welch–Satterthwaite, GUM G.4.1): ν·(floor/s)⁴. They rise from ν to infinity as
    the residuals fall, so that a few clicks that fit well by chance do not count as proof of a steady hand. With ν = 1
    that rule is known to be too sure (see `matcher.uncertainty.coverage`); there they rise as floor/s.

    95 % intervals then hold the truth in 94.5 to 96 % of cases where the true error is at least 1.6 floors (0.8 px),
    for any ν ≥ 2 (by quadrature); for ν = 1, three positions along a line, in 94 to 98 %. At a true error of just the
    floor it is 96 to 98 % and below it up to 100 %, by design: the floor is never undercut, and residuals cannot tell a
    true error at the floor from a larger one.
    """
    scatter = math.sqrt(squares / degrees_of_freedom)
    if scatter >= floor_u:
        return scatter, float(degrees_of_freedom)
    power = 4 if degrees_of_freedom > 1 else 1
    known = scatter <= 0.0 or degrees_of_freedom * (floor_u / scatter) ** power > AS_GOOD_AS_KNOWN
    return floor_u, math.inf if known else degrees_of_freedom * (floor_u / scatter) ** power


def clicked_row(points: ArrayLike, *, field: str = "points") -> Floats:
    """Checked points (n × 2) of one row, px, in any order.

    Raises
    ------
    ObservationError
        At ``field`` for fewer than three points; at ``field[i]`` for what is not a point or is at the same place again.
    """
    clicked = checked_points(points, 2, field=field, fewest=FEWEST)
    refuse_same_place(clicked, SAME_PLACE, field=field)
    return clicked


def sites_of(clicked: Floats, *, field: str = "points", bent: bool = False) -> tuple[Ints, Bools]:
    """Site of each point (n × 2) of a row, and whether the point belongs to it.

    ``bent`` lets the steps change steadily along the row, as they do in a tilted picture; for that a row needs five
    points. Raises as `fit_lattice`, and where the points do not lie along a line.
    """
    degree = 2 if bent and len(clicked) >= FEWEST + 2 else 1
    fitted = fit_sites(clicked, clicked @ _main_direction(clicked), FLOOR_U, field, degree)
    return fitted.sites, fitted.used


def _main_direction(points: Floats) -> Floats:
    """Direction of the row, robust against a few outliers; its larger component is positive.

    It is the median of the directions between points that are far apart, which tolerates a third of strays. It is only
    a start: the fit finds the direction again from the sites.
    """
    n = len(points)
    i, j = np.triu_indices(n, 1)
    if len(i) > MOST_PAIRS:
        chosen = np.linspace(0, len(i) - 1, MOST_PAIRS).astype(np.int64)
        i, j = i[chosen], j[chosen]
    steps = points[j] - points[i]
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    far = lengths >= np.sort(lengths)[len(lengths) // 2]
    angles = 2.0 * np.arctan2(steps[far, 1], steps[far, 0])
    doubled = _weighted_median_angle(angles, lengths[far])
    direction = np.array([math.cos(doubled / 2), math.sin(doubled / 2)])
    return direction * math.copysign(1.0, direction[np.argmax(np.abs(direction))])


MOST_PAIRS = 4000
"""Most pairs of points used for a row's direction: more change it by less than its uncertainty."""


def _weighted_median_angle(angles: Floats, weights: Floats) -> float:
    """Weighted median about the weighted mean direction, rad."""
    middle = math.atan2(float(weights @ np.sin(angles)), float(weights @ np.cos(angles)))
    off = np.remainder(angles - middle + math.pi, 2.0 * math.pi) - math.pi
    order = np.argsort(off)
    half = np.searchsorted(np.cumsum(weights[order]), weights.sum() / 2)
    return middle + float(off[order[half]])


@dataclass(frozen=True, kw_only=True)
class SiteFit:
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

    @cached_property
    def squares(self) -> float:
        """Sum of squared residuals of the points used, px²."""
        return float(np.sum(self.residuals[self.used] ** 2))

    @property
    def degrees_of_freedom(self) -> int:
        """Coordinates less parameters."""
        return int((np.count_nonzero(self.used) - self.degree - 1) * self.residuals.shape[1])


def fit_sites(points: Floats, along: Floats, floor_u: float, field: str, degree: int = 1) -> SiteFit:
    """Sites and fit of points (n × d) ``along`` a row (n), without outliers."""
    assignment = assign(along, floor_u, field=field)
    used = assignment.inliers.copy()
    fitted = polynomial_fit(points, assignment.indices, used, degree)
    for _ in range(2 * len(points)):
        changed = _next_change(fitted, floor_u)
        if changed is None:
            break
        used[changed] = not used[changed]
        fitted = polynomial_fit(points, fitted.sites, used, degree)
        if np.count_nonzero(used) < max(FEWEST, 2 * len(points) / 3 - 1e-9):
            raise no_row(len(points), field)
    _refuse_absurd(fitted, floor_u, field)
    return fitted


def polynomial_fit(points: Floats, sites: Ints, used: Bools, degree: int = 1) -> SiteFit:
    """Polynomial of ``degree`` in the site, a straight line for a lattice, fitted to each coordinate."""
    shifted = sites - sites[used].min()
    length = max(float(shifted[used].max()), 1.0)
    powers = (shifted / length)[:, None] ** np.arange(degree + 1)
    of_used = powers[used]
    covariance = np.linalg.inv(of_used.T @ of_used)
    coefficients = covariance @ (of_used.T @ points[used])
    return SiteFit(
        sites=shifted,
        used=used.copy(),
        origin=coefficients[0],
        step=coefficients[1] / length,
        residuals=points - powers @ coefficients,
        leverage=np.sum(powers @ covariance * powers, axis=1),
        degree=degree,
    )


NO_FREEDOM = 1e-9
"""Smallest share of a click's variance in its residual: a point that alone determines the fit has none."""


def _next_change(fitted: SiteFit, floor_u: float) -> int | None:
    """The used point with the largest residual ratio above 1, else the outlier that fits a free site best; None if
    neither exists."""
    used, ratio = fitted.used, _residual_ratio(fitted, floor_u)
    worst = int(np.argmax(np.where(used, ratio, 0.0)))
    if ratio[worst] > 1.0:
        return worst
    if used.all():
        return None
    nearest = int(np.argmin(np.where(used | np.isin(fitted.sites, fitted.sites[used]), np.inf, ratio)))
    return nearest if not used[nearest] and ratio[nearest] < 1.0 else None


def _residual_ratio(fitted: SiteFit, floor_u: float) -> Floats:
    """Residual of each point relative to the limit of an F test by the other points: above 1 it is an outlier.

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
    farthest = (LOOSEST * float(np.linalg.norm(fitted.step))) ** 2
    return np.asarray(np.maximum(squared / (variance * limit), np.sum(fitted.residuals**2, axis=1) / farthest))


def _refuse_absurd(fitted: SiteFit, floor_u: float, field: str) -> None:
    pitch = float(np.linalg.norm(fitted.step))
    scatter = math.sqrt(fitted.squares / max(fitted.degrees_of_freedom, 1))
    if scatter > ROUGHEST * pitch:
        raise ObservationError(
            f"the points scatter by {scatter:.1f} px at a pitch of {pitch:.1f} px: gaps cannot be counted",
            field=field,
            value=len(fitted.sites),
            remedy="take a larger picture, or click the same spot of every contact",
        )
    if fitted.sites[fitted.used].max() >= LARGEST_COUNT:
        raise ObservationError(
            "a row cannot have so many contacts",
            field=field,
            value=int(fitted.sites[fitted.used].max()),
            remedy="click contacts of one row only",
        )
    if floor_u > ROUGHEST * pitch:
        raise ObservationError(
            f"a pitch of {pitch:.1f} px is too small to be clicked",
            field=field,
            value=pitch,
            remedy="take a larger picture",
        )


def unit_covariance(x: Floats) -> Floats:
    """Covariance of (intercept, slope) of a line through y of standard deviation 1 at ``x``: (XᵀX)⁻¹."""
    middle, squares = float(x.mean()), float(np.sum((x - x.mean()) ** 2))
    cross = -middle / squares
    return np.array([[1.0 / len(x) - middle * cross, cross], [cross, 1.0 / squares]])


def fit_lattice(positions: ArrayLike, *, floor_u: float = FLOOR_U, field: str = "positions") -> Lattice:
    """Fit a lattice to positions along a row, px, in any order.

    Raises
    ------
    ObservationError
        At ``field`` for fewer than three positions, no clear pitch, or positions that scatter too much; at
        ``field[i]`` for one that is no number, or a second one at the same place; at ``floor_u`` for a floor of the
        clicking error that is not a finite number above 0.
    """
    points = checked_points(positions, 1, field=field, fewest=FEWEST)
    if not (isinstance(floor_u, int | float) and 0.0 < floor_u < math.inf):
        raise ObservationError(
            "this is not an error of a click", field="floor_u", value=floor_u, remedy="give a number of pixels above 0"
        )
    refuse_same_place(points, SAME_PLACE * 2 * floor_u, field=field)
    return _lattice(fit_sites(points, points[:, 0], floor_u, field), np.ones(1), floor_u)


def row_through(points: Floats, sites: Ints, used: Bools) -> RowFit:
    """The row through points (n × 2) whose sites are known."""
    fitted = polynomial_fit(points, sites, used)
    direction = fitted.step / float(np.linalg.norm(fitted.step))
    lattice = _lattice(fitted, direction, FLOOR_U)
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
    strays = [Outlier(point=int(i), site=int(fitted.sites[i]), off=float(off[i])) for i in np.nonzero(~fitted.used)[0]]
    spans = int(used_sites.max())
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
        missing=tuple(sorted(set(range(spans)) - set(used_sites.tolist()))),
        spans=spans,
    )
