"""Closed-form log-likelihood of readings that share an error, with normals instead of rectangles.

It is right to a few nats: enough to choose the halves that are integrated exactly and the mistakes that are weighed in
full.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from matcher.columns.columns import Floats, Ints
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.error_model.tolerance_density import W_MIN
from matcher.likelihood.evidence import log_sum
from matcher.observations import SharedError, SharedKind

ALL_SUBSETS_UP_TO, MOST_WRONG = 5, 2
"""With more readings than the first number, at most the second number of them, or all, can be grossly wrong."""

TABLES = ("deviation", "variance", "right", "wrong")

VANISHING = 40.0
"""Difference in ln below which a term is negligible in a sum."""


@dataclass(frozen=True, kw_only=True)
class NormalReadings:
    """Readings with a shared error under some halves, rectangles taken as normal (readings × halves).

    ``deviation`` is from the half's centre, with its ``variance``; ``right`` and ``wrong`` are log-densities in either
    case (``right`` without the normal's). ``coefficient`` is each reading's sensitivity to the error, ``sd`` the
    error's standard deviation.
    """

    deviation: Floats
    variance: Floats
    right: Floats
    wrong: Floats
    coefficient: Floats
    sd: float

    @classmethod
    def of(cls, evidence: Sequence[DimensionEvidence], halves: Ints | slice = slice(None)) -> NormalReadings:
        """The readings of one shared error, under all halves or some."""
        error = evidence[0].reading.shared
        if error is None:
            raise TypeError("these readings share no error")
        scale = error.kind is SharedKind.SCALE
        explained: dict[int, tuple[Floats, ...]] = {}
        for each in evidence:  # readings of one size share their explanations
            if id(each.mixture.weight) not in explained:
                explained[id(each.mixture.weight)] = _explained(each, halves)
        tables = [_under(each, halves, error, *explained[id(each.mixture.weight)]) for each in evidence]
        deviation, variance, right, wrong = (np.stack(table) for table in zip(*tables, strict=True))
        shared = [each.reading.shared for each in evidence]
        coefficient = np.array([[1.0 if scale or one is None else one.coefficient] for one in shared])
        return cls(
            deviation=deviation, variance=variance, right=right, wrong=wrong, coefficient=coefficient, sd=error.sd
        )

    def closed_form(self) -> Floats:
        """Log-density by half.

        With more than `ALL_SUBSETS_UP_TO` readings, at most `MOST_WRONG` or all can be grossly wrong.
        """
        count = len(self.wrong)
        if count <= ALL_SUBSETS_UP_TO:
            return self.over_choices(count)
        result = self._all_wrong.copy()
        possible = np.flatnonzero(self._most > result - VANISHING)
        if len(possible):
            some = self._take(possible).over_choices(MOST_WRONG)
            result[possible] = np.logaddexp(some, result[possible])
        return np.asarray(result)

    def without(self, reading: int) -> Floats:
        """The closed form without one reading."""
        if len(self.wrong) > ALL_SUBSETS_UP_TO + 1 and np.all(self._most <= self._all_wrong - VANISHING):
            return np.asarray(self._all_wrong - self.wrong[reading])
        tables = {name: np.delete(getattr(self, name), reading, axis=0) for name in (*TABLES, "coefficient")}
        return replace(self, **tables).closed_form()

    def over_choices(self, most_wrong: int) -> Floats:
        """Log-density by half, summed over all choices of up to ``most_wrong`` grossly wrong readings.

        For the right ones, with A = Σa²/v + 1/σ² and B = Σad/v: −½(Σd²/v − B²/A) − ½Σln 2πv − ½ln(Aσ²).
        """
        kept = _choices(len(self.wrong), most_wrong)
        d, v, a = self.deviation, self.variance, self.coefficient
        gained = self.right - 0.5 * (np.log(2.0 * math.pi * v) + d * d / v) - self.wrong
        total, pull, gain = (np.einsum("cr,rh->ch", kept, table) for table in (a * a / v, a * d / v, gained))
        total += 1.0 / self.sd**2
        logs = self._all_wrong + gain + 0.5 * (pull * pull / total - np.log(total * self.sd**2))
        return log_sum(logs, axis=0)

    def _take(self, halves: Ints) -> NormalReadings:
        return replace(self, **{name: getattr(self, name)[:, halves] for name in TABLES})

    @cached_property
    def _all_wrong(self) -> Floats:
        """Log-density by half if every reading is grossly wrong."""
        return np.asarray(self.wrong.sum(axis=0))

    @cached_property
    def _most(self) -> Floats:
        """Upper bound of the log-density by half for each choice of up to `MOST_WRONG` wrong, also without one reading.

        Two readings that contradict each other do so whatever the error; a wrong or missing reading affects one pair.
        """
        order = np.argsort(self.deviation[:, 0])
        d, v, a = self.deviation[order], self.variance[order], self.coefficient[order]
        half = len(order) // 2
        one, other = np.arange(half), np.arange(len(order) - 1, len(order) - 1 - half, -1)
        apart = (a[other] * d[one] - a[one] * d[other]) ** 2 / (a[other] ** 2 * v[one] + a[one] ** 2 * v[other])
        chi2 = np.sort(apart, axis=0)[: -MOST_WRONG - 1].sum(axis=0)
        right = self.right - 0.5 * np.log(2.0 * math.pi * self.variance)
        gained = np.sort(np.maximum(self.wrong - right, 0.0), axis=0)[-MOST_WRONG - 1 :].sum(axis=0)
        return np.asarray(right.sum(axis=0) + gained - 0.5 * chi2)


def _choices(count: int, most_wrong: int) -> Floats:
    """A row for each choice of wrong readings; 1 where a reading is right."""
    sizes = range(min(most_wrong, count) + 1)
    choices = [wrong for size in sizes for wrong in itertools.combinations(range(count), size)]
    kept = np.ones((len(choices), count))
    for row, wrong in zip(kept, choices, strict=True):
        row[list(wrong)] = 0.0
    return kept


def _explained(evidence: DimensionEvidence, halves: Ints | slice) -> tuple[Floats, Floats, Floats]:
    """What does not depend on a reading's number: each half's centre, the variance about it, and the log-probability
    that the reading is right."""
    mix = evidence.mixture
    right = np.log(np.maximum(mix.weight[: mix.right, halves].sum(axis=0), 1e-300))
    spread = evidence.deviation.variance[halves] + mix.entry_u[0, halves] ** 2
    return np.asarray(mix.centre[0, halves]), np.asarray(spread), np.asarray(right)


def _under(
    evidence: DimensionEvidence, halves: Ints | slice, error: SharedError, centre: Floats, spread: Floats, right: Floats
) -> tuple[Floats, ...]:
    """For one reading: its deviation from each half's centre and the variance (in ln for a scale, in mm for a zero
    error), and the log-densities if right and if wrong."""
    x, variance = evidence.reading.number, evidence.reading.u**2 + W_MIN**2
    wrong = np.log((evidence.mixture.floor if error.unscaled else evidence.right_and_wrong[1])[halves])
    if error.kind is SharedKind.ZERO:
        return x - centre, variance + spread, right, wrong
    centre = np.where(centre > 0, centre, x)
    return np.log(x) - np.log(centre), variance / x**2 + spread / centre**2, right - math.log(x), wrong
