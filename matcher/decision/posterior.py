"""Posterior over halves, geometries and *absent*."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from matcher.absent.density import UnderAbsent
from matcher.absent.model import AbsentModel
from matcher.columns.columns import Columns, Floats, Ints
from matcher.likelihood.evidence import log_sum, log_sum_by
from matcher.likelihood.likelihood import Likelihood, Part, Way, likelihood
from matcher.observations import Reduced

PRIOR_ABSENT = 0.1
"""Default prior of "not in this catalogue". Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Posterior:
    """Log-weights of halves and absent, normalised together. ``prior_absent`` is the prior of absent."""

    under_absent: UnderAbsent
    prior_absent: float
    log_half: Floats
    log_absent: float

    @cached_property
    def log_geometry(self) -> Floats:
        """Log-weight of each geometry."""
        geometry = self.columns.geometry
        return log_sum_by(self.log_half, geometry, int(geometry.max()) + 1)

    @cached_property
    def order(self) -> Ints:
        """Geometries by falling probability."""
        return np.argsort(-self.log_geometry, kind="stable")

    @cached_property
    def geometries(self) -> Floats:
        """P(geometry | observations)."""
        return np.asarray(np.bincount(self.columns.geometry, weights=np.exp(self.log_half)), dtype=np.float64)

    @property
    def probability_absent(self) -> float:
        """P(not in the catalogue | observations)."""
        return float(np.exp(self.log_absent))

    @property
    def log_prior(self) -> Floats:
        """Log-prior of each half."""
        return np.asarray(np.log1p(-self.prior_absent) + self.columns.log_prior)

    @property
    def log_prior_absent(self) -> float:
        """Log-prior of absent; −∞ where it is ruled out."""
        return math.log(self.prior_absent) if self.prior_absent > 0 else -math.inf

    def without(self, part: Part, place: int) -> Posterior:
        """The posterior without one observation of one part."""
        rest, known = self.weighed.without(part, place), None
        if self.prior_absent > 0:
            known = self.under_absent.log_density_without(rest, part, place)
        return weigh_against_absent(replace(self.under_absent, weighed=rest), rest.total, self.prior_absent, known)

    @cached_property
    def ways(self) -> tuple[tuple[Way, float, Posterior], ...]:
        """Each way to read the observations, its probability, and the answer then; empty where there is one."""
        answers = [
            (way, weigh_against_absent(under_absent, under_absent.weighed.total, self.prior_absent))
            for (way, _), (_, under_absent) in zip(self.weighed.ways, self.under_absent.ways, strict=True)
        ]
        whole = self.log_evidence(self.weighed.total)
        return tuple(
            (way, math.exp(way.log_share + answer.log_evidence(answer.weighed.total) - whole), answer)
            for way, answer in answers
        )

    def log_evidence(self, total: Floats) -> float:
        """Log-evidence, including absent, of the observations with these log-likelihoods of the halves."""
        best = int(np.argmax(self.log_half))
        return float(self.log_prior[best] + total[best] - self.log_half[best])

    @property
    def weighed(self) -> Likelihood:
        """The likelihood of the observations."""
        return self.under_absent.weighed

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
    weighed = likelihood(columns, observations).with_causes()
    return weigh_against_absent(UnderAbsent(model=absent, weighed=weighed), weighed.total, prior_absent)


def weigh_against_absent(
    under_absent: UnderAbsent, total: Floats, prior_absent: float, log_density: float | None = None
) -> Posterior:
    """The posterior from log-likelihoods of the halves (``total``) and the log-density under absent, if it is known."""
    weighed, log_absent = under_absent.weighed, -math.inf
    if prior_absent > 0:
        log_absent = math.log(prior_absent) + (under_absent.log_density if log_density is None else log_density)
    joint = np.log1p(-prior_absent) + weighed.columns.log_prior + total
    evidence = np.logaddexp(log_sum(joint), log_absent)
    return Posterior(
        under_absent=under_absent,
        prior_absent=prior_absent,
        log_half=joint - evidence,
        log_absent=float(log_absent - evidence),
    )
