"""Whether what repeats in a profile is a row, or chance: noise and texture repeat here and there, too.

Every period, polarity and place in the profile is tried, so something fits in any noise. What noise that looks like a
row does not do: be calm beside the row, have sites that are all alike, and have them at equal distances. So the less
a reading does of these, the more evidence it needs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.imaging.row_detection.hypotheses import Reading

LEAST_EVIDENCE, LEAST_PER_SITE = 13.0, 2.0
"""Log-likelihood ratio from which a reading counts as a row, in all and per site. Tuned on noise and rendered rows."""

BASE, CROWDED, MIXED, UNEVEN = 11.0, 8.0, 40.0, 30.0
"""Evidence needed at all, and more for what `Disorder` says. Tuned on 2,400 profiles of noise (white, smoothed, pink,
random walks, ramps, blobs, lines, JPEG) and 1,155 weaker rows of 3,000 rendered: of the noise one in 200 has more
evidence than it needs, with `LEAST_EVIDENCE` alone it was one in 22; of the rendered rows one in 500 is refused."""

SURE_EVIDENCE, SURE_PER_SITE = 16.0, 2.5
"""Log-likelihood ratio below which a row may be chance, whatever its count. Tuned: of 400 profiles of noise the
strongest reading that fits as well per site had 19, with a doubtful count; half of rendered rows of four have 22."""

FEWEST_SURE = 4
"""Fewest contacts that show, from which a count can be sure: three at equal distances are found anywhere. A choice."""


@dataclass(frozen=True, kw_only=True)
class Disorder:
    """How much a reading looks like noise, 0 for a row as drawn: ``crowded`` how many sites beside the row are as
    lively as a contact, per contact (at most 1); ``mixed`` the part of the levels at the row's sites that the typical
    contact does not explain; ``uneven`` the standard deviation of the contacts from the lattice, periods."""

    crowded: float
    mixed: float
    uneven: float


def disorder(reading: Reading) -> Disorder:
    """What of a reading looks like noise."""
    found, run = reading.sites, slice(reading.run.first, reading.run.last + 1)
    lively = found.energies + found.misfits
    usual = max(float(np.median(lively[run])), 1e-18)
    beside = np.minimum(np.delete(lively, run) / usual, 1.0)
    return Disorder(
        crowded=min(1.0, float(beside.sum()) / reading.run.count),
        mixed=float(found.misfits[run].sum() / max(float(lively[run].sum()), 1e-18)),
        uneven=float(np.std(found.shifts[run])),
    )


def is_row(reading: Reading) -> bool:
    """Whether a reading is more than noise looks like: enough evidence, in all and per site."""
    if reading.evidence <= LEAST_EVIDENCE or reading.per_site <= LEAST_PER_SITE:
        return False
    much = disorder(reading)
    return reading.evidence > BASE + CROWDED * much.crowded + MIXED * much.mixed + UNEVEN * much.uneven


def is_clear(reading: Reading, contacts: int) -> bool:
    """Whether a row of so many contacts can not be chance."""
    return contacts >= FEWEST_SURE and reading.evidence > SURE_EVIDENCE and reading.per_site > SURE_PER_SITE
