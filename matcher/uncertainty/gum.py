"""Uncertainty by the GUM (JCGM 100:2008): type A, type B, combination, degrees of freedom, coverage.

Plain numbers in any unit. The ranking uses standard uncertainties; coverage factors are for the budget that people
read.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import ndtri, stdtrit


@dataclass(frozen=True, kw_only=True)
class TypeA:
    """Repeated readings: mean, standard deviation of one (n − 1), standard uncertainty of the mean, n − 1."""

    mean: float
    s: float
    u: float
    degrees_of_freedom: float


def type_a(readings: Sequence[float]) -> TypeA:
    """Mean of repeated readings and its standard uncertainty s/√n (GUM 4.2).

    The sums are exact, so the order of the readings does not matter. ``u`` contains no factor of Student's t: few
    readings mean few degrees of freedom.

    Raises
    ------
    ValueError
        For fewer than two readings, since one has no scatter, or for a reading that is not finite.
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
    """Standard uncertainty of a limit ± a within which all values are equally likely: a/√3 (GUM 4.3.7)."""
    return _size(a) / math.sqrt(3)


def resolution(step: float) -> float:
    """Standard uncertainty of a display that moves in steps: step/√12 (GUM F.2.2.1)."""
    return _size(step) / math.sqrt(12)


def combine(contributions: Sequence[float]) -> float:
    """Combined standard uncertainty of independent contributions c·u (GUM 5.1.2)."""
    return math.hypot(*contributions)


def effective_dof(contributions: Sequence[float], degrees_of_freedom: Sequence[float]) -> float:
    """Effective degrees of freedom of independent contributions, by Welch–Satterthwaite (GUM G.4.1).

    Infinite where no contribution with finite degrees of freedom matters. Raises ValueError for unequal lengths.
    """
    pairs = list(zip(contributions, degrees_of_freedom, strict=True))
    total = combine(contributions)
    spread = math.fsum((part / total) ** 4 / dof for part, dof in pairs if part != 0.0)
    return math.inf if spread == 0.0 else 1.0 / spread


def coverage_factor(degrees_of_freedom: float, level: float = 0.95) -> float:
    """Half-width, in standard uncertainties, of the interval that holds ``level`` (0 to 1) (GUM table G.2).

    Student's t; the normal for infinite degrees of freedom. Degrees of freedom need not be whole numbers: rounding
    them down, as the GUM does, is left to the caller.
    """
    if not 0.0 < level < 1.0:
        raise ValueError("the level of confidence lies between 0 and 1")
    if not degrees_of_freedom > 0.0:
        raise ValueError("degrees of freedom must be above 0")
    upper = (1.0 + level) / 2.0
    return float(ndtri(upper) if math.isinf(degrees_of_freedom) else stdtrit(degrees_of_freedom, upper))


def _size(a: float) -> float:
    if not 0.0 <= a < math.inf:
        raise ValueError(f"a width must be a finite number of at least 0, not {a}")
    return a
