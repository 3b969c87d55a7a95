"""Why a contact may be none, and why a count may be wrong, in words."""

from __future__ import annotations

import numpy as np

from matcher.columns.columns import Bools, Floats
from matcher.imaging.row_detection.counting import usual_strength
from matcher.imaging.row_detection.hypotheses import Reading, alternates

WEAK = 0.5
"""Strength below which a contact is weak, as a part of that of its neighbours. A choice."""

EMPTY_BELOW = 0.35
"""Strength below which a place that does not look like a contact is empty. Tuned."""

WIDER, NARROWER = 0.2, -0.25
"""Relative difference in width from which a contact is wider or narrower than the others. Tuned."""

OFF = 0.08
"""Distance from the lattice, pitches, from which a contact is off it: four times what is usual. Tuned."""

UNLIKE = 0.75
"""Correlation with the typical contact below which one looks different. Tuned."""

CUT = 0.93
"""Part of a contact's window that must be seen; less is cut by the edge of the line or the image."""

TRACE, TRACE_STRENGTH = 0.08, 0.2
"""Signal in the window of a place next to the row, as a part of a contact's, and strength there, from which it may be
a contact under dirt or in glare. Tuned: one in forty empty places of rendered rows without wide ends has as much."""

FAINT_TRACE, FAINT_STRENGTH, LEAST_MISFIT = 5.0, 0.05, 0.001
"""The same for what little is left of a contact wholly under dirt: signal as a multiple of what the contacts of the row
usually leave unexplained (and of at least so much of a contact's signal), and strength. Tuned: one in sixteen rendered
rows whose count is right has as much beside it."""


def empty(reading: Reading) -> Bools:
    """Which sites of the profile hold no contact, those outside the run included."""
    strength = reading.sites.amplitudes / usual_strength(reading.sites)
    inside = np.zeros(len(strength), dtype=np.bool_)
    inside[reading.run.first : reading.run.last + 1] = True
    free: Bools = ~inside | ((reading.run.ratios < 0.0) & (strength < EMPTY_BELOW))
    free[[reading.run.first, reading.run.last]] = False
    return free


def doubts(reading: Reading) -> list[str | None]:
    """Why each site of the profile may hold no contact of the row; None where that is clear."""
    found = reading.sites
    strength: Floats = found.amplitudes / usual_strength(found)
    marks = (
        (found.inside < CUT, "at the edge of the line: only a part of it shows"),
        (strength < WEAK, "weak: much fainter than its neighbours"),
        (np.abs(found.shifts) > OFF, "off the lattice of the others"),
        (found.widenings > WIDER, "wider than the others: a hold-down, or merged with what is beside it"),
        (found.widenings < NARROWER, "narrower than the others"),
        (found.correlations < UNLIKE, "looks unlike the others: dirt, glare, or one line where they show two"),
    )
    return [next((why for present, why in marks if present[site]), None) for site in range(len(strength))]


def traces(reading: Reading) -> list[str]:
    """At which ends of the row ("first", "last") something shows, on the line, where one more contact would be."""
    found, run = reading.sites, reading.run
    within = slice(run.first, run.last + 1)
    strength = found.amplitudes / usual_strength(found)
    contact = max(float(np.median(found.energies[within])), 1e-18)
    signal = (found.energies + found.misfits) / contact
    usual = LEAST_MISFIT + float(np.median(found.misfits[within])) / contact
    plain = (signal > TRACE) & (strength > TRACE_STRENGTH)
    faint = (signal > FAINT_TRACE * usual) & (strength > FAINT_STRENGTH)
    ends = (("first", run.first - 1), ("last", run.last + 1))
    return [name for name, site in ends if 0 <= site < len(signal) and (plain | faint)[site]]


def row_reasons(reading: Reading, why: list[str | None]) -> list[str]:
    """Sentences on what makes the count doubtful: the ends, what is beside them, and empty places."""
    run, reasons = reading.run, []
    for name, site in (("first", run.first), ("last", run.last)):
        if why[site] is not None:
            reasons.append(f"The {name} contact is doubtful ({why[site]}).")
    beyond = "contact something shows: a wide contact, or one more under dirt or glare."
    reasons += [f"Beyond the {name} {beyond}" for name in traces(reading)]
    if alternates(reading):
        reasons.append("Every second one is off by the same: they may be the two lines of half as many contacts.")
    gaps = np.flatnonzero(empty(reading)[run.first : run.last + 1])
    if len(gaps):
        places = ", ".join(str(place + 1) for place in gaps)
        reasons.append(f"No contact shows at place {places} of the row; such places are counted.")
    return reasons
