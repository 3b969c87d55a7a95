"""What several people's measurements say together of one dimension, and how they compare with a stated value.

Parts of one type differ: each lies anywhere within ± the process half-width of the type's centre. So what one person
measured on one part tells the centre with variance u² + t²/3 (rectangular, GUM 4.3.7).
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
class Combined:
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
    def inflated(self) -> bool:
        """Whether people differ by more than their uncertainties explain, so that ``u`` was widened."""
        return self.birge_ratio is not None and self.birge_ratio > 1.0

    @property
    def expanded(self) -> float:
        """U = 2u, mm."""
        return COVERAGE * self.u


def combine_people(values: Sequence[float], u: Sequence[float], half_widths: Sequence[float]) -> Combined:
    """The centre of a type from one value per person, mm: standard uncertainty and process half-width of each.

    The Birge ratio √(χ²/(n−1)) (from memory) widens the result where it is above 1 and never narrows it.
    Raises ValueError for no value, or where neither u nor half-width is above 0.
    """
    spread = [math.hypot(own, half_width / math.sqrt(3.0)) for own, half_width in zip(u, half_widths, strict=True)]
    mean = weighted_mean(values, spread)
    ratio = birge_ratio(mean.chi2, len(values)) if len(values) > 1 else None
    return Combined(
        value=mean.value, u=mean.u * max(ratio or 1.0, 1.0), people=len(values), birge_ratio=ratio, p=mean.p
    )


def birge_ratio(chi2: float, number: int) -> float:
    """√(χ²/(n−1)) of ``number`` ≥ 2 values (from memory); about 1 where they differ as their uncertainties say."""
    if number < 2:
        raise ValueError("a Birge ratio needs at least two values")
    return math.sqrt(chi2 / (number - 1))


def normalised_error(difference: float, *expanded: float) -> float:
    """|E_n| = |x − X| / √(ΣU²), at most 1 where both agree (ISO 13528, ISO/IEC 17043; from memory).

    ``expanded`` are all that the difference may come from: expanded uncertainties and half-widths. Raises ValueError
    where none is above 0.
    """
    allowed = math.hypot(*expanded)
    if not allowed > 0.0:
        raise ValueError("nothing is known without error: give an uncertainty above 0")
    return abs(difference) / allowed


def one_persons(values: Sequence[float], u: Sequence[float]) -> tuple[float, float]:
    """One person's repeated values of one dimension as one: mean weighted by 1/u², and its standard uncertainty.

    Repeats do not narrow it: one hand with one tool repeats the same wrong edge, so errors add up in full.
    """
    weights = 1.0 / np.square(np.asarray(u, dtype=np.float64))
    weights /= weights.sum()
    return float(weights @ np.asarray(values)), float(weights @ np.asarray(u))


def stated_u(extra_u: float, drawing: float | None, process: float, *, bound: bool) -> float:
    """Standard uncertainty of a stated value as the centre of the process, mm.

    The process may lie anywhere in a drawing's half-width wider than its own. A maximum or minimum (``bound``) tells
    where the process ends, and its centre is a guess that is off by up to the process half-width.
    """
    room = max((drawing if drawing is not None else process) - process, 0.0)
    guessed = process if bound else 0.0
    return math.sqrt(extra_u**2 + (room**2 + guessed**2) / 3.0)
