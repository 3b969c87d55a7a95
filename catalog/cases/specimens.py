"""What a specimen, a comment on it and its solution are, as they are kept: documents with revisions.

A specimen's observations, and the points clicked in its pictures, are kept in the form in which the interface takes
them and checks them; here they are only bounded. A photo itself is never kept.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from catalog.evidence.statements import Key
from catalog.model.entries import Entry
from catalog.model.text_fields import Line, Passage, Remark, plain_line

SPECIMEN, COMMENT = "specimen", "comment"
"""Records of the documents."""

OPEN, SOLVED, WITHDRAWN = "open", "solved", "withdrawn"
"""States of a specimen."""

MOST_COMMENTS = 500
"""Comments that one case takes: they are read all at once, and nobody reads on beyond that."""

LONGEST_JSON = 200_000
"""Characters of a specimen's observations and points together, as JSON. A part with ten pictures, two rows of 60
contacts clicked in each, has 25,000; the journal keeps every revision before and after."""

MOST_OBSERVATIONS, MOST_PICTURES = 200, 20


def visible_only(given: Any, place: str = "") -> Any:
    """JSON with its texts in NFC; raises ValueError, naming the place, for text that hides something."""
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
        raise ValueError(f"{length} characters of JSON; a case takes {LONGEST_JSON}: leave out what does not matter")
    return given


Json = Annotated[dict[str, Any], AfterValidator(visible_only)]
"""An object as the interface takes it."""


class Solution(Entry):
    """How a case ended: the half that was accepted, by whom and why.

    ``comment`` is the suggestion that was accepted, ``confirmation`` the evidence that the observations became, and
    ``left_out`` says what of them could not, and why.
    """

    half: Key
    accepted_by: Line
    reason: Passage = ""
    comment: Key | None = None
    confirmation: Key | None = None
    left_out: tuple[str, ...] = ()


class Specimen(Entry):
    """What was observed of one part, in the form of an identification, and the points clicked in its pictures."""

    record: Literal["specimen"] = "specimen"
    title: Line
    note: Passage = ""
    observations: Annotated[
        tuple[Json, ...], Field(min_length=1, max_length=MOST_OBSERVATIONS), AfterValidator(_bounded)
    ]
    prior_absent: float
    instruments: Json = Field(default_factory=dict)
    closed_jaws: Json = Field(default_factory=dict)
    at_hand: tuple[Line, ...] | None = None
    pictures: Annotated[tuple[Json, ...], Field(max_length=MOST_PICTURES), AfterValidator(_bounded)] = ()
    solution: Solution | None = None


class Comment(Entry):
    """What somebody says to a case; a suggestion names a ``half``, at the ``revision`` seen (none: nobody listed it),
    and ``text`` gives the reason."""

    record: Literal["comment"] = "comment"
    specimen: Key
    text: Remark
    half: Key | None = None
    revision: int | None = None
