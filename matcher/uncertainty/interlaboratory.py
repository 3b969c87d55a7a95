"""Measurements of one dimension by several people: their consensus value, and how it compares with a stated value.

Parts of one type differ: each lies anywhere within ± t, the process half-width, of the type's centre. So one person's
value of one part gives the centre with variance u² + t²/3 (rectangular, GUM 4.3.7).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from matcher.uncertainty.weighted_mean import weighted_mean

COVERAGE = 2.0
"""U = 2u: about 95 % (GUM G.6.6)."""


@dataclass(frozen=True, kw_only=True)
class ConsensusValue:
    """Weighted mean of several people's values of one type's dimension, mm.

    ``u`` is its standard uncertainty, widened by ``birge_ratio`` where that is above 1; the ratio is None for one
    person. ``p`` is the probability of people differing at least as much by chance (1 for one person).
    """

    value: float
    u: float
    people: int
    birge_ratio: float | None
    p: float

    @property
    def expanded(self) -> float:
        """U = 2u, mm."""
        return COVERAGE * self.u


def consensus_value(values: Sequence[float], u: Sequence[float], half_widths: Sequence[float]) -> ConsensusValue:
    """The centre of a type, mm, from one value per person with its standard uncertainty and process half-width.

    The Birge ratio √(χ²/(n−1)) (from memory) widens the result where it is above 1. It never narrows it.
    Raises ValueError for no value, or where neither u nor half-width is above 0.
    """
    spread = [math.hypot(own, half_width / math.sqrt(3.0)) for own, half_width in zip(u, half_widths, strict=True)]
    mean = weighted_mean(values, spread)
    ratio = birge_ratio(mean.chi2, len(values)) if len(values) > 1 else None
    return ConsensusValue(
        value=mean.value, u=mean.u * max(ratio or 1.0, 1.0), people=len(values), birge_ratio=ratio, p=mean.p
    )


def birge_ratio(chi2: float, number: int) -> float:
    """√(χ²/(n−1)) of ``number`` ≥ 2 values (from memory); about 1 where they differ as their uncertainties predict."""
    if number < 2:
        raise ValueError("a Birge ratio needs at least two values")
    return math.sqrt(chi2 / (number - 1))


def normalised_error(difference: float, *expanded: float) -> float:
    """|E_n| = |x − X| / √(ΣU²), at most 1 where both agree (ISO 13528, ISO/IEC 17043; from memory).

    ``expanded`` lists everything that the difference may come from: expanded uncertainties and half-widths. Raises
    ValueError where none is above 0.
    """
    allowed = math.hypot(*expanded)
    if not allowed > 0.0:
        raise ValueError("nothing is known without error: give an uncertainty above 0")
    return abs(difference) / allowed


def mean_of_one_person(values: Sequence[float], u: Sequence[float]) -> tuple[float, float]:
    """Mean of one person's repeated values of one dimension, weighted by 1/u², and its standard uncertainty.

    Repeats do not narrow it: a person who misjudges the edge does so each time, so errors are fully correlated.
    """
    weights = 1.0 / np.square(np.asarray(u, dtype=np.float64))
    weights /= weights.sum()
    return float(weights @ np.asarray(values)), float(weights @ np.asarray(u))


def stated_u(extra_u: float, drawing: float | None, process: float, *, bound: bool) -> float:
    """Standard uncertainty of a stated value as the centre of the process, mm.

    Where the drawing's half-width is wider than the process's, the process may lie anywhere within it. A maximum or
    minimum (``bound``) tells where the process ends, so its centre is a guess, off by up to the process half-width.
    """
    room = max((drawing if drawing is not None else process) - process, 0.0)
    guessed = process if bound else 0.0
    return math.sqrt(extra_u**2 + (room**2 + guessed**2) / 3.0)
