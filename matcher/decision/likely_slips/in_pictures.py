"""Mistakes in pictures without a scale: what a corrected reading is worth beside the picture's other readings.

Only ratios count there, so that a wrong pitch shows just by its ratio to the picture's other lengths. Their scale under
each half is integrated out in closed form, with normals in place of the rectangles, each reading taken as right and up
to `MOST_WRONG` of them as grossly wrong. That is good to a few nats: enough to choose what is weighed in full.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from matcher.columns.columns import Columns, Floats, Ints
from matcher.decision.likely_slips.mistake import Mistake
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.evidence import NEVER
from matcher.likelihood.tolerance_density import W_MIN
from matcher.observations import UNSCALED_SD, Of, Reduced

MOST_WRONG = 2
"""Readings of one picture that may be grossly wrong together."""


@dataclass(frozen=True, kw_only=True)
class Ratios:
    """One reading under some halves: ln(reading over size) and its variance, log-densities if right and if wrong."""

    deviation: Floats
    variance: Floats
    right: Floats
    wrong: Floats

    @classmethod
    def of(cls, reading: Reduced, columns: Columns, halves: Ints) -> Ratios:
        mix, x = DimensionEvidence(reading=reading, columns=columns).mixture.take(halves), reading.number
        centre = np.where(mix.centre[0] > 0, mix.centre[0], x)
        spread = mix.half_width[0] ** 2 / 3.0 + mix.entry_u[0] ** 2
        return cls(
            deviation=np.log(x) - np.log(centre),
            variance=(float(mix.own_u[0, 0]) ** 2 + W_MIN**2) / x**2 + spread / centre**2,
            right=np.log(np.maximum(mix.weight[0], 1e-300)) - math.log(x),
            wrong=np.log(mix.floor),
        )


@dataclass(frozen=True, kw_only=True)
class PictureReadings:
    """All readings of one picture under the halves that matter, whose log-weights without the picture are given."""

    halves: Ints
    log_rest: Floats
    ratios: tuple[Ratios, ...]

    @classmethod
    def of(cls, readings: Sequence[Reduced], columns: Columns, halves: Ints, log_rest: Floats) -> PictureReadings:
        ratios = tuple(Ratios.of(reading, columns, halves) for reading in readings)
        return cls(halves=halves, log_rest=log_rest, ratios=ratios)

    def log_weight(self, mistake: Mistake, place: int, columns: Columns) -> float:
        """Log of the mistake's odds times the evidence with the reading at ``place`` corrected."""
        changed = list(self.ratios)
        changed[place] = Ratios.of(mistake.corrected[0], columns, self.halves)
        logs = self.log_rest + _log_density(changed)
        if mistake.halves is not None:
            logs = np.where(mistake.halves[self.halves], logs, NEVER)
        return math.log(mistake.odds) + float(logsumexp(logs))


def stays_in_picture(mistake: Mistake) -> bool:
    """Whether the corrected reading is still one of the picture: a length of the pair in pixels tells nothing."""
    return all(reading.unscaled and reading.of is Of.THIS for reading in mistake.corrected)


def _log_density(ratios: Sequence[Ratios]) -> Floats:
    """Log-density of a picture's readings under each half, its scale integrated out.

    With A = Σ1/v + 1/σ², B = Σd/v over the right ones: −½(Σd²/v − B²/A) − ½Σln v − ½ln(Aσ²), summed over which are
    wrong.
    """
    d, v, right, wrong = (
        np.stack([getattr(each, name) for each in ratios]) for name in ("deviation", "variance", "right", "wrong")
    )
    kept = _kept(len(ratios))
    total = kept @ (1.0 / v) + 1.0 / UNSCALED_SD**2
    pull = kept @ (d / v)
    logs = kept @ (right - 0.5 * np.log(2.0 * math.pi * v)) + (1.0 - kept) @ wrong
    logs -= 0.5 * (kept @ (d * d / v) - pull * pull / total) + 0.5 * np.log(total * UNSCALED_SD**2)
    return np.asarray(logsumexp(logs, axis=0))


def _kept(count: int) -> Floats:
    """A row for each choice of readings that are wrong; 1 where a reading is right."""
    choices = [wrong for size in range(MOST_WRONG + 1) for wrong in itertools.combinations(range(count), size)]
    kept = np.ones((len(choices), count))
    for row, wrong in zip(kept, choices, strict=True):
        row[list(wrong)] = 0.0
    return kept
