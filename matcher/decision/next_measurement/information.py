"""Expected information of an experiment about the answer, in bits (Shannon 1948; MacKay, chapter 4).

An experiment has numbered outcomes; each possible answer gives them probabilities. The information gained is the mutual
information H(outcome) − Σ p(answer)·H(outcome | answer).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import entr, ndtr

from matcher.columns.columns import Floats, Ints
from matcher.likelihood.error_model.part_deviation import PartDeviation

LN2 = float(np.log(2.0))


def entropy(probability: Floats) -> float:
    """Entropy of a distribution, bits. Zero probabilities contribute nothing."""
    return float(entr(probability).sum()) / LN2


@dataclass(frozen=True, kw_only=True)
class Outcomes:
    """Probability of each of an experiment's ``size`` outcomes under each answer.

    Most answers have only a few neighbouring outcomes: answer i gives outcome ``first[i] + j`` the probability
    ``band[i, j]`` and the last outcome (elsewhere) the rest, ``elsewhere[i]``. Answers with any possible outcome follow
    as rows of ``wide`` (answers × size). Every answer's probabilities add up to 1.
    """

    size: int
    first: Ints
    band: Floats
    elsewhere: Floats
    wide: Floats

    @classmethod
    def table(cls, probability: Floats) -> Outcomes:
        """From a plain table (answers × outcomes) whose rows add up to 1."""
        nothing = np.zeros(0)
        return cls(
            size=probability.shape[1],
            first=np.zeros(0, dtype=np.int64),
            band=np.zeros((0, 1)),
            elsewhere=nothing,
            wide=probability,
        )

    @property
    def answers(self) -> int:
        """Number of answers."""
        return len(self.first) + len(self.wide)

    def marginal(self, prior: Floats) -> Floats:
        """Probability of each outcome where answer i has probability ``prior[i]``."""
        narrow, wide = prior[: len(self.first)], prior[len(self.first) :]
        places = self.first[:, None] + np.arange(self.band.shape[1])
        total = np.bincount(places.ravel(), weights=(narrow[:, None] * self.band).ravel(), minlength=self.size)
        total[-1] += narrow @ self.elsewhere
        return np.asarray(total + wide @ self.wide)

    def entropies(self) -> Floats:
        """Entropy of the outcome under each answer, bits."""
        narrow = entr(self.band).sum(axis=1) + entr(self.elsewhere)
        return np.concatenate([narrow, entr(self.wide).sum(axis=1)]) / LN2

    def rows(self) -> Floats:
        """The whole table, answers × outcomes."""
        table = np.zeros((len(self.first), self.size))
        places = self.first[:, None] + np.arange(self.band.shape[1])
        np.add.at(table, (np.arange(len(self.first))[:, None], places), self.band)
        table[:, -1] += self.elsewhere
        return np.concatenate([table, self.wide])

    def condensed(self) -> Floats:
        """The table without outcomes that never happen."""
        table = self.rows()
        return np.asarray(table[:, np.any(table > 0.0, axis=0)])


def expected_information(prior: Floats, outcomes: Outcomes) -> float:
    """Expected information of the experiment about the answer, bits; never below 0.

    ``prior`` holds the probability of each answer and adds up to 1.
    """
    told = entropy(outcomes.marginal(prior)) - float(prior @ outcomes.entropies())
    return max(told, 0.0)


def information_about(action: Ints, prior: Floats, table: Floats) -> float:
    """Bits about ``action[i]``, which several answers may have in common, from a table answers × outcomes."""
    joint = _by_action(action, prior[:, None] * table)
    told = entropy(joint.sum(axis=1)) + entropy(joint.sum(axis=0)) - entropy(joint)
    return max(told, 0.0)


def joint_information(action: Ints, prior: Floats, a: Floats, b: Floats) -> float:
    """Bits about ``action[i]`` from two experiments together, whose outcomes are independent given the answer.

    ``a`` and ``b`` are tables answers × outcomes. It is H(both) − Σ p(action)·H(both | action); where an action has one
    answer, that entropy is the sum of the two experiments'.
    """
    told = entropy((prior[:, None] * a).T @ b)
    alone = (entr(a).sum(axis=1) + entr(b).sum(axis=1)) / LN2
    for number in np.unique(action):
        members = np.flatnonzero(action == number)
        weight = float(prior[members].sum())
        if len(members) == 1 or weight == 0.0:
            told -= float(prior[members] @ alone[members])
        else:
            share = prior[members, None] / weight
            told -= weight * entropy((share * a[members]).T @ b[members])
    return max(told, 0.0)


def expected_gain(action: Ints, prior: Floats, table: Floats) -> float:
    """Expected rise, by the experiment, in the probability that the best action is right, 0 to 1.

    ``action[i]`` is the number of the right action if answer i is true. An action's probability is the sum over its
    answers.
    """
    joint = _by_action(action, prior[:, None] * table)
    return max(float(joint.max(axis=0).sum() - joint.sum(axis=1).max()), 0.0)


def _by_action(action: Ints, joint: Floats) -> Floats:
    total = np.zeros((int(action.max()) + 1, joint.shape[1]))
    np.add.at(total, action, joint)
    return total


STEP = 0.6
"""Width of one outcome of a dimension, in standard deviations of the best predicted answer: finer steps change the
expected bits by less than a fiftieth."""

REACH = 4.5
"""Standard deviations beyond the tolerance that outcomes cover; the remaining 7e-6 counts as grossly wrong."""


@dataclass(frozen=True, kw_only=True)
class DimensionSteps:
    """Steps of a dimension: outcome k is a reading from ``low + k·step`` to a step more, mm; the last is elsewhere."""

    low: float
    step: float
    size: int
    first: Ints
    band: Floats
    elsewhere: Floats

    @property
    def middles(self) -> Floats:
        """Middle of each step, mm; elsewhere has none."""
        return np.asarray(self.low + (np.arange(self.size - 1) + 0.5) * self.step)

    def with_wide(self, wide: Floats) -> Outcomes:
        """The steps as outcomes, with one more answer that has any possible outcome.

        Outcomes that only this answer has count as elsewhere, where gross errors under the other answers fall too.
        """
        reached = np.zeros(self.size, dtype=bool)
        reached[(self.first[:, None] + np.arange(self.band.shape[1])).ravel()] = True
        reached[-1] = True
        inside = np.where(reached, wide, 0.0)
        inside[-1] += wide[~reached].sum()
        return Outcomes(
            size=self.size, first=self.first, band=self.band, elsewhere=self.elsewhere, wide=inside[None, :]
        )


def dimension_steps(centre: Floats, deviation: PartDeviation, sd: Floats, gross: float) -> DimensionSteps:
    """Steps of a reading around each answer's centre; all mm. ``gross`` is the share of readings that are elsewhere.

    Where parts do not deviate it is a plain normal, which takes a third of the time.
    """
    step = STEP * float(np.quantile(np.sqrt(deviation.half_width**2 / 3 + sd**2), 0.1))
    reach = deviation.reach + REACH * sd
    low = float(np.min(centre - reach))
    first = np.floor((centre - reach - low) / step).astype(np.int64)
    width = int(np.ceil(2 * float(reach.max()) / step)) + 1
    edges = low + (first[:, None] + np.arange(width + 1)) * step - centre[:, None]
    below = deviation.below(edges, sd) if np.any(deviation.reach > 0.0) else ndtr(edges / sd[:, None])
    band = (1.0 - gross) * np.diff(below, axis=1)
    size = int(first.max()) + width + 1
    return DimensionSteps(low=low, step=step, size=size, first=first, band=band, elsewhere=1.0 - band.sum(axis=1))
