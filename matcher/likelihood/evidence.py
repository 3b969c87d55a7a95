"""The base class of evidence: one observation and its likelihood. `kinds` lists the class of each kind."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Columns, Floats, Ints
from matcher.features import FEATURES, Feature
from matcher.observations import Of, Reduced

IMPOSSIBLE = 1e-300
"""Smallest probability whose logarithm is taken."""

NEVER = -1e4
"""Log-probability of the impossible: finite, so that sums over halves stay finite."""

UNLISTED_MATE = 0.1
"""Probability that the mate at hand is not listed for a half. Common practice, no source."""

STRAINS_BELOW, OFF_BELOW = 0.05, 0.001
"""p-values below which a reading is said to strain, or to be off."""

BARE_MENTION, STRONG = 3.0, 150.0
"""How many times less likely a category must be under an entry than under what fits it best to strain, or to be off.
Kass and Raftery, Bayes Factors, J. Am. Stat. Assoc. 90 (1995) 773–795 (from memory): up to 3 is "not worth more than a
bare mention", above 150 is "very strong"."""

SLIP_FROM = 0.5
"""Probability from which a reading is called a likely slip."""


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """One observation compared with one half: the expected value, its tolerance, p-value, and a likely slip.

    ``times_less_likely`` is for categories: how many times likelier the observation is under the value that fits it
    best. There it gives the word, so that nothing which counts strongly is said to fit.
    """

    expected: float | int | str | None = None
    tolerance: float | None = None
    p_value: float | None = None
    times_less_likely: float | None = None
    slip_probability: float = 0.0
    slip: str | None = None

    @property
    def word(self) -> str:
        """Bench word: fits, strains, off, likely slip, or no information."""
        if self.slip_probability >= SLIP_FROM:
            return "likely slip"
        if self.times_less_likely is not None:
            off, strains = self.times_less_likely > STRONG, self.times_less_likely > BARE_MENTION
        elif self.p_value is not None:
            off, strains = self.p_value < OFF_BELOW, self.p_value < STRAINS_BELOW
        else:
            return "no information"
        return "off" if off else "strains" if strains else "fits"


@dataclass(frozen=True, kw_only=True)
class Evidence(ABC):
    """One observation, and how probable it is under every half of a catalogue."""

    reading: Reduced
    columns: Columns

    @property
    def feature(self) -> Feature:
        """The row of the feature table."""
        return FEATURES[self.reading.feature]

    @staticmethod
    def stated(feature: Feature, columns: Columns, half: int) -> float | int | str | None:
        """The value that a half's entry states for a feature of this kind; None where it states none or several."""
        return None

    @property
    @abstractmethod
    def words(self) -> float | int | str:
        """The observed value, as a number or in words."""

    @abstractmethod
    def of_halves(self) -> Floats:
        """Probability (density per mm for a measured dimension) of an observation of this half, for each half."""

    def of_listed_mates(self) -> Floats:
        """Probability of an observation of the mate or the pair, for each mating."""
        return self.of_halves()[self.columns.matings.other]

    @abstractmethod
    def of_unlisted_mates(self) -> Floats:
        """Probability of an observation of an unlisted mate or its pair, for each half."""

    def log_right(self, halves: Ints) -> Floats:
        """Log-probability of the observation for some halves if it is right: helps choose what is computed in full."""
        return np.asarray(np.log(self.of_halves()[halves]))

    def against(self, halves: Sequence[int]) -> list[Comparison]:
        """Compare the observation with some halves' entries; one of the other half or the pair is not compared."""
        return self._against(halves) if self.reading.of is Of.THIS else [Comparison()] * len(halves)

    def _against(self, halves: Sequence[int]) -> list[Comparison]:
        return [Comparison()] * len(halves)


def log_sum(logs: Floats, axis: int | tuple[int, ...] | None = None) -> Floats:
    """Log of the sum of exponentials; −∞ where all are. scipy's is more general and takes ten times as long here."""
    top = logs.max(axis=axis, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        total = np.log(np.exp(logs - top).sum(axis=axis, keepdims=True)) + top
    return np.asarray(total.squeeze(axis=axis))


def log_sum_by(logs: Floats, groups: Ints, size: int) -> Floats:
    """Log of the sum of exponentials in each of ``size`` groups; −∞ for one that nothing belongs to."""
    top = np.full(size, -np.inf)
    np.maximum.at(top, groups, logs)
    finite = np.where(np.isfinite(top), top, 0.0)
    total = np.bincount(groups, weights=np.exp(logs - finite[groups]), minlength=size)
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(total) + finite)


def bounds_in_words(reading: Reduced) -> str:
    """A bound in words, e.g. ``at least 3 and at most 4``."""
    bounds = (("at least", reading.at_least), ("at most", reading.at_most))
    return " and ".join(f"{word} {bound:g}" for word, bound in bounds if bound is not None)
