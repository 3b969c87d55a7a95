"""Posterior over halves, geometries and *absent*."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import logsumexp

from matcher.absent.density import AbsentWithoutOne, absent_log_density, absent_shares
from matcher.absent.model import AbsentModel
from matcher.columns.columns import Columns, Floats, Ints
from matcher.likelihood.evidence import log_sum_by
from matcher.likelihood.likelihood import Likelihood, Part, likelihood
from matcher.observations import Reduced

PRIOR_ABSENT = 0.1
"""Default prior of "not in this catalogue". Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Posterior:
    """Log-weights of halves and absent, with their sums by geometry.

    ``log_half`` and ``log_absent`` are normalised together.
    """

    weighed: Likelihood
    absent: AbsentModel
    log_prior: Floats
    log_half: Floats
    log_absent: float
    log_prior_absent: float
    log_geometry: Floats

    @cached_property
    def order(self) -> Ints:
        """Geometries by falling probability."""
        return np.argsort(-self.log_geometry, kind="stable")

    @property
    def probability_absent(self) -> float:
        """P(not in the catalogue | observations)."""
        return float(np.exp(self.log_absent))

    @cached_property
    def absent_shares(self) -> Floats:
        """Log-density of the observations under absent, split over the parts."""
        return absent_shares(self.absent, self.weighed)

    @cached_property
    def _absent_without_one(self) -> AbsentWithoutOne:
        return AbsentWithoutOne.of(self.absent, self.weighed)

    def without(self, part: Part, place: int, prior_absent: float) -> Posterior:
        """The posterior without one observation of one part."""
        rest, log_density = self.weighed.without(part, place), -np.inf
        if prior_absent > 0:
            log_density = self._absent_without_one.log_density(rest, part.readings[place])
        return weigh_against_absent(rest, self.absent, rest.total, log_density, prior_absent)

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
    return weigh_against_absent(weighed, absent, weighed.total, log_absent, prior_absent)


def weigh_against_absent(
    weighed: Likelihood, absent: AbsentModel, total: Floats, log_density: float, prior_absent: float
) -> Posterior:
    """The posterior from log-likelihoods of the halves (``total``) and the log-density under absent."""
    columns = weighed.columns
    log_prior = np.log1p(-prior_absent) + np.log(columns.prior_weight) - np.log(columns.prior_weight.sum())
    with np.errstate(divide="ignore"):
        log_prior_absent = float(np.log(prior_absent))
    joint = log_prior + total
    log_absent = log_prior_absent + log_density if prior_absent > 0 else -np.inf
    evidence = np.logaddexp(logsumexp(joint), log_absent)
    log_geometry = log_sum_by(joint - evidence, columns.geometry, int(columns.geometry.max()) + 1)
    return Posterior(
        weighed=weighed,
        absent=absent,
        log_prior=log_prior,
        log_half=joint - evidence,
        log_absent=float(log_absent - evidence),
        log_prior_absent=log_prior_absent,
        log_geometry=log_geometry,
    )
