"""Whether there is anything to explain: where the likeliest half fits every observation no mistake is searched for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from matcher.columns.columns import Columns
from matcher.columns.process_tolerance import over_gaps
from matcher.decision.posterior import Posterior
from matcher.features import Kind
from matcher.likelihood.evidence import Evidence
from matcher.observations import Of, Reduced

ABSENT_FROM = 0.3
"""Probability of absent from which no half explains anything for certain, and every observation is doubted."""

SLIP_FROM, STRAINS_BELOW = 0.05, 0.02
"""Probability of a slip from which, and p-value below which, a reading is doubted."""

MATE_OFF = 3.0
"""Standard uncertainties beyond its tolerance by which a size of the pair or the other half may miss a mating."""

RATIO_OFF = 3.0
"""Standard deviations by which a reading of an unscaled picture may miss the others' scale."""


def all_explained(result: Posterior) -> bool:
    """Whether the likeliest half explains every observation, so that no mistake can be probable."""
    if result.probability_absent >= ABSENT_FROM:
        return False
    half = int(np.argmax(result.log_half))
    evidence = result.weighed.evidence
    if not all(_fits_a_mate(each.reading, result.columns, half) for each in evidence if each.reading.of is not Of.THIS):
        return False
    own = [each for each in evidence if each.reading.of is Of.THIS]
    unscaled = [each.reading for each in own if each.reading.unscaled]
    return all(_explained(each, half) for each in own) and _ratios_fit(unscaled, result.columns, half)


def _explained(evidence: Evidence, half: int) -> bool:
    against = evidence.against(half)
    limit = 1.0 if evidence.feature.kind is Kind.CATEGORY else STRAINS_BELOW
    strains = against.p_value is not None and against.p_value < limit
    return not strains and against.slip_probability < SLIP_FROM


def _fits_a_mate(reading: Reduced, columns: Columns, half: int) -> bool:
    """Whether a size of the pair or of the other half fits some listed mating; what else is seen there cannot tell."""
    matings = np.flatnonzero(columns.matings.half == half)
    if reading.value is None or reading.unscaled or not len(matings):
        return True
    if reading.of is Of.PAIR:
        column, rows = columns.matings.dimensions[reading.feature], matings
    else:
        column, rows = columns.dimensions[reading.feature], columns.matings.other[matings]
    centre, half_width, extra_u = column.centre[rows], column.half_width[rows], column.extra_u[rows]
    known = ~np.isnan(centre)
    limit = half_width + MATE_OFF * np.hypot(reading.total_u, extra_u)
    return not np.any(known) or bool(np.any(np.abs(reading.number - centre)[known] <= limit[known]))


def _ratios_fit(readings: Sequence[Reduced], columns: Columns, half: int) -> bool:
    """Whether the readings of an unscaled picture have the ratios of a half."""
    if len(readings) < 2:
        return True
    entries = [columns.dimensions[reading.feature] for reading in readings]
    numbers, u = np.array([[reading.number, reading.u] for reading in readings]).T
    centre, t, s = (np.array([getattr(e, name)[half] for e in entries]) for name in ("centre", "half_width", "extra_u"))
    t = np.array([over_gaps(reading.feature, limit, reading.spans) for reading, limit in zip(readings, t, strict=True)])
    known = ~np.isnan(centre)
    if not np.any(known):
        return True
    logs = (np.log(numbers) - np.log(centre))[known]
    spread = np.sqrt((t**2 / 3 + s**2) / centre**2 + u**2 / numbers**2)[known]
    return bool(np.all(np.abs(logs - np.median(logs)) <= RATIO_OFF * spread))
