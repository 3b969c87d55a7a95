"""The contact site of each point of a row, with gaps and with points that belong to no site.

Every assignment of whole numbers to the points is a hypothesis: a pitch, sites left empty, points left out. Its
score is the logarithm of its marginal likelihood: the clicking error's variance is integrated out over a scaled
inverse χ² of `PRIOR_DOF` degrees of freedom, so that a few points can neither prove an error of zero nor excuse a
large one. Half the true pitch loses ln 2 for every point and opens a gap between any two. Dynamic programming finds the
best chain for each possible pitch; the exact scores of the leading ones are then compared.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from matcher.columns.columns import Bools, Floats, Ints
from matcher.errors import ObservationError

PRIOR_DOF = 4.0
"""Weight, in degrees of freedom, of what is known about clicking in advance. A choice."""

USUAL_CLICKING = 2.0
"""Usual error of one click in units of the floor: a pixel where that is half of one. Common practice, no source."""

GAP_COST = (math.log(5.0), math.log(2.0))
"""Cost, in ln, of a first empty site in a run and of each further one: one contact in five is skipped. A choice."""

OUT_COST = math.log(1000.0)
"""Cost, in ln, of a point that belongs to no site: one click in a thousand, so that clicks on every second contact are
not read as a row of which half the points are strays. A choice."""

CLEAR = 3.0
"""Least lead, in ln, over the second-best pitch: odds of 20 to 1."""

LOOSEST = 0.3
"""Largest deviation of one gap from a whole number of pitches, in pitches, that is still taken as clicking error."""

SMALLEST_PITCH = 8.0
"""Smallest pitch in units of the floor: four pixels where the floor is half of one; below it sites run together."""

DIVISORS = 5
"""Neighbouring points up to this many sites apart still show the pitch; one pair of true neighbours is enough."""

REACH = 4
"""A point and its next on the lattice may have up to three strays between them."""

LEADERS = 12
"""Number of pitches whose best chain is compared exactly: more than there are small fractions that can compete."""

EASY_SD, EASY_SHARE = 12.0, 0.15
"""A row whose residuals are below this many floors and this part of the pitch has no rival if `EASY_ONES` hold."""

EASY_ONES = 0.6
"""Share of neighbouring points that must be one pitch apart in a row without rival readings."""


@dataclass(frozen=True, kw_only=True)
class Assignment:
    """Site of each point in the given order (0 the first), and which points belong to the lattice."""

    indices: Ints
    inliers: Bools


@dataclass(frozen=True, kw_only=True)
class _Hypothesis:
    """Sites of the points in ascending order, −1 where a point belongs to none; and its score."""

    sites: Ints
    score: float
    pitch: float


def assign(positions: Floats, floor_u: float, *, field: str) -> Assignment:
    """Assign points along a row, in any order, to the sites of a lattice.

    Raises
    ------
    ObservationError
        At ``field``, when no lattice fits most of the points, or two different pitches fit nearly as well.
    """
    order = np.argsort(positions, kind="stable")
    ascending = positions[order]
    sites = _easy(ascending, floor_u)
    if sites is None:
        sites = _searched(ascending, floor_u, field)
    kept = sites >= 0
    if not kept.all():
        pitch, phase = straight_line(sites[kept], ascending[kept])
        sites = np.where(kept, sites, np.rint((ascending - phase) / pitch).astype(np.int64))
    indices, inliers = np.empty(len(sites), dtype=np.int64), np.empty(len(sites), dtype=bool)
    indices[order], inliers[order] = sites, kept
    return Assignment(indices=indices, inliers=inliers)


def _easy(ascending: Floats, floor_u: float) -> Ints | None:
    """Sites by the middle one of the gaps, if they leave no doubt."""
    gaps = np.diff(ascending)
    pitch = float(np.sort(gaps)[len(gaps) // 2])
    if pitch <= SMALLEST_PITCH * floor_u:
        return None
    steps = np.rint(gaps / pitch)
    if np.min(steps) < 1 or np.count_nonzero(steps == 1) < EASY_ONES * len(steps):
        return None
    sites = np.concatenate([[0.0], np.cumsum(steps)])
    step, start = straight_line(sites, ascending)
    off = float(np.max(np.abs(ascending - start - step * sites)))
    return sites.astype(np.int64) if off < min(EASY_SHARE * step, EASY_SD * floor_u) else None


def straight_line(x: Floats | Ints, y: Floats) -> tuple[float, float]:
    """Slope and intercept of the least-squares line through points (x, y)."""
    middle, off = float(x.mean()), x - x.mean()
    slope = float(off @ y) / float(off @ off)
    return slope, float(y.mean()) - slope * middle


def _searched(ascending: Floats, floor_u: float, field: str) -> Ints:
    pitches = _possible_pitches(ascending, floor_u)
    found = _hypotheses(ascending, pitches, floor_u) if len(pitches) else []
    if not found:
        raise no_row(len(ascending), field)
    best = max(found, key=lambda one: one.score)
    rivals = [one for one in found if one.score > best.score - CLEAR and _differ(one.sites, best.sites)]
    if rivals:
        raise ObservationError(
            f"the pitch is not clear: {best.pitch:.1f} or {rivals[0].pitch:.1f} px",
            field=field,
            value=len(ascending),
            remedy="click more contacts, neighbouring ones among them; measure groups of contacts apart",
        )
    return best.sites


def no_row(count: int, field: str) -> ObservationError:
    """Error for points that are not one row."""
    return ObservationError(
        "these points do not lie on one row of equal steps",
        field=field,
        value=count,
        remedy="click contacts of one row and one group only; measure groups apart",
    )


def _possible_pitches(ascending: Floats, floor_u: float) -> Floats:
    """Distances of near neighbours and their small fractions, those closer than 1 % merged."""
    near = [ascending[step:] - ascending[:-step] for step in range(1, min(REACH, len(ascending)))]
    every = np.concatenate([gaps / part for gaps in near for part in range(1, DIVISORS + 1)])
    every = every[every > SMALLEST_PITCH * floor_u]
    _, firsts = np.unique(np.floor(np.log(every) / 0.01), return_index=True)
    return np.asarray(every[firsts])


def _hypotheses(ascending: Floats, pitches: Floats, floor_u: float) -> list[_Hypothesis]:
    scores, links = _chains(ascending, pitches, floor_u)
    n = len(ascending)
    ends = np.argmax(scores - OUT_COST * np.arange(n - 1, -1, -1), axis=1)
    totals = scores[np.arange(len(pitches)), ends] - OUT_COST * (n - 1 - ends)
    found: dict[tuple[int, ...], _Hypothesis] = {}
    for c in np.argsort(-totals)[:LEADERS]:
        sites = _traced(ascending, float(pitches[c]), links[c], int(ends[c]))
        kept = sites >= 0
        if np.count_nonzero(kept) >= 3 and np.count_nonzero(kept) > 2 * n / 3 - 1e-9:
            found[tuple(sites.tolist())] = _scored(ascending, sites, floor_u)
    return list(found.values())


def _chains(ascending: Floats, pitches: Floats, floor_u: float) -> tuple[Floats, Ints]:
    """For each pitch (rows) the best score of a chain that ends at each point, and the point before it (−1: none)."""
    n, usual = len(ascending), USUAL_CLICKING * floor_u
    scores = np.full((len(pitches), n), -np.inf)
    links = np.full((len(pitches), n), -1, dtype=np.int64)
    gain = np.log(pitches / usual)
    for j in range(n):
        scores[:, j] = -OUT_COST * j
        for i in range(max(0, j - REACH), j):
            gap = ascending[j] - ascending[i]
            steps = np.rint(gap / pitches)
            off = gap - steps * pitches
            step = gain - (PRIOR_DOF + 1) / 2 * np.log1p((off / usual) ** 2 / (2 * PRIOR_DOF)) - _gap_cost(steps)
            whole = scores[:, i] + step - OUT_COST * (j - i - 1)
            better = (steps >= 1) & (np.abs(off) < LOOSEST * pitches) & (whole > scores[:, j])
            scores[better, j], links[better, j] = whole[better], i
    return scores, links


def _gap_cost(steps: Floats) -> Floats:
    first, further = GAP_COST
    return np.asarray(np.where(steps > 1, first + further * (steps - 2), 0.0))


def _traced(ascending: Floats, pitch: float, links: Ints, end: int) -> Ints:
    chain = [end]
    while links[chain[-1]] >= 0:
        chain.append(int(links[chain[-1]]))
    chain.reverse()
    sites = np.full(len(ascending), -1, dtype=np.int64)
    steps = np.rint(np.diff(ascending[chain]) / pitch).astype(np.int64)
    sites[chain] = np.concatenate([[0], np.cumsum(steps)])
    return sites


def _scored(ascending: Floats, sites: Ints, floor_u: float) -> _Hypothesis:
    kept = sites >= 0
    pitch, phase = straight_line(sites[kept], ascending[kept])
    residuals = ascending[kept] - phase - pitch * sites[kept]
    dof, variance = len(residuals) - 2, PRIOR_DOF * (USUAL_CLICKING * floor_u) ** 2
    total = PRIOR_DOF + dof
    fit = -total / 2 * math.log1p(float(residuals @ residuals) / variance)
    constant = gammaln(total / 2) - gammaln(PRIOR_DOF / 2) - dof / 2 * math.log(math.pi * variance)
    cost = float(np.sum(_gap_cost(np.diff(sites[kept]).astype(np.float64)))) + OUT_COST * np.count_nonzero(~kept)
    score = float(fit + constant + dof * math.log(pitch) - cost)
    return _Hypothesis(sites=sites, score=score, pitch=pitch)


def _differ(one: Ints, other: Ints) -> bool:
    """Whether two hypotheses disagree on how many steps lie between points that both hold."""
    both = (one >= 0) & (other >= 0)
    return bool(np.ptp(one[both] - other[both]) != 0) if np.any(both) else True
