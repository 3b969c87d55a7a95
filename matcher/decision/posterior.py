"""Posterior over halves, geometries and *absent*."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from matcher.absent.density import absent_log_density
from matcher.absent.model import AbsentModel
from matcher.columns.columns import Columns, Floats, Ints
from matcher.likelihood.likelihood import Likelihood, Part, likelihood
from matcher.likelihood.log_sum import log_sum_by
from matcher.observations import Reduced

PRIOR_ABSENT = 0.1
"""Default prior of "not in this catalogue". Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Posterior:
    """Log-weights of halves and absent, and what they add up to.

    ``log_half`` and ``log_absent`` are normalised together; ``order`` lists geometries by falling probability.
    """

    weighed: Likelihood
    log_prior: Floats
    log_half: Floats
    log_absent: float
    log_prior_absent: float
    log_geometry: Floats
    order: Ints

    @property
    def probability_absent(self) -> float:
        """P(not in the catalogue | observations)."""
        return float(np.exp(self.log_absent))

    @property
    def columns(self) -> Columns:
        """The catalogue."""
        return self.weighed.columns

    def members(self, geometry: int) -> Ints:
        """Halves of a geometry, likeliest first."""
        halves = np.flatnonzero(self.columns.geometry == geometry)
        return halves[np.argsort(-self.log_half[halves], kind="stable")]


def posterior(
    columns: Columns, absent: AbsentModel, observations: Sequence[Reduced], prior_absent: float = PRIOR_ABSENT
) -> Posterior:
    """Probability of every half and of absent. ``prior_absent`` lies in [0, 1)."""
    weighed = likelihood(columns, observations)
    log_absent = absent_log_density(absent, weighed) if prior_absent > 0 else -np.inf
    return weigh_against_absent(weighed, weighed.total, log_absent, prior_absent)


def weigh_against_absent(weighed: Likelihood, total: Floats, log_density: float, prior_absent: float) -> Posterior:
    columns = weighed.columns
    log_prior = np.log1p(-prior_absent) + np.log(columns.prior_weight) - np.log(columns.prior_weight.sum())
    with np.errstate(divide="ignore"):
        log_prior_absent = float(np.log(prior_absent))
    joint = log_prior + total
    log_absent = log_prior_absent + log_density if prior_absent > 0 else -np.inf
    evidence = logsumexp([*joint, log_absent])
    log_geometry = log_sum_by(joint - evidence, columns.geometry, int(columns.geometry.max()) + 1)
    return Posterior(
        weighed=weighed,
        log_prior=log_prior,
        log_half=joint - evidence,
        log_absent=float(log_absent - evidence),
        log_prior_absent=log_prior_absent,
        log_geometry=log_geometry,
        order=np.argsort(-log_geometry, kind="stable"),
    )


def posterior_without(
    result: Posterior, absent: AbsentModel, part: Part, reading: int, prior_absent: float
) -> Posterior:
    """The posterior without one reading of one part."""
    rest = result.weighed.without(part, reading)
    log_density = absent_log_density(absent, rest) if prior_absent > 0 else -np.inf
    return weigh_against_absent(rest, rest.total, log_density, prior_absent)
