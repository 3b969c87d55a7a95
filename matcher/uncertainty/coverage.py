"""Coverage factor of an uncertainty budget: Student's t where scatter dominates, a rectangle's where a limit does.

A normal factor is too wide where a rectangle dominates (EA-4/02 supplement S10 has 1.83 for two of them). So the two
largest rectangles are convolved exactly with everything else, which counts as Student's t with its effective degrees
of freedom (GUM G.4.1), or as normal where these are infinite. Three or more rectangles of one size are nearly normal
(JCGM 101 9.2.3: four of them have 3.88 where the normal has 3.92), so further ones count as normal.

The scatter of two to four readings is known so badly that neither common rule works beside a part that is known well.
With effective degrees of freedom (Welch–Satterthwaite) intervals hold the truth in 87 to 94 % where both are of equal
size; with the scatter's own Student's factor on its contribution in up to 99 %. So the factor is then `factor_of_few`,
fitted to the requirement itself: 95 % whatever the true scatter. The standard uncertainty stays the GUM's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import expit, exprel, gammaln, ndtr, stdtr

from matcher.observations import RECTANGULAR, BudgetLine
from matcher.uncertainty.gum import combine, coverage_factor, effective_dof

Floats = NDArray[np.float64]

LEVEL = 0.95
"""Coverage probability of an expanded uncertainty."""

FEWEST_DEGREES = 4.0
"""Degrees of freedom from which the effective ones (GUM G.4.1) work: intervals then hold the truth in 94.1 to 95.0 %,
whatever the ratio of the scatter to the rest (by quadrature); with three in 93.5 to 95.0 %, with one in 87 %."""

FEW_STEEPNESS, FEW_TURN = (2.29, 2.66, 0.71), (1.54, 1.03)
"""The curve of `factor_of_few` between its limits: with ν degrees of freedom it turns where the scatter's contribution
is 1.54 − 1.03/ν times the rest, with the steepness 2.29 + 2.66/(ν − 0.71). Fitted by minimising the largest deviation
from 95 % over ratios of the true scatter to the rest from 0.05 to 60: it is 1.0 % for ν = 1, 0.6 % for 1.5, at most
0.5 % from 2 to 4 (by quadrature, the rest normal)."""

EXACT_RECTANGLES = 2
"""Number of rectangles, the largest first, that are convolved exactly."""

SMALLEST_PART = 1e-9
"""The rest besides the rectangles counts as at least this fraction of the largest one, so formulas stay finite."""

NEGLIGIBLE = 1e-6
"""Rectangles of less than this part of the whole count as normal: convolving them would subtract nearly equal numbers
and divide by almost zero. Clicks at whole numbers give such rectangles of rounding errors."""

KEPT = 1024
"""How many spreads' factors are cached: one bench has few tools, and their budgets come again and again."""

PRECISION = 1e-9
"""Relative precision of an interval's end."""

NODES, WEIGHTS = np.polynomial.legendre.leggauss(8)
"""Nodes in each panel of the second rectangle, where the integrand bends within one or two standard deviations."""

PANEL_OFFSETS = np.array([-40.0, -12.0, -5.0, -2.5, -1.0, 0.0, 1.0, 2.5, 5.0, 12.0, 40.0])
"""Panel limits around an edge of the first rectangle, in standard uncertainties of the rest."""


@dataclass(frozen=True, kw_only=True)
class Coverage:
    """Standard uncertainty ``u``, effective degrees of freedom, coverage factor ``k`` and U = k·u at `LEVEL`."""

    u: float
    degrees_of_freedom: float
    k: float
    expanded: float


@dataclass(frozen=True, kw_only=True)
class Spread:
    """A sum around zero: ``rest``·t with ``degrees_of_freedom``, and two rectangles ± ``wide`` ≥ ± ``narrow`` (≥ 0)."""

    rest: float
    degrees_of_freedom: float
    wide: float = 0.0
    narrow: float = 0.0

    def probability_within(self, limit: float) -> float:
        """Probability that the sum lies within ± ``limit``."""
        if self.narrow == 0.0:
            return 2.0 * float(self._below(np.array(limit))) - 1.0
        return 2.0 * self._mean_over_narrow(limit) - 1.0

    def _below(self, x: Floats) -> Floats:
        """Probability that the sum without the narrow rectangle lies below ``x``."""
        upper, lower = (x + self.wide) / self.rest, (x - self.wide) / self.rest
        risen = _integral(upper, self.degrees_of_freedom) - _integral(lower, self.degrees_of_freedom)
        return np.asarray(risen * self.rest / (2.0 * self.wide))

    def _mean_over_narrow(self, limit: float) -> float:
        edges = np.array([-self.wide, self.wide])[:, None] - limit + PANEL_OFFSETS * self.rest
        limits = np.unique(np.clip(np.append(edges, (-self.narrow, self.narrow)), -self.narrow, self.narrow))
        middles, halves = (limits[1:] + limits[:-1]) / 2.0, np.diff(limits) / 2.0
        below = self._below(limit + middles[:, None] + halves[:, None] * NODES)
        return float(((below @ WEIGHTS) * halves).sum() / (2.0 * self.narrow))


