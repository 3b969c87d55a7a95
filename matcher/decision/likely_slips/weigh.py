"""The probability of each possible mistake, given all observations.

The evidence of the corrected observations, times the odds of the mistake, is compared with the evidence of the
observations as given, including absent. First every mistake is weighed roughly: by the change in its corrected reading
alone, over listed halves. The few likely ones are weighed again in full.

Only ratios count in a picture without a scale, so a wrong pitch shows only in its ratio to the picture's other lengths.
Their scale under each half is integrated out in closed form, with normals instead of rectangles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from matcher.columns.columns import Columns, Floats, Ints
from matcher.decision.likely_slips.mistakes import Mistake, mistakes_of
from matcher.decision.posterior import Posterior, weigh_against_absent
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.error_model.normal_readings import MOST_WRONG, NormalReadings
from matcher.likelihood.evidence import NEVER, log_sum
from matcher.likelihood.kinds import log_right
from matcher.likelihood.likelihood import ROUGH_INEXACT_MASS, Part
from matcher.observations import Of, Reduced


@dataclass(frozen=True, kw_only=True)
class PictureReadings:
    """All readings of one picture under the likely halves, with the halves' log-weights without the picture."""

    evidence: tuple[DimensionEvidence, ...]
    halves: Ints
    log_rest: Floats

    def log_weight(self, mistake: Mistake, place: int) -> float:
        """Log of the mistake's odds times the evidence with the reading at ``place`` corrected."""
        corrected = DimensionEvidence(reading=mistake.corrected[0], columns=self.evidence[place].columns)
        evidence = [*self.evidence[:place], corrected, *self.evidence[place + 1 :]]
        normal = NormalReadings.of(evidence, self.halves)
        logs = self.log_rest + normal.over_choices(MOST_WRONG)
        if mistake.halves is not None:
            logs = np.where(mistake.halves[self.halves], logs, NEVER)
        return mistake.log_odds + float(log_sum(logs))


def stays_in_picture(mistake: Mistake) -> bool:
    """Whether the corrected reading can still be one of the picture: a length of the pair in pixels cannot be used."""
    return all(reading.unscaled and reading.of is Of.THIS for reading in mistake.corrected)


FAR = 30.0
"""Difference in log-weight to the best half from which a half is ignored when mistakes are weighed roughly: as much as
three more gross errors."""


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """A mistake with its log-weight: the log of its odds times the evidence of the corrected observations over that of
    the observations as given. ``answer`` is the posterior of the corrected ones where it was weighed in full."""

    mistake: Mistake
    log_weight: float
    answer: Posterior | None = None


def weigh_roughly(result: Posterior, observations: Sequence[Reduced]) -> list[Weighed]:
    """Every possible mistake, likeliest first."""
    found, doubts = list[Weighed](), list[tuple[Mistake, _Rest]]()
    for part in result.weighed.parts:
        if part.readings[0].unscaled and part.readings[0].of is Of.THIS:
            found += _in_picture(part, result, observations)
            continue
        for place, reading in enumerate(part.readings):
            mistakes = [] if reading.unscaled else list(mistakes_of(reading, observations, result.columns))
            if mistakes:
                rest = _Rest.of(_log_half_without(result, part, place))
                doubts += [(mistake, rest) for mistake in mistakes]
    return sorted(found + _weighed(doubts, result.columns), key=lambda each: -each.log_weight)


def _in_picture(part: Part, result: Posterior, observations: Sequence[Reduced]) -> list[Weighed]:
    """Mistakes in one picture without a scale; halves far off even with the readings as given are ignored."""
    halves = np.flatnonzero(result.log_half > result.log_half.max() - FAR)
    log_rest = (result.log_half - part.log_likelihood)[halves]
    evidence = tuple(each for each in part.evidence if isinstance(each, DimensionEvidence))
    picture = PictureReadings(evidence=evidence, halves=halves, log_rest=log_rest)
    return [
        Weighed(mistake=mistake, log_weight=picture.log_weight(mistake, place))
        for place, reading in enumerate(part.readings)
        for mistake in mistakes_of(reading, observations, result.columns)
        if stays_in_picture(mistake)
    ]


@dataclass(frozen=True, kw_only=True)
class _Rest:
    """The likely halves without one reading, and their log-weights."""

    halves: Ints
    log_weight: Floats

    @classmethod
    def of(cls, log_weight: Floats) -> _Rest:
        halves = np.flatnonzero(log_weight > log_weight.max() - FAR)
        return cls(halves=halves, log_weight=log_weight[halves])


def _weighed(doubts: Sequence[tuple[Mistake, _Rest]], columns: Columns) -> list[Weighed]:
    """Mistakes weighed by the change in their corrected readings alone, each with the halves likely without these."""
    corrected = [(reading, rest.halves) for mistake, rest in doubts for reading in mistake.corrected]
    log_readings, found = iter(log_right(corrected, columns)), []
    for mistake, rest in doubts:
        logs = rest.log_weight + sum(next(log_readings) for _ in mistake.corrected)
        if mistake.halves is not None:
            logs = np.where(mistake.halves[rest.halves], logs, NEVER)
        found.append(Weighed(mistake=mistake, log_weight=mistake.log_odds + float(log_sum(logs))))
    return found


def _log_half_without(result: Posterior, part: Part, place: int) -> Floats:
    """Log-weight of each half without one reading.

    A reading that shares an error with others counts as independent: a zero error is small.
    """
    evidence = part.evidence[place]
    if len(part.evidence) == 1:
        return np.asarray(result.log_half - part.log_likelihood)
    if evidence.reading.shared is None or evidence.reading.of is not Of.THIS:
        smaller = part.drop(place)
        rest = 0.0 if smaller is None else smaller.log_likelihood
        return np.asarray(result.log_half - part.log_likelihood + rest)
    return np.asarray(result.log_half - np.log(evidence.of_halves()))


def weigh_in_full(mistake: Mistake, result: Posterior) -> Weighed:
    """The mistake weighed with all corrected observations, including absent, and the answer if it was made."""
    weighed = result.weighed.corrected(mistake.corrected, ROUGH_INEXACT_MASS)
    total = weighed.total
    if mistake.halves is not None:
        total = np.where(mistake.halves, total, total + NEVER)
    answer = weigh_against_absent(replace(result.under_absent, weighed=weighed), total, result.prior_absent)
    gain = answer.log_evidence(total) - result.log_evidence(result.weighed.total)
    return Weighed(mistake=mistake, log_weight=mistake.log_odds + gain, answer=answer)


def probabilities(found: Sequence[Weighed]) -> Floats:
    """Probability of each mistake. Mistakes in the likelihood's own mixture are first removed from the rest."""
    weights = np.exp(np.minimum([each.log_weight for each in found], 700.0))
    modelled = np.array([each.mistake.modelled for each in found], dtype=np.bool_)
    rest = max(1.0 - float(weights[modelled].sum()), 0.0)
    return np.asarray(weights / max(rest + float(weights.sum()), 1e-300))
