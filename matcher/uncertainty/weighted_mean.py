"""Weighted mean of several readings of one size, and whether they agree (GUM 5, chi-squared)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

Floats = NDArray[np.float64]

DISAGREEMENT_LEVEL = 0.01
"""Readings contradict each other where a χ² as large has this probability or less. One in a hundred, not the usual
one in twenty: a false alarm sends a person back to the bench, and most wrong readings are wrong by far more."""

SMALLEST_U = 1e-6
"""Smallest standard uncertainty a reading has, mm: a nanometre keeps weights finite."""


@dataclass(frozen=True, kw_only=True)
class WeightedMean:
    """Weighted mean, its standard uncertainty, the readings' weights (they add up to 1) and how well readings agree.

    ``p`` is the probability of a χ² at least as large; 1 for a single reading.
    """

    value: float
    u: float
    weights: tuple[float, ...]
    chi2: float
    degrees_of_freedom: int
    p: float

    @property
    def agree(self) -> bool:
        """Whether all readings may be of the same size."""
        return self.p > DISAGREEMENT_LEVEL


@dataclass(frozen=True, kw_only=True)
class AgreeingGroup:
    """Readings that agree: their ``positions`` in order, and their weighted mean."""

    positions: tuple[int, ...]
    mean: WeightedMean


def weighted_mean(values: Sequence[float], u: ArrayLike) -> WeightedMean:
    """Mean of independent readings weighted by 1/u²; by least squares where ``u`` is a covariance matrix.

    Raises
    ------
    ValueError
        For no reading, a standard uncertainty that is not above 0, or a matrix that does not fit or has no inverse.
    """
    x, covariance = np.asarray(values, dtype=np.float64), np.asarray(u, dtype=np.float64)
    if not len(x):
        raise ValueError("a mean needs at least one reading")
    if covariance.ndim == 1:
        if not np.all(covariance > 0.0):
            raise ValueError("every standard uncertainty must be above 0")
        covariance = np.diag(covariance**2)
    if covariance.shape != (len(x), len(x)):
        raise ValueError("there must be one uncertainty for each reading")
    try:
        return _mean(x, covariance)
    except np.linalg.LinAlgError as error:
        raise ValueError("the covariance has no inverse: some readings are fully correlated") from error


def _mean(x: Floats, covariance: Floats) -> WeightedMean:
    """Least squares on the differences from the first reading: a shared error cancels before the matrix is solved."""
    if len(x) == 1:  # most readings are alone
        u = math.sqrt(covariance[0, 0])
        return WeightedMean(value=float(x[0]), u=u, weights=(1.0,), chi2=0.0, degrees_of_freedom=0, p=1.0)
    difference = x[1:] - x[0]
    shared = covariance[1:, 0] - covariance[0, 0]
    of_differences = covariance[1:, 1:] - covariance[1:, :1] - covariance[:1, 1:] + covariance[0, 0]
    solved = np.linalg.solve(of_differences, np.stack([-shared, difference], axis=1))
    weights = np.concatenate([[1.0 - solved[:, 0].sum()], solved[:, 0]])
    chi2, dof = max(float(difference @ solved[:, 1]), 0.0), len(x) - 1
    return WeightedMean(
        value=float(x[0] + solved[:, 0] @ difference),
        u=float(np.sqrt(weights @ covariance @ weights)),
        weights=tuple(weights.tolist()),
        chi2=chi2,
        degrees_of_freedom=dof,
        p=float(chdtrc(dof, chi2)),
    )


def agreeing_groups(values: Sequence[float], covariance: ArrayLike) -> tuple[AgreeingGroup, ...]:
    """The readings in groups that agree, ordered by first position; one group where all agree.

    Readings that contradict are sorted by size and split where the two parts agree best within themselves. Parts that
    still contradict are split again.
    """
    x, matrix = np.asarray(values, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    undecided, groups = [np.argsort(x, kind="stable")], []
    while undecided:
        members = undecided.pop()
        ordered = np.sort(members)
        mean = weighted_mean(x[ordered].tolist(), matrix[np.ix_(ordered, ordered)])
        if mean.agree:
            groups.append(AgreeingGroup(positions=tuple(ordered.tolist()), mean=mean))
            continue
        at = _best_split(x[members], np.diag(matrix)[members])
        undecided += [members[:at], members[at:]]
    return tuple(sorted(groups, key=lambda group: group.positions))


def _best_split(x: Floats, variance: Floats) -> int:
    """Length of the first part of ascending readings that makes the sum of both χ² least (readings independent)."""
    from_below = _chi2_of_first(x, variance)
    from_above = _chi2_of_first(x[::-1], variance[::-1])[::-1]
    return int(np.argmin(from_below[:-1] + from_above[1:])) + 1


def _chi2_of_first(x: Floats, variance: Floats) -> Floats:
    """χ² of the first 1, 2, … readings around their weighted mean."""
    weight, shifted = np.cumsum(1.0 / variance), x - x[0]
    first, second = np.cumsum(shifted / variance), np.cumsum(shifted * shifted / variance)
    return np.asarray(second - first * first / weight)
