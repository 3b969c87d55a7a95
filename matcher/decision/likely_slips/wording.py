"""Bench words for hints: what may have happened, and what it would change."""

from __future__ import annotations

from collections.abc import Sequence

from matcher.decision.likely_slips.mistakes import Mistake
from matcher.features import FEATURES
from matcher.observations import Of, Reduced
from matcher.results import VERDICT_WORDS, Verdict

COUNTED = {
    "hold_downs_counted": "hold-downs may be counted in",
    "power_contacts_counted": "power contacts may be counted in",
    "all_metal_counted": "hold-downs and power contacts may be counted in",
    "one_row_only": "may be those of one row only",
    "miscounted": "may be miscounted",
}


def message(mistake: Mistake, given: Sequence[Reduced]) -> str:
    """Describe the mistake; ``given`` are the observations that it would change."""
    reading, corrected = given[0], mistake.corrected[0]
    label = FEATURES[reading.feature].label
    if len(given) > 1:
        return _several(mistake, given)
    if mistake.kind in COUNTED:
        return f"{reading.count} {label}: {COUNTED[mistake.kind]}; then there are {corrected.count}."
    if mistake.kind == "rows_swapped":
        return f"{reading.count} rows may be the contacts of one row; then there are {corrected.count} rows."
    if reading.feature == "half_kind":
        return f"This half may be a {mistake.change['value']} and not a {next(iter(reading.values or ()))}."
    return f"{_size(reading)} {label}{_whose(reading)}: {_length(mistake, reading)}."


def _several(mistake: Mistake, given: Sequence[Reduced]) -> str:
    """Describe a cause that touches several observations."""
    names = [f"{FEATURES[reading.feature].label}{_whose(reading)}" for reading in given]
    listed = f"{', '.join(names[:-1])} and {names[-1]}"
    listed = listed[0].upper() + listed[1:]
    if mistake.kind.startswith("everything_in_"):
        return f"All lengths may be in {mistake.kind.removeprefix('everything_in_')}, typed as mm."
    if mistake.kind.startswith("several_in_"):
        return f"{listed}: these may be in {mistake.kind.removeprefix('several_in_')}, typed as mm."
    if mistake.kind == "one_row_seen":
        contacts, rows = mistake.corrected
        return f"There may be more rows than the one seen; with {rows.count} there are {contacts.count} contacts."
    if mistake.kind == "power_split_otherwise":
        contacts, power = mistake.corrected
        return f"{listed} may be split otherwise: {contacts.count} contacts and {power.count} power contacts."
    return f"{listed} may stand in each other's place."


def _size(reading: Reduced) -> str:
    unit = "px" if reading.unscaled else "mm"
    return f"{reading.number:.4g} {unit}"


def _whose(reading: Reduced) -> str:
    return " of the other half" if reading.of is Of.OTHER else ""


def _length(mistake: Mistake, reading: Reduced) -> str:
    kind, corrected = mistake.kind, mistake.corrected[0]
    if kind == "contacts_for_gaps":
        gaps = corrected.spans
        return f"{reading.spans} may be contacts, with {gaps} {_gap(gaps)} between; then it is {_size(corrected)}"
    if kind == "gaps_not_given":
        return f"this may be the whole row; over {corrected.spans} {_gap(corrected.spans)} it is {_size(corrected)}"
    if kind == "gap_missed":
        return f"it may have been taken over {corrected.spans} gaps; then it is {_size(corrected)}"
    if kind == "twice_the_pitch":
        return f"every second contact may have been taken; then it is {_size(corrected)}"
    if kind == "half_the_pitch":
        return f"contacts of two rows may have been taken for one row; then it is {_size(corrected)}"
    if kind in ("inches", "mils"):
        return f"the number may be in {kind}; then it is {_size(corrected)}"
    if kind == "unit_mixed_up":
        return f"the unit may be another one ({mistake.change['unit']}); then it is {_size(corrected)}"
    if kind == "board_thickness":
        return "the board's thickness may still be in it"
    instead = str(mistake.change["feature"])
    told = {slip.instead: slip.words for slip in FEATURES[reading.feature].slips}
    return told.get(instead) or f"it may be the {FEATURES[instead].label}"


def _gap(number: int) -> str:
    return "gap" if number == 1 else "gaps"


def change(first: str, probability: float, verdict: Verdict, *, before: str, before_probability: float) -> str:
    """Describe the changed answer: first half, its probability and the verdict; ``before`` is the first half now."""
    now = f"{first} comes first either way" if first == before else f"{first} would come first instead of {before}"
    return f"If so, {now}, with probability {probability:.2f} ({before_probability:.2f} now): {VERDICT_WORDS[verdict]}."
