"""Mistakes in pictures without a scale: what a corrected reading is worth beside the picture's other readings.

Only ratios count there, so that a wrong pitch shows just by its ratio to the picture's other lengths. Their scale under
each half is integrated out in closed form, with normals in place of the rectangles, each reading taken as right and up
to `MOST_WRONG` of them as grossly wrong. That is good to a few nats: enough to choose what is weighed in full.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from matcher.columns.columns import Floats, Ints
from matcher.decision.likely_slips.mistake import Mistake
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.evidence import NEVER
from matcher.likelihood.normal_readings import MOST_WRONG, NormalReadings
from matcher.observations import Of


@dataclass(frozen=True, kw_only=True)
class PictureReadings:
    """All readings of one picture under the halves that matter, whose log-weights without the picture are given."""

    evidence: tuple[DimensionEvidence, ...]
    halves: Ints
    log_rest: Floats

    def log_weight(self, mistake: Mistake, place: int) -> float:
        """Log of the mistake's odds times the evidence with the reading at ``place`` corrected."""
        corrected = replace(self.evidence[place], reading=mistake.corrected[0])
        evidence = [*self.evidence[:place], corrected, *self.evidence[place + 1 :]]
        normal = NormalReadings.of(evidence, self.halves)
        logs = self.log_rest + normal.over_choices(MOST_WRONG)
        if mistake.halves is not None:
            logs = np.where(mistake.halves[self.halves], logs, NEVER)
        return mistake.log_odds + float(logsumexp(logs))


def stays_in_picture(mistake: Mistake) -> bool:
    """Whether the corrected reading is still one of the picture: a length of the pair in pixels tells nothing."""
    return all(reading.unscaled and reading.of is Of.THIS for reading in mistake.corrected)
