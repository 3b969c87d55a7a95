"""Coverage factor of an uncertainty budget: Student's t where scatter rules, a rectangle's own where a limit does.

A normal factor is too wide where a rectangle dominates (EA-4/02 supplement S10 has 1.83 for two of them). So the two
largest rectangles are convolved exactly with everything else, which is taken as Student's t with its effective degrees
of freedom (GUM G.4.1), the normal where these are infinite. Three and more rectangles of one size are all but normal
(JCGM 101 9.2.3: four of them have 3.88 where the normal has 3.92), so further ones count as normal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import exprel, gammaln, ndtr, stdtr

from matcher.budget import combine, coverage_factor, effective_dof
from matcher.observations import RECTANGULAR, BudgetLine

Floats = NDArray[np.float64]

LEVEL = 0.95
"""Probability that an expanded uncertainty is stated for."""

FEWEST_DEGREES = 4.0
"""Degrees of freedom from which effective ones (GUM G.4.1) may be trusted. Two to four readings that lie close by
chance give intervals that hold the truth in 87 to 94 % only (simulated); so their scatter counts by its own Student's
factor, and the interval is rather too wide."""

EXACT_RECTANGLES = 2
"""How many rectangles, the largest, are convolved exactly."""

SMALLEST_PART = 1e-9
"""The rest beside the rectangles never counts as less than this part of the largest: it keeps the form finite."""

KEPT = 1024
"""How many spreads' factors are kept: one bench has few tools, and their budgets come again and again."""

PRECISION = 1e-9
"""Part of the interval to which its end is found."""

NODES, WEIGHTS = np.polynomial.legendre.leggauss(8)
"""Nodes in each panel of the second rectangle: the integrand bends over one or two standard deviations there."""

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


def coverage(lines: Sequence[BudgetLine], level: float = LEVEL) -> Coverage:
    """Expanded uncertainty of independent budget lines; ``degrees_of_freedom`` are those of all lines together.

    Raises
    ------
    ValueError
        Where no line contributes, or for a level outside 0 to 1.
    """
    parts = [line.contribution for line in lines]
    u, dof = combine(parts), effective_dof(parts, [line.degrees_of_freedom for line in lines])
    if not u > 0.0:
        raise ValueError("a budget needs a contribution above 0")
    half_width = _half_width(_spread(lines, level), level)
    return Coverage(u=u, degrees_of_freedom=dof, k=half_width / u, expanded=half_width)


def _spread(lines: Sequence[BudgetLine], level: float) -> Spread:
    rectangles = sorted((line.contribution for line in lines if line.distribution == RECTANGULAR), reverse=True)
    rest = [_counted(line, level) for line in lines if line.distribution != RECTANGULAR]
    rest += [(part, math.inf) for part in rectangles[EXACT_RECTANGLES:]]
    u = combine([part for part, _ in rest])
    dof = effective_dof([part for part, _ in rest], [dof for _, dof in rest]) if u else math.inf
    wide, narrow = [math.sqrt(3.0) * part for part in [*rectangles, 0.0, 0.0][:EXACT_RECTANGLES]]
    return Spread(rest=max(u, SMALLEST_PART * wide), degrees_of_freedom=dof, wide=wide, narrow=narrow)


def _counted(line: BudgetLine, level: float) -> tuple[float, float]:
    """Contribution and degrees of freedom as they count: scatter of very few readings by its own Student's factor."""
    if line.degrees_of_freedom >= FEWEST_DEGREES:
        return line.contribution, line.degrees_of_freedom
    wider = coverage_factor(line.degrees_of_freedom, level) / coverage_factor(math.inf, level)
    return line.contribution * wider, math.inf


@lru_cache(maxsize=KEPT)
def _half_width(spread: Spread, level: float) -> float:
    normal = coverage_factor(spread.degrees_of_freedom, level) * spread.rest
    if spread.wide == 0.0:
        return normal
    top = normal + spread.wide + spread.narrow
    found = brentq(lambda limit: spread.probability_within(limit) - level, 0.0, top, xtol=PRECISION * top)
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
