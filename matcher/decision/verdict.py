"""The verdict on an answer: identified, a shortlist, or no match, by its probability and its goodness of fit."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from scipy.special import chdtrc

from matcher.decision.posterior import Posterior
from matcher.likelihood.evidence import Comparison
from matcher.results import Verdict

SMALLEST_P = 1e-12
"""Smallest p-value of a single reading: below it the reading is a slip, not a worse fit."""

IDENTIFIED_FROM = 0.9
"""Probability of one geometry from which the verdict is `identified`."""

NO_MATCH_FROM = 0.5
"""Probability of absent from which the verdict is `no_match`."""

POOR_FIT = 1e-4
"""p-value of the best geometry below which nothing is called identified."""


def fit_p_value(comparisons: Iterable[Comparison]) -> float | None:
    """Goodness of fit of a half: Fisher's combination of its observations' p-values."""
    values = [max(each.p_value, SMALLEST_P) for each in comparisons if each.p_value is not None]
    return float(chdtrc(2 * len(values), -2.0 * np.sum(np.log(values)))) if values else None


def verdict(probability_absent: float, first: float, p_value: float | None) -> Verdict:
    """The verdict from the probabilities of absent and of the first geometry, and the goodness of fit of the latter."""
    if probability_absent >= NO_MATCH_FROM:
        return Verdict.NO_MATCH
    poor = p_value is not None and p_value < POOR_FIT
    return Verdict.IDENTIFIED if first >= IDENTIFIED_FROM and not poor else Verdict.SHORTLIST


def verdict_of(result: Posterior) -> Verdict:
    """The verdict of a posterior."""
    geometry = int(result.order[0])
    (compared,) = result.weighed.against([int(result.members(geometry)[0])])
    probability = float(result.geometries[geometry])
    return verdict(result.probability_absent, probability, fit_p_value(compared.values()))
