"""A case's last answer in short, and whether another one says something else. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from catalog.model.entries import Entry

RECORD = "case_answer"
"""Record of the document that holds a case's answer. It is apart from the specimen: what the catalogue makes of a case
is no revision of what its author said."""

SAME, CHANGED = "same", "changed"
"""Its states: as it was when the author last wrote, or another."""

LEVELS = (0.5, 0.95)
"""Probabilities whose crossing is news: likelier than all else together, and nearly sure."""

MOST_ALIKE = 50
"""Halves of one geometry that a summary names; ``alike`` counts them all."""


class Led(Entry):
    """A half of the leading geometry; ``revision`` is that of its entry, None where nobody listed it."""

    key: str
    part_number: str
    revision: int | None = None


class Summary(Entry):
    """An answer in short. ``halves`` cannot be told apart by measuring, and have ``probability`` together.

    ``passed_over`` says which observations the ranking could not use any more.
    """

    verdict: Literal["identified", "shortlist", "no_match"]
    probability_absent: float
    catalogue_version: int
    halves: tuple[Led, ...] = ()
    alike: int = 0
    probability: float | None = None
    passed_over: tuple[str, ...] = ()

    @property
    def keys(self) -> frozenset[str]:
        """Keys of the leading halves."""
        return frozenset(half.key for half in self.halves)

    @property
    def leader(self) -> str:
        """The leading half's name, in words."""
        return self.halves[0].part_number if self.halves else "nothing"


class Judged(Entry):
    """What the ranking makes of a half that somebody suggested: its ``rank``, its probability, and how it stands
    against the likeliest other answer (a key, or "absent"). ``sentences`` tell why."""

    half: str
    rank: int
    probability: float
    against: str
    log_odds: float
    fit_p_value: float | None = None
    sentences: tuple[str, ...] = ()


class CaseAnswer(Entry):
    """A case's answer ``now``; where it changed since its author last wrote, also ``before`` and ``changes`` in
    words. ``asked`` is the specimen's revision that was ranked, and ``judged`` are the halves that were suggested, as
    that ranking judges them."""

    record: Literal["case_answer"] = "case_answer"
    asked: int
    now: Summary
    judged: tuple[Judged, ...] = ()
    before: Summary | None = None
    changes: tuple[str, ...] = ()


VERDICTS = {"identified": "identified", "shortlist": "not settled", "no_match": "no match"}


def changes(before: Summary, after: Summary) -> tuple[str, ...]:
    """What is news in an answer, in words; nothing where it says the same.

    News is another verdict, another leading geometry, or its probability crossing one of `LEVELS`. Among answers that
    are no match it is not: the order of what is improbable says nothing.
    """
    return tuple(_changes(before, after))


def _changes(before: Summary, after: Summary) -> Iterator[str]:
    if before.verdict != after.verdict:
        yield f"was {VERDICTS[before.verdict]}, is {VERDICTS[after.verdict]}"
    elif after.verdict == "no_match":
        return
    if not before.keys & after.keys:
        if before.keys or after.keys:
            yield f"{after.leader} leads, before it was {before.leader}"
        return
    was, now = before.probability or 0.0, after.probability or 0.0
    for level in LEVELS:
        if (was < level) != (now < level):
            direction = "rose above" if now >= level else "fell below"
            yield f"{after.leader} {direction} {100 * level:g} %, from {100 * was:.1f} % to {100 * now:.1f} %"
