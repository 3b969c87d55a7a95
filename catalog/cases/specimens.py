"""The stored parts of a case: the specimen, comments on it, its solution and a summary of its last answer.

All are documents with revisions. A specimen's observations, and the points clicked in its pictures, are kept in the
form in which the interface takes and checks them; here only their size is limited. Photos are never kept.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from catalog.evidence.statements import Key
from catalog.model.entry_parts import Entry
from catalog.model.text_fields import Line, Passage, Remark, plain_line
from matcher.features import Remains
from matcher.observations import MAX_OBSERVATIONS
from matcher.vocabulary import present_observation

SPECIMEN, COMMENT, CASE_ANSWER = "specimen", "comment", "case_answer"
"""Records of the documents. The answer is separate from the specimen: a new answer of the catalogue is not a revision
of its author's text."""

OPEN, SOLVED, WITHDRAWN = "open", "solved", "withdrawn"
"""States of a specimen."""

SAME, CHANGED = "same", "changed"
"""States of an answer: unchanged since the author last wrote, or changed."""

MOST_COMMENTS = 500
"""Most comments on one case: they are all read at once, and people do not read more."""

LONGEST_JSON = 200_000
"""Most characters of a specimen's observations and points together, as JSON. A part with ten pictures, two rows of 60
contacts clicked in each, has 25,000; the journal keeps every revision before and after."""

MAX_PICTURES = 20
"""Most pictures of one case or request: both halves and the pair from every side."""

MOST_ALIKE = 50
"""Most halves of one geometry that a summary names; ``alike`` counts all of them."""


def visible_only(given: Any, place: str = "") -> Any:
    """JSON with its texts in NFC; raises ValueError, naming the place, for text with invisible characters."""
    if isinstance(given, str):
        try:
            return plain_line(given)
        except ValueError as error:
            raise ValueError(f"{place}: {error}" if place else str(error)) from error
    if isinstance(given, Mapping):
        return {
            visible_only(name, place): visible_only(each, f"{place}.{name}" if place else name)
            for name, each in given.items()
        }
    if isinstance(given, list | tuple):
        return [visible_only(each, f"{place}[{index}]") for index, each in enumerate(given)]
    return given


def _bounded(given: Any) -> Any:
    length = len(json.dumps(given, ensure_ascii=False))
    if length > LONGEST_JSON:
        raise ValueError(f"{length} characters of JSON; a case takes {LONGEST_JSON}: leave out what is not needed")
    return given


Json = Annotated[dict[str, Any], AfterValidator(visible_only)]
"""A JSON object as the interface accepts it."""


class Solution(Entry):
    """How a case ended: the half that was accepted, by whom and why.

    ``comment`` is the suggestion that was accepted, ``confirmation`` the evidence made from the observations, and
    ``left_out`` says which of them were left out, and why.
    """

    half: Key
    accepted_by: Line
    reason: Passage = ""
    comment: Key | None = None
    confirmation: Key | None = None
    left_out: tuple[str, ...] = ()


class Specimen(Entry):
    """The observations of one part, in the form of an identification, and the points clicked in its pictures."""

    record: Literal["specimen"] = "specimen"
    title: Line
    note: Passage = ""
    observations: Annotated[
        tuple[Annotated[Json, AfterValidator(present_observation)], ...],
        Field(min_length=1, max_length=MAX_OBSERVATIONS),
        AfterValidator(_bounded),
    ]
    prior_absent: float
    instruments: Json = Field(default_factory=dict)
    closed_jaws: Json = Field(default_factory=dict)
    at_hand: tuple[Line, ...] | None = None
    remains: Remains = Remains.WHOLE
    pictures: Annotated[tuple[Json, ...], Field(max_length=MAX_PICTURES), AfterValidator(_bounded)] = ()
    solution: Solution | None = None


class Comment(Entry):
    """A person's comment on a case; a suggestion names a ``half``, at the ``revision`` seen (None: it is not listed),
    and ``text`` gives the reason."""

    record: Literal["comment"] = "comment"
    specimen: Key
    text: Remark
    half: Key | None = None
    revision: int | None = None


class Led(Entry):
    """A half of the leading geometry; ``revision`` is that of its entry, None if it is not listed."""

    key: str
    part_number: str
    revision: int | None = None


class Summary(Entry):
    """A summary of an answer. ``halves`` cannot be distinguished by measuring; ``probability`` is for all of them.

    ``passed_over`` says which observations the ranking could no longer use.
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
    """How the ranking judges a suggested half: its ``rank``, its probability, and its log-odds against the most
    probable other answer (a key, or "absent"). ``sentences`` give the reasons."""

    half: str
    rank: int
    probability: float
    against: str
    log_odds: float
    fit_p_value: float | None = None
    sentences: tuple[str, ...] = ()


class CaseAnswer(Entry):
    """A case's answer ``now``; if it changed since its author last wrote, also ``before`` and the ``changes`` in words.
    ``asked`` is the specimen's revision that was ranked, and ``judged`` are the halves that were suggested, as that
    ranking judges them."""

    record: Literal["case_answer"] = "case_answer"
    asked: int
    now: Summary
    judged: tuple[Judged, ...] = ()
    before: Summary | None = None
    changes: tuple[str, ...] = ()
