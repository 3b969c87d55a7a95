"""Dimension laws of a series: dimension = intercept + slope × positions (contacts per row), mm, fitted from members.

The fit is robust against outliers: the median of pairwise slopes, then the median of the residuals (Theil 1950, Sen
1968). Lengths are drawn as a whole number of pitches plus an allowance, and widths are constant. So a slope close to
the pitch or to 0 is set to it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from matcher.columns.columns import Floats, Ints

SMALL_CHANGE = 0.12
"""A slope is set to the pitch (or 0) where that changes no value within the fitted range by this much, mm.

On 270 real series of three or more sizes (tests/real_geometry) the slopes of lengths are either within 0.05 mm of the
pitch over the range or at least 0.28 mm away, so any limit between these gives the same decisions."""

LEAST_U = 0.01
"""Smallest standard uncertainty of a prediction, mm: the last digit that drawings print."""

TWO_THIRDS = 0.6827
"""Share of a normal distribution within one standard deviation. This quantile of |residual| estimates the standard
deviation and is robust against single outliers."""


@dataclass(frozen=True, kw_only=True)
class Law:
    """A fitted law, mm and mm per position.

    ``snapped`` says that the slope was set to the pitch or 0. ``spread`` is the standard deviation of members about
    the law. ``members`` is the number of members fitted, at positions from ``low`` to ``high`` with mean ``centre``;
    ``slope_u`` is the slope's standard uncertainty.
    """

    intercept: float
    slope: float
    snapped: bool
    spread: float
    members: int
    low: int
    high: int
    centre: float
    slope_u: float

    def value(self, positions: int) -> float:
        """The dimension at a number of positions, mm."""
        return self.intercept + self.slope * positions

    def u(self, positions: int) -> float:
        """Standard uncertainty of the prediction for one more member, mm; it grows with extrapolation.

        It grows from the centre of the members for a free slope, and from the ends of their range for a snapped one.
        """
        beyond = max(self.low - positions, positions - self.high, 0)
        arm = beyond if self.snapped else abs(positions - self.centre)
        return float(np.sqrt(LEAST_U**2 + self.spread**2 * (1 + 1 / self.members) + (self.slope_u * arm) ** 2))


def fit_law(positions: Sequence[int], values: Sequence[float], *, snap_slope_to: float | None = None) -> Law:
    """Fit a law to members.

    Parameters
    ----------
    positions: contacts per row of each member; at least two different numbers.
    values: the dimension of each member, mm.
    snap_slope_to: the pitch, mm, for dimensions along the rows; None for all others, which count as constant when they
        change little.

    Raises
    ------
    ValueError: lengths differ, a value is not finite, or all members have the same number of positions.
    """
    p, v = np.asarray(positions, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if p.shape != v.shape or p.ndim != 1:
        raise ValueError("positions and values must be two lists of equal length")
    if not (np.isfinite(p).all() and np.isfinite(v).all()):
        raise ValueError("positions and values must be finite numbers")
    sizes, middles = _by_size(p, v)
    if sizes.size < 2:
        raise ValueError("a law needs members of at least two different sizes")
    free = _median_slope(sizes, middles)
    target = 0.0 if snap_slope_to is None else snap_slope_to
    snapped = abs(free - target) * (sizes[-1] - sizes[0]) < SMALL_CHANGE
    slope = target if snapped else free
    rest = v - slope * p
    intercept = median(rest)
    centre = float(p.mean())
    spread = _spread(rest - intercept, parameters=1 if snapped else 2)
    return Law(
        intercept=intercept,
        slope=slope,
        snapped=bool(snapped),
        spread=spread,
        members=p.size,
        low=int(sizes[0]),
        high=int(sizes[-1]),
        centre=centre,
        slope_u=max(spread, LEAST_U) / float(np.sqrt(((p - centre) ** 2).sum())),
    )


def _by_size(p: Floats, v: Floats) -> tuple[Floats, Floats]:
    """The different sizes, ascending, and the median of each one's values."""
    order = np.argsort(p)
    ascending = p[order]
    first = np.append(True, ascending[1:] != ascending[:-1])
    if first.all():
        return ascending, v[order]
    sizes = ascending[first]
    return sizes, np.array([median(v[p == size]) for size in sizes])


@lru_cache
def _pairs(number: int) -> tuple[Ints, Ints]:
    """Indices of all pairs of that many."""
    return np.triu_indices(number, 1)


def _median_slope(sizes: Floats, middles: Floats) -> float:
    """Median slope over pairs of different sizes; members of one size count as their median, to limit the pairs."""
    first, second = _pairs(sizes.size)
    return median((middles[second] - middles[first]) / (sizes[second] - sizes[first]))


def median(values: Floats) -> float:
    """The median, in a tenth of the time that NumPy's takes for a few values; there are many laws, and many sites of
    contacts."""
    ordered = np.sort(values)
    half = ordered.size // 2
    return float(ordered[half] if ordered.size % 2 else (ordered[half - 1] + ordered[half]) / 2)


def medians(values: Floats) -> Floats:
    """The median of each column, in a fifth of the time that NumPy's takes for a few rows."""
    ordered = np.sort(values, axis=0)
    half = len(ordered) // 2
    return np.asarray((ordered[half] + ordered[-half - 1]) / 2)


def _spread(residuals: Floats, *, parameters: int) -> float:
    """Standard deviation about the law: the two-thirds quantile of |residual|, widened for the fitted parameters."""
    size = residuals.size
    quantile = float(np.sort(np.abs(residuals))[math.ceil((size - 1) * TWO_THIRDS)])
    return quantile * math.sqrt(size / max(size - parameters, 1))
