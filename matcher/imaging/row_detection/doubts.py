"""Doubts in words: why a site may hold no contact, why a count may be wrong, and whether a row may be chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Bools
from matcher.imaging.row_detection.hypotheses import Hypothesis, alternates

WEAK = 0.5
"""Strength relative to its neighbours below which a contact is weak. A choice."""

EMPTY_BELOW = 0.35
"""Strength below which a place that does not look like a contact is empty. Tuned."""

WIDER, NARROWER = 0.2, -0.25
"""Relative difference in width from which a contact is wider or narrower than the others. Tuned."""

OFF = 0.08
"""Distance from the lattice, pitches, from which a contact is off it: four times the usual distance. Tuned."""

UNLIKE = 0.75
"""Correlation with the typical contact below which a contact looks different. Tuned."""

CUT = 0.93
"""Part of a contact's window that must show; with less, the edge of the line or of the image cuts it."""

TRACE, TRACE_STRENGTH = 0.08, 0.2
"""Signal in the window of a place next to the row, as a part of a contact's, and strength there, from which a contact
may lie there under dirt or in glare. Tuned: one in forty empty places of rendered rows without wide ends has as
much."""

FAINT_TRACE, FAINT_STRENGTH, LEAST_MISFIT = 5.0, 0.05, 0.001
"""The same for the little that shows of a contact wholly under dirt: signal as a multiple of what the template usually
leaves unexplained in this row (at least the last figure, as a part of a contact's signal), and strength. Tuned: one in
sixteen rendered rows whose count is right has as much beside it."""


def empty(reading: Hypothesis) -> Bools:
    """Which sites of the profile hold no contact; those outside the run are among them."""
    strength = reading.sites.strengths
    inside = np.zeros(len(strength), dtype=np.bool_)
    inside[reading.run.first : reading.run.last + 1] = True
    free = ~inside | ((reading.run.ratios < 0.0) & (strength < EMPTY_BELOW))
    free[[reading.run.first, reading.run.last]] = False
    return np.asarray(free)


def doubts(reading: Hypothesis) -> list[str | None]:
    """For each site of the profile, why it may hold no contact of the row; None if there is no doubt."""
    found = reading.sites
    marks = (
        (found.inside < CUT, "at the edge of the line: only a part of it shows"),
        (found.strengths < WEAK, "weak: much fainter than its neighbours"),
        (np.abs(found.shifts) > OFF, "off the lattice of the others"),
        (found.widenings > WIDER, "wider than the others: a hold-down, or merged with what is beside it"),
        (found.widenings < NARROWER, "narrower than the others"),
        (found.correlations < UNLIKE, "looks different from the others: dirt, glare, or one line where they show two"),
    )
    return [next((why for present, why in marks if present[site]), None) for site in range(len(found.strengths))]


def traces(reading: Hypothesis) -> list[str]:
    """The ends of the row ("first", "last") beyond which something shows where one more contact would be."""
    found, run = reading.sites, reading.run
    within = slice(run.first, run.last + 1)
    contact = max(float(np.median(found.energies[within])), 1e-18)
    signal = (found.energies + found.misfits) / contact
    usual = LEAST_MISFIT + float(np.median(found.misfits[within])) / contact
    plain = (signal > TRACE) & (found.strengths > TRACE_STRENGTH)
    faint = (signal > FAINT_TRACE * usual) & (found.strengths > FAINT_STRENGTH)
    ends = (("first", run.first - 1), ("last", run.last + 1))
    return [name for name, site in ends if 0 <= site < len(signal) and (plain | faint)[site]]


def row_reasons(reading: Hypothesis, why: list[str | None]) -> list[str]:
    """Sentences on why the count is doubtful: the ends, things beside them, and empty places."""
    run, reasons = reading.run, []
    for name, site in (("first", run.first), ("last", run.last)):
        if why[site] is not None:
            reasons.append(f"The {name} contact is doubtful ({why[site]}).")
    what = "a wide contact, or one more contact under dirt or glare"
    reasons += [f"Something shows beyond the {name} contact: {what}." for name in traces(reading)]
    if alternates(reading):
        reasons.append("Every second one is off by the same amount: they may be half as many contacts, two lines each.")
    gaps = np.flatnonzero(empty(reading)[run.first : run.last + 1])
    if len(gaps):
        places = ", ".join(str(place + 1) for place in gaps)
        reasons.append(f"No contact shows at place {places} of the row; empty places are counted.")
    return reasons


LEAST_EVIDENCE, LEAST_PER_SITE = 8.0, 1.6
"""Log-likelihood ratio from which a reading counts as a row, in total and per site. Tuned on noise and rendered
rows."""

BASE, CROWDED, MIXED, UNEVEN = 6.0, 15.0, 70.0, 60.0
"""Evidence that every row needs, and what each measure of `Disorder` adds to it. Tuned on 2,400 profiles of noise
(white, smoothed, coloured, random walks, ramps, blobs, bars, JPEG) and 8,000 rendered rows: the most right counts with
no more than one in 300 profiles of noise that has enough; one in 270 rendered rows is refused."""

SURE_EVIDENCE, SURE_PER_SITE = 20.0, 3.0
"""Log-likelihood ratio below which a row may be chance, whatever its count. Tuned: the strongest of 400 profiles of
noise that fits as well per site had 19; half of the rendered rows of four have 22."""

FEWEST_SURE = 4
"""Fewest visible contacts with which a count can be sure: three at equal distances are found anywhere. A choice."""


@dataclass(frozen=True, kw_only=True)
class Disorder:
    """How much a reading looks like noise, 0 for a row as drawn: ``crowded`` how many sites beside the row are as
    lively as a contact, per contact (at most 1); ``mixed`` the part of the levels at the row's sites that the typical
    contact does not explain; ``uneven`` the standard deviation of the contacts from the lattice, periods."""

    crowded: float
    mixed: float
    uneven: float


def disorder(reading: Hypothesis) -> Disorder:
    """How much a reading looks like noise."""
    found, run = reading.sites, slice(reading.run.first, reading.run.last + 1)
    lively, places = found.energies + found.misfits, ~empty(reading)
    usual = max(float(np.median(lively[places])), 1e-18)
    beside = np.minimum(np.delete(lively, run) / usual, 1.0)
    return Disorder(
        crowded=min(1.0, float(beside.sum()) / reading.run.count),
        mixed=float(found.misfits[places].sum() / max(float(lively[places].sum()), 1e-18)),
        uneven=float(np.std(found.shifts[places])),
    )


def is_row(reading: Hypothesis) -> bool:
    """Whether a reading has more evidence than noise produces, in total and per site."""
    if reading.evidence <= LEAST_EVIDENCE or reading.per_site <= LEAST_PER_SITE:
        return False
    much = disorder(reading)
    return reading.evidence > BASE + CROWDED * much.crowded + MIXED * much.mixed + UNEVEN * much.uneven


def is_clear(reading: Hypothesis, contacts: int) -> bool:
    """Whether a row of that many contacts cannot be chance."""
    return contacts >= FEWEST_SURE and reading.evidence > SURE_EVIDENCE and reading.per_site > SURE_PER_SITE
