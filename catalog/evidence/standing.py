"""How far an entry can be trusted: one function computes it from the evidence, nobody enters it.

The order is withdrawn > disputed > confirmed > documented > reported; the first that applies decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from catalog.model.entries import same_person, slug

Standing = Literal["reported", "documented", "confirmed", "disputed", "withdrawn"]
EntryRecord = Literal["half", "mating", "series"]

WITH_DOCUMENT, WITHOUT_DOCUMENT = 1, 2
"""Number of people whose measurements must agree before an entry is confirmed: with a cited document, and without."""


@dataclass(frozen=True, kw_only=True)
class StandingFacts:
    """All that the standing of an entry depends on.

    ``author`` gave the current figures. ``cited``: a document with revision and page stands behind them. ``clean``: the
    machine review found nothing wrong. ``measurers`` are the people whose measurements of these figures agree, possibly
    including the author; ``contradictions`` describes each measurement that contradicts them; ``disputes`` counts the
    open ones; ``stale`` the confirmations of earlier figures, which count for nothing.
    """

    of: EntryRecord = "half"
    state: str = "listed"
    successor: str | None = None
    author: str
    cited: bool = False
    clean: bool = False
    measurers: frozenset[str] = frozenset()
    contradictions: tuple[str, ...] = ()
    disputes: int = 0
    stale: int = 0

    @property
    def documented(self) -> bool:
        """A document is cited with revision and page, and the machine review is clean."""
        return self.cited and self.clean

    @property
    def independent(self) -> tuple[str, ...]:
        """People whose agreeing measurements count: everybody but the author, each once, sorted."""
        others = (name for name in sorted(self.measurers) if not same_person(name, self.author))
        return tuple(sorted({slug(name): name for name in others}.values()))

    @property
    def needed(self) -> int:
        """How many people's agreeing measurements confirm the entry."""
        return WITH_DOCUMENT if self.documented else WITHOUT_DOCUMENT


def standing(facts: StandingFacts) -> Standing:
    """The standing that the evidence gives an entry."""
    if facts.state != "listed":
        return "withdrawn"
    if facts.disputes or facts.contradictions:
        return "disputed"
    if len(facts.independent) >= facts.needed:
        return "confirmed"
    return "documented" if facts.documented else "reported"


def why(facts: StandingFacts) -> tuple[str, ...]:
    """The reasons, one sentence each, and last what is missing for the next standing."""
    if facts.state != "listed":
        return (_withdrawn(facts),)
    return (*_against(facts), *_document(facts), *_measurements(facts), *_missing(facts))


def _withdrawn(facts: StandingFacts) -> str:
    if facts.successor is not None:
        return f"It was merged into {facts.successor}; continue there."
    return "It was withdrawn; it can still be read and restored."


def _against(facts: StandingFacts) -> Iterator[str]:
    if facts.disputes:
        yield "A dispute is open." if facts.disputes == 1 else f"{facts.disputes} disputes are open."
    for contradiction in facts.contradictions:
        yield f"A measurement contradicts it: {contradiction}."


def _document(facts: StandingFacts) -> Iterator[str]:
    if facts.documented:
        yield "A document is cited with revision and page, and the machine review found nothing."
    elif facts.cited:
        yield "A document is cited with revision and page, but it has not passed the machine review."


def _measurements(facts: StandingFacts) -> Iterator[str]:
    if people := facts.independent:
        did = "Trial fitted or measured" if facts.of == "mating" else "Measured"
        yield f"{did} in agreement by {_listed(people)}."
    if any(same_person(name, facts.author) for name in facts.measurers):
        yield f"A measurement by {facts.author} does not count: the figures in force are theirs."
    if facts.stale:
        one = facts.stale == 1
        told = "One confirmation speaks" if one else f"{facts.stale} confirmations speak"
        yield f"{told} of earlier figures and {'does' if one else 'do'} not count any more."


def _missing(facts: StandingFacts) -> Iterator[str]:
    """What is needed for the next standing."""
    if facts.disputes or facts.contradictions:
        yield "It stays disputed until this is resolved: correct the figures, or clear up the measurement or dispute."
        return
    if not facts.documented:
        yield f"For documented it needs {_document_needed(facts)}."
    if facts.of == "series":
        yield "A series is not measured itself; its halves are confirmed one by one."
    elif (missing := facts.needed - len(facts.independent)) > 0:
        yield f"For confirmed it needs {_people_needed(facts, missing)}."


def _document_needed(facts: StandingFacts) -> str:
    citation = "a citation of the maker's document with revision and page"
    review = "to pass the machine review"
    if facts.cited:
        return review
    return citation if facts.clean else f"{citation}, and {review}"


def _people_needed(facts: StandingFacts, missing: int) -> str:
    number = ("one", "two")[missing - 1]
    more = " more" if facts.independent else ""
    tried = facts.of == "mating"
    if missing == 1:
        kind = "measurement or trial fit" if tried else "measurement"
        excluded = _listed((facts.author, *facts.independent), "or")
        return f"{number}{more} agreeing {kind} by a person other than {excluded}"
    kinds = "measurements or trial fits" if tried else "measurements"
    return f"{number} agreeing {kinds} by different people, neither of them {facts.author}"


def _listed(names: Iterable[str], word: str = "and") -> str:
    """Names joined as in a sentence."""
    *first, last = names
    return f"{', '.join(first)} {word} {last}" if first else last