def coverage(lines: Sequence[BudgetLine]) -> Coverage:
    """Expanded uncertainty of independent budget lines; ``degrees_of_freedom`` are those of all lines together.

    Raises
    ------
    ValueError
        Where no line contributes.
    """
    parts = [line.contribution for line in lines]
    u, dof = combine(parts), effective_dof(parts, [line.degrees_of_freedom for line in lines])
    if not u > 0.0:
        raise ValueError("a budget needs a contribution above 0")
    half_width = _half_width(_spread(lines))
    return Coverage(u=u, degrees_of_freedom=dof, k=half_width / u, expanded=half_width)


def factor_of_few(degrees_of_freedom: float, ratio: float) -> float:
    """Coverage factor, at `LEVEL`, of scatter with 1 to 4 degrees of freedom beside a normal part that is known.

    ``ratio`` is the scatter's standard uncertainty, as the readings show it, over that of the rest. The factor rises
    from the normal's where the scatter is small to Student's where there is nothing else. The interval holds the truth
    in 95 % of cases whatever the true scatter, as B. L. Welch required (Biometrika 34 (1947) 28–35, from memory);
    Welch's series does not converge for so few readings. For two readings the factor rises steeply: two that differ by
    less than the rest explains show no scatter; two that differ by more show that there is one, but hardly how large.
    """
    normal, student = coverage_factor(math.inf, LEVEL), coverage_factor(degrees_of_freedom, LEVEL)
    base, rise, pole = FEW_STEEPNESS
    turn = FEW_TURN[0] - FEW_TURN[1] / degrees_of_freedom
    share = expit((base + rise / (degrees_of_freedom - pole)) * math.log(ratio / turn))
    return normal + (student - normal) * float(share)


def _spread(lines: Sequence[BudgetLine]) -> Spread:
    parts = sorted((line.contribution for line in lines if line.distribution == RECTANGULAR), reverse=True)
    least = NEGLIGIBLE * combine([line.contribution for line in lines])
    rectangles = [part for part in parts if part > least]
    smooth = [line for line in lines if line.distribution != RECTANGULAR]
    few = [line for line in smooth if line.degrees_of_freedom < FEWEST_DEGREES]
    others = combine([line.contribution for line in lines if line not in few])
    rest = [(line.contribution, line.degrees_of_freedom) for line in smooth if line not in few]
    rest += [(part, math.inf) for part in rectangles[EXACT_RECTANGLES:] + parts[len(rectangles) :]]
    if few:
        rest.append(_counted(few, others))
    u = combine([part for part, _ in rest])
    dof = effective_dof([part for part, _ in rest], [dof for _, dof in rest]) if u else math.inf
    wide, narrow = [math.sqrt(3.0) * part for part in [*rectangles, 0.0, 0.0][:EXACT_RECTANGLES]]
    return Spread(rest=max(u, SMALLEST_PART * wide), degrees_of_freedom=dof, wide=wide, narrow=narrow)


def _counted(few: Sequence[BudgetLine], others: float) -> tuple[float, float]:
    """Contribution and degrees of freedom with which the scatter of very few readings counts, besides ``others``.

    The contribution, taken as normal, makes the total half-width `factor_of_few` times the standard uncertainty.
    """
    parts = [line.contribution for line in few]
    u, dof = combine(parts), effective_dof(parts, [line.degrees_of_freedom for line in few])
    if dof >= FEWEST_DEGREES:
        return u, dof
    k = factor_of_few(dof, u / others if others > 0.0 else math.inf) / coverage_factor(math.inf, LEVEL)
    return math.sqrt(k * k * (u * u + others * others) - others * others), math.inf


@lru_cache(maxsize=KEPT)
def _half_width(spread: Spread) -> float:
    normal = coverage_factor(spread.degrees_of_freedom, LEVEL) * spread.rest
    if spread.wide == 0.0:
        return normal
    top = normal + spread.wide + spread.narrow
    found = brentq(lambda limit: spread.probability_within(limit) - LEVEL, 0.0, top, xtol=PRECISION * top)
    return float(found)


def _integral(z: Floats, degrees_of_freedom: float) -> Floats:
    """Integral of the distribution function of Student's t (the normal: infinite degrees), up to a constant.

    z·F(z) − ∫z·f(z)dz, in a form that holds down to one degree of freedom.
    """
    if math.isinf(degrees_of_freedom):
        return np.asarray(z * ndtr(z) + np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi))
    nu = degrees_of_freedom
    log_top = gammaln((nu + 1.0) / 2.0) - gammaln(nu / 2.0) - 0.5 * math.log(nu * math.pi)
    stretched = np.log1p(z * z / nu) / 2.0
    tail = -nu * math.exp(log_top) * stretched * exprel(-(nu - 1.0) * stretched)
    return np.asarray(z * stdtr(nu, z) + tail)
