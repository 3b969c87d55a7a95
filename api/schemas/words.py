"""The catalogue's terms in words, the same for the terminal, the pages and the interface's description.

The words for a verdict are in `matcher.results`: hints and the catalogue use them too.
"""

from __future__ import annotations

from collections.abc import Mapping

NOT_HERE = "not in this catalogue"
"""The name of the absent hypothesis."""

ENOUGH_WORDS: Mapping[str, str] = {
    "enough": "Enough by the stated ratings",
    "not_enough": "Not enough",
    "unknown": "Not known",
}
"""Whether a current is carried; never more than what the ratings say."""

NOT_RATED = "no rating for this number of contacts"
"""Said instead of a current that was taken with more contacts loaded than the half has."""

BASIS_WORDS: Mapping[str, str] = {
    "maker": "its maker says so",
    "other_maker": "another maker says so",
    "trial_fit": "by a trial fit",
    "inferred": "no source: inferred from the sizes",
}
"""Who says that two halves mate."""

CONTACT_WORDS: Mapping[str, str] = {
    "identity": "one to one",
    "rows_swapped": "rows swapped",
    "reversed": "reversed",
    "listed": "as listed",
    "unknown": "wiring unknown",
}
"""Which contact meets which."""

WORST_CONTACTS = ("rows_swapped", "reversed")
"""What feeds a board that is wired one to one the wrong way: said wherever such a mate is named."""

CONTACT_CAUTIONS: Mapping[str, str] = {
    "identity": "Contact 1 meets contact 1, as the source says. Check one supply contact all the same.",
    "rows_swapped": "The rows change places: contact 1 of one row meets contact 1 of the other row.",
    "reversed": "The last contact meets the first. A board wired for one to one is fed backwards.",
    "listed": "Contact by contact, as listed here; do not take it for one to one.",
    "unknown": "No source says which contact meets which. Trace both boards before power is applied.",
}
"""What to note before power is applied."""

STANDING_WORDS: Mapping[str, str] = {
    "reported": "one person's statement",
    "documented": "a maker's document is cited",
    "confirmed": "others measured it and agree",
    "disputed": "not resolved: read why before you rely on it",
    "withdrawn": "taken out of the catalogue",
}
"""How well an entry is supported."""


BOUND_WORDS: Mapping[str, str] = {"nominal": "", "max": "at most", "min": "at least", "reference": "for reference"}
"""How a stated value is meant: the words before it; a nominal value has none."""

SEVERITY_WORDS: Mapping[str, str] = {
    "severe": "must be looked at",
    "warning": "looks odd",
    "notice": "worth knowing",
}
"""How severe a finding of the machine review is."""

LIFECYCLE_WORDS: Mapping[str, str] = {
    "unknown": "not known whether it is still made",
    "active": "in production",
    "not_for_new_designs": "made, but not for new designs",
    "discontinued": "no longer made",
}
"""Whether a part is still made."""

FITS_WORDS: Mapping[str, str] = {
    "yes": "fits",
    "tight": "tight",
    "no": "does not fit",
    "unknown": "not known, a size is not stated",
}
"""Whether a pair goes into the room."""

TIGHT = "Tight: it fits as a rule, but not in the worst case over the tolerances."

REMAINS_WORDS: Mapping[str, str] = {
    "whole": "the whole half",
    "bare_board": "only the board, with its lands and holes",
    "torn_off": "a half torn off its board",
    "one_end_missing": "a piece, one end missing",
}
"""What remains of a half."""

REMAINS_ADVICE: Mapping[str, str] = {
    "whole": "",
    "bare_board": "Count the lands of one row and measure over their outer edges. Only what the board shows is asked "
    "for.",
    "torn_off": "Measure the moulding, and the lands on the board. Metal that may have stayed on the board is not "
    "asked for. Count the places of contacts, not the contacts.",
    "one_end_missing": "Count the contacts that are left and measure the length that is left: both count as “at "
    "least”. Pitch, width and height tell the series.",
}
"""How to begin with what remains."""

REASON_WORDS: Mapping[str, str] = {
    "order_settled": "Settled: further measurements would hardly change what to order.",
    "absent_settled": "Settled: it is almost certainly not in this catalogue; more measurements will not help.",
    "mates_differ": "Not settled: no measurement tells apart the halves of this geometry, and they take different "
    "mates.",
    "nothing_tells": "No measurement with the instruments at hand is likely to change what to order.",
    "keep_measuring": "Measure any other feature you can reach.",
}
"""Whether to go on measuring, and why."""


def explained(words: Mapping[str, str]) -> str:
    """All terms with their meanings, as one line of a description."""
    return "; ".join(f"{term}: {meaning}" for term, meaning in words.items()) + "."
