"""One mistake, and readings with something about them corrected."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from matcher.columns.columns import Bools
from matcher.features import FEATURES
from matcher.observations import Reduced


@dataclass(frozen=True, kw_only=True)
class Mistake:
    """One way in which observations may be wrong.

    ``corrected`` stand in place of the observations with the same ``index``; ``log_odds`` is ln of the probability of
    the mistake over that of a right reading, times the Jacobian (the derivative of the corrected value by the one
    given); ``change`` is what would differ if it were given anew; ``halves`` those under which the mistake can happen (None:
    all). ``modelled`` says whether the likelihood's own mixture holds the mistake already.
    """

    kind: str
    corrected: tuple[Reduced, ...]
    log_odds: float
    change: Mapping[str, float | int | str]
    halves: Bools | None = None
    modelled: bool = True

    @property
    def index(self) -> int:
        """Position of the first observation that would change."""
        return self.corrected[0].index


def scaled(reading: Reduced, factor: float, *, spans: int | None = None) -> Reduced:
    """The reading times ``factor``, with its uncertainty and its share of a zero error."""
    shared = reading.shared
    return replace(
        reading,
        value=reading.number * factor,
        u=reading.u * factor,
        total_u=reading.total_u * factor,
        spans=reading.spans if spans is None else spans,
        shared=None if shared is None else replace(shared, coefficient=shared.coefficient * factor),
    )


def longer(reading: Reduced, feature: str, by: tuple[float, float]) -> tuple[Reduced, float] | None:
    """The reading as one of ``feature``, which is longer by anything within a range (mm; negative: shorter).

    The range's rectangle is folded into the uncertainty. What would be below the feature's plausible sizes is cut off;
    the second value is the share of the range that is left, None stands where nothing is.
    """
    top = reading.number + by[1]
    bottom = max(reading.number + by[0], FEATURES[feature].low)
    if top <= bottom:
        return None
    u = math.hypot(reading.total_u, (top - bottom) / math.sqrt(12.0))
    value = (top + bottom) / 2
    corrected = Reduced(index=reading.index, feature=feature, of=reading.of, value=value, u=u, total_u=u)
    return corrected, (top - bottom) / (by[1] - by[0])
