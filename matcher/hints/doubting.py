"""Which observations the likeliest half does not explain: only these are searched for mistakes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from matcher.columns import Columns
from matcher.features import FEATURES, Kind
from matcher.fit import explanations, read_against
from matcher.observations import Of, Reduced
from matcher.posterior import Posterior

ABSENT_FROM = 0.3
"""Probability of absent from which no half explains anything for certain, and every observation is doubted."""

SLIP_FROM, STRAINS_BELOW = 0.05, 0.02
"""Probability of a slip from which, and p-value below which, a reading is doubted."""

RATIO_OFF = 3.0
"""Standard deviations by which a reading of an unscaled picture may miss the others' scale."""


def doubted(result: Posterior, observations: Sequence[Reduced]) -> frozenset[int]:
    """Indices of the observations that may be mistaken; empty where the likeliest half explains everything."""
    if result.probability_absent >= ABSENT_FROM:
        return frozenset(reading.index for reading in observations)
    columns, half = result.columns, int(np.argmax(result.log_half))
    found = {r.index for r in observations if r.of is not Of.THIS and r.value is not None}
    explained = explanations(observations, columns)
    for reading in observations:
        if reading.of is not Of.THIS or _unscaled(reading):
            continue
        against = read_against(reading, columns, half, explained)
        limit = 1.0 if FEATURES[reading.feature].kind is Kind.CATEGORY else STRAINS_BELOW
        strains = against.p_value is not None and against.p_value < limit
        if strains or against.slip_probability >= SLIP_FROM:
            found.add(reading.index)
    return frozenset(found | _off_the_common_scale([r for r in observations if _unscaled(r)], columns, half))


def _unscaled(reading: Reduced) -> bool:
    return reading.value is not None and reading.shared is not None and reading.shared.unscaled


def _off_the_common_scale(readings: Sequence[Reduced], columns: Columns, half: int) -> set[int]:
    """Readings of an unscaled picture; all of them where their ratios do not fit the half."""
    if len(readings) < 2:
        return set()
    entries = [columns.dimensions[reading.feature] for reading in readings]
    numbers = np.array([reading.number for reading in readings])
    centre, t, s = (np.array([getattr(e, name)[half] for e in entries]) for name in ("centre", "half_width", "extra_u"))
    logs = np.log(numbers / centre)
    spread = np.sqrt((t**2 / 3 + s**2) / centre**2 + np.array([r.u for r in readings]) ** 2 / numbers**2)
    off = np.abs(logs - np.nanmedian(logs)) > RATIO_OFF * spread
    return {reading.index for reading in readings} if bool(np.any(off)) else set()
