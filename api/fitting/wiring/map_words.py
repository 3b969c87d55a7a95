"""Contact maps in words, the same in the terminal and on pages."""

from __future__ import annotations

from collections.abc import Mapping

from api.schemas.fitting.contact_map import ContactMapAnswer, Meeting, Severity
from api.schemas.words import BASIS_WORDS, CONTACT_WORDS

SEVERITY_WORDS: Mapping[Severity, str] = {
    "supply_to_ground": "supply to ground",
    "supply_to_other_supply": "supply to another supply",
    "supply_to_signal": "supply to signal",
    "ground_to_signal": "ground to signal",
    "signal_to_signal": "signal to another signal",
}


def sentence(found: ContactMapAnswer) -> str:
    """What the map is of."""
    if found.mate is None:
        return f"The contacts of {found.half.part_number}. No mate is named, so nothing is mapped."
    wired = CONTACT_WORDS[found.correspondence or "unknown"]
    return (
        f"From {found.half.part_number} to {found.mate.part_number}: {wired} "
        f"({BASIS_WORDS[found.basis or 'inferred']})."
    )


def unsure(found: ContactMapAnswer) -> str:
    """The heading of the doubts."""
    return "Verify by continuity; no net is stated for the mate" if found.mate is not None else ""


def meeting_words(meeting: Meeting) -> str:
    """Two nets that would meet, and where."""
    places = ", ".join(
        f"{contact} on {'that of ' + stands_at if mate is None else mate}"
        for contact, stands_at, mate in meeting.contacts
    )
    return f"{SEVERITY_WORDS[meeting.severity]}: {meeting.net} would meet {meeting.meets} (contact {places})"
