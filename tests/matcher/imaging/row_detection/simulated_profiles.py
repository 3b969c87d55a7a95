"""One-dimensional profiles of rows, fast to make and moderately difficult: how often is the pitch in its interval?

``python -m tests.matcher.imaging.row_detection.simulated_profiles 10000`` prints the share for 10000 profiles.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.imaging.row_detection.detection import find_contacts


@dataclass(frozen=True, kw_only=True)
class Simulated:
    """A profile (one level per px) and what is true of it."""

    values: Floats
    pitch: float
    count: int


def simulated(rng: np.random.Generator) -> Simulated:
    """A row of 4 to 30 contacts at 6 to 24 px, blurred by up to 0.12 pitch, placed to 0.2 to 1 % of the pitch, unlike
    by 3 to 12 %, under light that changes by up to 30 %, with noise of 1 to 6 % of the contrast."""
    pitch, count = math.exp(rng.uniform(math.log(6), math.log(24))), int(rng.integers(4, 31))
    before, after = rng.uniform(0.7, 2.5, 2) * pitch
    x = np.arange(math.ceil(before + (count - 1) * pitch + after))
    centres = before + (np.arange(count) + rng.normal(0, rng.uniform(0.002, 0.01), count)) * pitch
    half, sigma = rng.uniform(0.15, 0.3) * pitch, math.hypot(0.29, rng.uniform(0.03, 0.12) * pitch)
    strengths = rng.normal(1.0, rng.uniform(0.03, 0.12), count)
    edges = [ndtr((x[:, None] - centres + side * half) / sigma) for side in (1, -1)]
    levels = 0.15 + 0.5 * ((edges[0] - edges[1]) @ strengths)
    lit = levels * (1.0 + rng.uniform(-0.3, 0.3) * (x / len(x) - 0.5))
    noisy = lit + rng.normal(0, 0.5 * rng.uniform(0.01, 0.06), len(x))
    return Simulated(values=noisy, pitch=pitch, count=count)


@dataclass(frozen=True, kw_only=True)
class Shares:
    """Shares of profiles with the right count, and with the pitch inside its 95 % interval."""

    right: float
    held: float


def shares(profiles: int, seed: int) -> Shares:
    """The shares over a number of profiles; a refused profile counts as neither right nor held."""
    right = held = 0
    for number in range(profiles):
        made = simulated(np.random.default_rng([seed, number]))
        try:
            row = find_contacts(made.values)
        except ObservationError:
            continue
        right += row.count == made.count
        held += abs(row.pitch_px - made.pitch) <= row.pitch_u95
    return Shares(right=right / profiles, held=held / profiles)


if __name__ == "__main__":
    print(shares(int(sys.argv[1]), seed=int(sys.argv[2]) if len(sys.argv) > 2 else 77))
