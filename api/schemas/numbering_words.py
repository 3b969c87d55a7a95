"""The terms of contact numbering in words, the same in forms, on pages and in the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from catalog.model.numbering import Numbering

SCHEME_WORDS: Mapping[str, str] = {
    "row_by_row": "along each row, one row after the other",
    "zigzag": "from row to row, 1 and 2 facing each other",
    "around": "along one row and back along the other",
}
CORNER_WORDS: Mapping[str, str] = {
    "upper_left": "upper left",
    "upper_right": "upper right",
    "lower_left": "lower left",
    "lower_right": "lower right",
}
SIDE_WORDS: Mapping[str, str] = {"mating_face": "the mating face", "board_side": "the board side"}
BLOCKED_WORDS: Mapping[str, str] = {"skipped": "have no number", "counted": "take a number"}
POWER_WORDS: Mapping[str, str] = {"apart": "apart: P1, P2 …", "after": "after the contacts, in the same count"}
HOLD_DOWN_WORDS: Mapping[str, str] = {
    "none": "not numbered",
    "apart": "apart: H1, H2 …",
    "after": "last, in the same count",
}

FIELDS: Mapping[str, tuple[str, Mapping[str, str]]] = {
    "scheme": ("Numbers run", SCHEME_WORDS),
    "first": ("Contact 1 stands", CORNER_WORDS),
    "seen_from": ("Seen from", SIDE_WORDS),
    "blocked": ("Sites left out", BLOCKED_WORDS),
    "power": ("Power contacts are numbered", POWER_WORDS),
    "hold_downs": ("Hold-downs are numbered", HOLD_DOWN_WORDS),
}
"""The fields of a numbering: what each is called, and its values in words."""

UNSTATED = "not stated: find contact 1 by its mark on the board and check by continuity"
"""The numbering of a half whose entry does not say."""


def numbering_in_words(numbering: Numbering | None) -> str:
    """A numbering as one phrase."""
    return UNSTATED if numbering is None else "; ".join(_phrases(numbering))


def _phrases(numbering: Numbering) -> Iterator[str]:
    turn = f", {'' if numbering.clockwise else 'counter-'}clockwise" if numbering.scheme == "around" else ""
    corner, side = CORNER_WORDS[numbering.first], SIDE_WORDS[numbering.seen_from]
    yield f"{SCHEME_WORDS[numbering.scheme]}; contact 1 at the {corner}{turn}, seen from {side}"
    if numbering.blocked is not None:
        yield f"sites left out {BLOCKED_WORDS[numbering.blocked]}"
    if numbering.power is not None:
        yield f"power contacts {POWER_WORDS[numbering.power]}"
    if numbering.hold_downs is not None:
        yield f"hold-downs {HOLD_DOWN_WORDS[numbering.hold_downs]}"
