"""What an answer amounts to: identified, a shortlist, or no match."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from matcher.decision.goodness_of_fit import explanations, fit_p_value, read_against
from matcher.decision.posterior import Posterior
from matcher.observations import Reduced
from matcher.results import Verdict

IDENTIFIED_FROM = 0.9
"""Probability of one geometry from which the verdict is `identified`."""

NO_MATCH_FROM = 0.5
"""Probability of absent from which the verdict is `no_match`."""

POOR_FIT = 1e-4
"""p-value of the best geometry below which nothing is called identified."""


def verdict(probability_absent: float, first: float, p_value: float | None) -> Verdict:
    """The verdict from the probabilities of absent and of the first geometry and the latter's goodness of fit."""
    if probability_absent >= NO_MATCH_FROM:
        return Verdict.NO_MATCH
    poor = p_value is not None and p_value < POOR_FIT
    return Verdict.IDENTIFIED if first >= IDENTIFIED_FROM and not poor else Verdict.SHORTLIST


def verdict_of(result: Posterior, observations: Sequence[Reduced]) -> Verdict:
    """The verdict of a posterior over the observations it was made from."""
    geometry = int(result.order[0])
    columns = result.columns.only(int(result.members(geometry)[0]))
    explained = explanations(observations, columns)
    p_value = fit_p_value([read_against(reading, columns, 0, explained) for reading in observations])
    return verdict(result.probability_absent, float(np.exp(result.log_geometry[geometry])), p_value)
