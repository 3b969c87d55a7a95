"""Uncertainty by the GUM (JCGM 100:2008): type A, type B, combination, degrees of freedom, coverage, conformity.

Plain numbers in any unit. Standard uncertainties are what the ranking uses; coverage factors and expanded
uncertainties serve the budget that people read.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri, stdtrit

ROUNDED_CORRELATION = 0.005
"""Correlations are printed to two or three figures; a matrix may miss being positive by this much per row."""


@dataclass(frozen=True, kw_only=True)
class TypeA:
    """Repeated readings: mean, standard deviation of one (n − 1), standard uncertainty of the mean, n − 1."""

    mean: float
    s: float
    u: float
    degrees_of_freedom: float


def type_a(readings: Sequence[float]) -> TypeA:
    """Mean of repeated readings and its standard uncertainty s/√n (GUM 4.2).

    The sums are exact, so that the order of the readings does not matter. No factor of Student's t enters ``u``:
    few readings show in the degrees of freedom.

    Raises
    ------
    ValueError
        For fewer than two readings (one shows no scatter) or one that is not finite.
    """
    n = len(readings)
    if n < 2:
        raise ValueError("scatter needs at least two readings")
    if not all(math.isfinite(reading) for reading in readings):
        raise ValueError("every reading must be a finite number")
    mean = math.fsum(readings) / n
    s = math.sqrt(math.fsum((reading - mean) ** 2 for reading in readings) / (n - 1))
    return TypeA(mean=mean, s=s, u=s / math.sqrt(n), degrees_of_freedom=n - 1)


def rectangular(a: float) -> float:
    """Standard uncertainty of a limit ± a within which every value is as likely: a/√3 (GUM 4.3.7)."""
    return _size(a) / math.sqrt(3)


def triangular(a: float) -> float:
    """Standard uncertainty of a limit ± a with values near the middle likelier: a/√6 (GUM 4.3.9)."""
    return _size(a) / math.sqrt(6)


def u_shaped(a: float) -> float:
    """Standard uncertainty of a cycle of amplitude a (arcsine distribution): a/√2 (GUM H.1.3.4)."""
    return _size(a) / math.sqrt(2)


def resolution(step: float) -> float:
    """Standard uncertainty of a display that moves in steps: step/√12 (GUM F.2.2.1)."""
    return _size(step) / math.sqrt(12)


def combine(contributions: Sequence[float], correlation: ArrayLike | None = None) -> float:
    """Combined standard uncertainty of contributions c·u, with sign where they are correlated (GUM 5.1.2, 5.2.2).

    ``correlation`` is their (n × n) matrix; without it they are independent.

    Raises
    ------
    ValueError
        When the matrix does not fit, or is no correlation matrix (ones on the diagonal, symmetric, no variance
        below 0).
    """
    parts = np.asarray(contributions, dtype=np.float64)
    if correlation is None:
        return math.hypot(*parts.tolist())
    matrix = np.asarray(correlation, dtype=np.float64)
    if matrix.shape != (len(parts), len(parts)):
        raise ValueError(f"the correlation matrix must be {len(parts)} × {len(parts)}")
    if not (np.allclose(matrix, matrix.T) and np.allclose(np.diag(matrix), 1.0)):
        raise ValueError("a correlation matrix is symmetric, with ones on its diagonal")
    if np.linalg.eigvalsh(matrix).min(initial=0.0) < -len(parts) * ROUNDED_CORRELATION:
        raise ValueError("these correlations contradict each other: a variance would be negative")
    return math.sqrt(max(float(parts @ matrix @ parts), 0.0))


def effective_dof(contributions: Sequence[float], degrees_of_freedom: Sequence[float]) -> float:
    """Effective degrees of freedom of independent contributions, by Welch–Satterthwaite (GUM G.4.1).

    Infinite where no contribution with finite degrees of freedom matters. Raises ValueError for unequal lengths.
    """
    pairs = list(zip(contributions, degrees_of_freedom, strict=True))
    total = combine(contributions)
    spread = math.fsum((part / total) ** 4 / dof for part, dof in pairs if part != 0.0)
    return math.inf if spread == 0.0 else 1.0 / spread


def dof_of_uncertainty(relative: float) -> float:
    """Degrees of freedom of a type B uncertainty that is itself known to ``relative`` only: ½·relative⁻² (G.4.2)."""
    if not relative > 0.0:
        raise ValueError("the relative uncertainty of an uncertainty must be above 0")
    return 0.5 / relative**2


def coverage_factor(degrees_of_freedom: float, level: float = 0.95) -> float:
    """Half-width, in standard uncertainties, of the interval that holds ``level`` (0 to 1) (GUM table G.2).

    Student's t; the normal for infinite degrees of freedom. They need not be whole numbers: the GUM's habit of
    rounding down is the caller's choice.
    """
    _check_level(level)
    if not degrees_of_freedom > 0.0:
        raise ValueError("degrees of freedom must be above 0")
    upper = (1.0 + level) / 2.0
    return float(ndtri(upper) if math.isinf(degrees_of_freedom) else stdtrit(degrees_of_freedom, upper))


def trapezoid_coverage_factor(edge_ratio: float, level: float = 0.95) -> float:
    """Coverage factor of two rectangles alone, ± a and ± b (EA-4/02 S10).

    Together they make a trapezoid with ``edge_ratio`` |a − b|/(a + b): 1 is a rectangle, 0 a triangle.

    Raises
    ------
    ValueError
        When the level is so low that the interval ends on the flat top (this form then no longer holds).
    """
    _check_level(level)
    if not 0.0 <= edge_ratio <= 1.0:
        raise ValueError("the edge ratio lies between 0 and 1")
    if level < 2.0 * edge_ratio / (1.0 + edge_ratio):
        raise ValueError("the interval ends on the flat top: the factor of a slope does not hold")
    half_width = 1.0 - math.sqrt((1.0 - level) * (1.0 - edge_ratio**2))
    return half_width / math.sqrt((1.0 + edge_ratio**2) / 6.0)


def expanded(u: float, degrees_of_freedom: float = math.inf, level: float = 0.95) -> float:
    """Expanded uncertainty: coverage factor times standard uncertainty."""
    return coverage_factor(degrees_of_freedom, level) * _size(u)


def conformity_probability(y: float, u: float, low: float, high: float) -> float:
    """Probability that a quantity measured as y ± u (normal) lies between two limits (JCGM 106:2012, 7.4).

    Either limit may be infinite. Raises ValueError for u ≤ 0 or limits the wrong way round.
    """
    if not u > 0.0:
        raise ValueError("the standard uncertainty must be above 0")
    if not low <= high:
        raise ValueError("the lower limit is above the upper one")
    below, above = (low - y) / u, (high - y) / u
    if below > 0.0:  # both limits on one side: mirrored, the small tails do not cancel
        below, above = -above, -below
    return float(ndtr(above) - ndtr(below))


def _size(a: float) -> float:
    if not 0.0 <= a < math.inf:
        raise ValueError(f"a width must be a finite number of at least 0, not {a}")
    return a


def _check_level(level: float) -> None:
    if not 0.0 < level < 1.0:
        raise ValueError("the level of confidence lies between 0 and 1")
