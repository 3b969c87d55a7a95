"""The truth table of an entry's standing: one sentence per row, checked for every combination of facts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from catalog.evidence.standing import Standing, StandingFacts, standing, why

AUTHOR = "Wren Olsen"
OTHERS = ("Ida Finch", "Per Crake", "Mia Dunn")

# One list of values per fact. A row of the table names the facts it depends on; the others may have any value.
FACTS: Mapping[str, tuple[Any, ...]] = {
    "state": ("listed", "withdrawn", "merged"),
    "disputes": (0, 1, 2),
    "contradictions": (0, 1),
    "cited": (False, True),
    "clean": (False, True),
    "others": (0, 1, 2, 3),
    "author_measured": (False, True),
    "stale": (0, 2),
}

Row = tuple[str, dict[str, tuple[Any, ...]], Standing]

# The first matching row decides.
TABLE: tuple[Row, ...] = (
    (
        "what was withdrawn or merged is withdrawn, whatever is said of it",
        {"state": ("withdrawn", "merged")},
        "withdrawn",
    ),
    ("an open dispute makes it disputed, however many measured in agreement", {"disputes": (1, 2)}, "disputed"),
    ("a measurement against it makes it disputed, document and agreement or not", {"contradictions": (1,)}, "disputed"),
    (
        "a cited document, a clean review and one other person's agreeing measurement confirm it",
        {"cited": (True,), "clean": (True,), "others": (1, 2, 3)},
        "confirmed",
    ),
    (
        "two other people's agreeing measurements confirm it without document or clean review",
        {"others": (2, 3)},
        "confirmed",
    ),
    (
        "a cited document and a clean review document it, and the author's own measurement adds nothing",
        {"cited": (True,), "clean": (True,), "others": (0,)},
        "documented",
    ),
    ("one other person's measurement alone leaves it reported", {"others": (1,)}, "reported"),
    (
        "a cited document with findings of the review leaves it reported",
        {"cited": (True,), "clean": (False,)},
        "reported",
    ),
    ("a clean review alone leaves it reported", {"cited": (False,), "clean": (True,)}, "reported"),
    ("with nothing but what its author says it is reported", {}, "reported"),
)


def facts(given: Mapping[str, Any]) -> StandingFacts:
    """Facts with that many other measurers, and optionally the author."""
    measurers = {*OTHERS[: given.get("others", 0)], *([AUTHOR] if given.get("author_measured") else [])}
    plain = {name: given[name] for name in ("state", "disputes", "cited", "clean", "stale") if name in given}
    contradictions = ("Ida Finch: body length: off",) * given.get("contradictions", 0)
    merged = "other:part" if given.get("state") == "merged" else None
    return StandingFacts(
        author=AUTHOR, measurers=frozenset(measurers), contradictions=contradictions, successor=merged, **plain
    )


EVERY = [dict(zip(FACTS, values, strict=True)) for values in product(*FACTS.values())]


def row_of(given: Mapping[str, Any]) -> Row:
    return next(row for row in TABLE if all(given[name] in allowed for name, allowed in row[1].items()))


@pytest.mark.parametrize("row", TABLE, ids=[row[0] for row in TABLE])
def test_every_row_of_the_truth_table_holds(row: Row) -> None:
    combinations = [given for given in EVERY if row_of(given) is row]
    assert combinations, "the row is never reached"
    assert {standing(facts(given)) for given in combinations} == {row[2]}


def test_the_table_covers_every_combination_of_facts() -> None:
    assert len(EVERY) == 1152
    assert all(row_of(given)[2] == standing(facts(given)) for given in EVERY)


def test_stale_evidence_and_the_authors_own_measurement_never_change_the_standing() -> None:
    for given in EVERY:
        assert standing(facts(given)) == standing(facts({**given, "stale": 0, "author_measured": False}))


def test_one_person_counts_once_whatever_the_spelling_of_the_name() -> None:
    twice = StandingFacts(author=AUTHOR, measurers=frozenset({"Ida Finch", "ida  finch", "IDA-FINCH"}))
    assert (standing(twice), len(twice.independent)) == ("reported", 1)


def test_the_author_under_another_spelling_is_still_the_author() -> None:
    own = StandingFacts(author=AUTHOR, cited=True, clean=True, measurers=frozenset({"wren olsen"}))
    assert standing(own) == "documented"


def test_the_order_of_the_standings_is_fixed() -> None:
    everything = facts({"disputes": 1, "cited": True, "clean": True, "others": 3, "state": "withdrawn"})
    assert standing(everything) == "withdrawn"
    assert standing(replace(everything, state="listed")) == "disputed"
    assert standing(replace(everything, state="listed", disputes=0)) == "confirmed"
    assert standing(replace(everything, state="listed", disputes=0, measurers=frozenset())) == "documented"


# Reasons

REASONS: tuple[tuple[str, dict[str, Any], tuple[str, ...]], ...] = (
    (
        "nothing said",
        {},
        (
            "For documented it needs a citation of the maker's document with revision and page, and to pass the "
            "machine review.",
            "For confirmed it needs two agreeing measurements by different people, neither of them Wren Olsen.",
        ),
    ),
    (
        "documented",
        {"cited": True, "clean": True},
        (
            "A document is cited with revision and page, and the machine review found nothing.",
            "For confirmed it needs one agreeing measurement by a person other than Wren Olsen.",
        ),
    ),
    (
        "one measured, no document",
        {"clean": True, "others": 1},
        (
            "Measured in agreement by Ida Finch.",
            "For documented it needs a citation of the maker's document with revision and page.",
            "For confirmed it needs one more agreeing measurement by a person other than Wren Olsen or Ida Finch.",
        ),
    ),
    (
        "document, findings",
        {"cited": True},
        (
            "A document is cited with revision and page, but it has not passed the machine review.",
            "For documented it needs to pass the machine review.",
            "For confirmed it needs two agreeing measurements by different people, neither of them Wren Olsen.",
        ),
    ),
    (
        "confirmed",
        {"cited": True, "clean": True, "others": 2},
        (
            "A document is cited with revision and page, and the machine review found nothing.",
            "Measured in agreement by Ida Finch and Per Crake.",
        ),
    ),
    (
        "own measurement, stale evidence",
        {"cited": True, "clean": True, "author_measured": True, "stale": 2},
        (
            "A document is cited with revision and page, and the machine review found nothing.",
            "A measurement by Wren Olsen does not count: the figures in force are theirs.",
            "2 confirmations speak of earlier figures and do not count any more.",
            "For confirmed it needs one agreeing measurement by a person other than Wren Olsen.",
        ),
    ),
    (
        "disputed",
        {"disputes": 1, "contradictions": 1, "others": 1, "clean": True},
        (
            "A dispute is open.",
            "A measurement contradicts it: Ida Finch: body length: off.",
            "Measured in agreement by Ida Finch.",
            "It stays disputed until this is resolved: correct the figures, or clear up the measurement or dispute.",
        ),
    ),
    (
        "disputed twice, one stale confirmation, three people",
        {"disputes": 2, "stale": 1, "others": 3, "clean": True},
        (
            "2 disputes are open.",
            "Measured in agreement by Ida Finch, Mia Dunn and Per Crake.",
            "One confirmation speaks of earlier figures and does not count any more.",
            "It stays disputed until this is resolved: correct the figures, or clear up the measurement or dispute.",
        ),
    ),
    (
        "measured against, no dispute",
        {"contradictions": 1},
        (
            "A measurement contradicts it: Ida Finch: body length: off.",
            "It stays disputed until this is resolved: correct the figures, or clear up the measurement or dispute.",
        ),
    ),
    ("merged", {"state": "merged", "disputes": 1}, ("It was merged into other:part; continue there.",)),
    ("withdrawn", {"state": "withdrawn"}, ("It was withdrawn; it can still be read and restored.",)),
)


@pytest.mark.parametrize(("given", "sentences"), [row[1:] for row in REASONS], ids=[row[0] for row in REASONS])
def test_the_reasons_are_given_in_words(given: dict[str, Any], sentences: tuple[str, ...]) -> None:
    assert why(facts(given)) == sentences


def test_a_mating_can_be_confirmed_by_measurement_or_trial_fit() -> None:
    known = StandingFacts(of="mating", author=AUTHOR, cited=True, clean=True)
    told = why(known)
    assert told[-1] == "For confirmed it needs one agreeing measurement or trial fit by a person other than Wren Olsen."
    assert why(replace(known, measurers=frozenset({"Ida Finch"})))[1:] == (
        "Trial fitted or measured in agreement by Ida Finch.",
    )
    told = why(replace(known, cited=False))[-1]
    assert "two agreeing measurements or trial fits by different people, neither of them Wren Olsen" in told


def test_measuring_is_never_suggested_for_a_series() -> None:
    told = why(StandingFacts(of="series", author=AUTHOR, cited=True, clean=True))
    assert told[-1] == "A series is not measured itself; its halves are confirmed one by one."
    assert not any("For confirmed" in sentence for sentence in told)


def test_every_combination_has_reasons_and_all_but_confirmed_and_withdrawn_say_what_is_missing() -> None:
    for given in EVERY:
        told, reached = why(facts(given)), standing(facts(given))
        assert all(sentence.endswith(".") for sentence in told)
        missing = any("needs" in sentence or "until" in sentence for sentence in told)
        documented = given["cited"] and given["clean"]
        complete = reached == "withdrawn" or (reached == "confirmed" and documented)
        assert missing != complete
