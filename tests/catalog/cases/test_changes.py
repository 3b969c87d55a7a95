"""Which answers are news to the author of a case, and which say the same as before."""

from __future__ import annotations

import pytest

from catalog.cases.answer_history import changes
from catalog.cases.specimens import Summary
from tests.catalog.cases.case_examples import NONE, summary

A, B = "a:1", "b:2"


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (summary(A), summary(A)),
        (summary(A), summary(A, catalogue_version=9)),
        (summary(A, probability=0.51), summary(A, probability=0.94)),
        (summary(A, probability=0.5), summary(A, probability=0.6)),
        (summary(A), summary(A, B)),
        (summary(A, B), summary(B)),
        (NONE, summary(A, verdict="no_match", probability=0.01)),
        (summary(A, verdict="no_match", probability=0.02), summary(B, verdict="no_match", probability=0.03)),
    ],
    ids=[
        "the same",
        "another version",
        "no level crossed",
        "just at a level",
        "another half of the same geometry",
        "one of two alike is gone",
        "still no match",
        "another improbable one",
    ],
)
def test_an_answer_that_says_the_same_is_not_news(before: Summary, after: Summary) -> None:
    assert changes(before, after) == ()


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        (NONE, summary(A, verdict="identified"), ("was no match, is identified", "A:1 now leads instead of nothing")),
        (summary(A), summary(A, verdict="no_match"), ("was not settled, is no match",)),
        (summary(A), summary(B), ("B:2 now leads instead of A:1",)),
        (summary(A, probability=0.49), summary(A, probability=0.5), ("A:1 rose above 50 %, from 49.0 % to 50.0 %",)),
        (summary(A, probability=0.96), summary(A, probability=0.9), ("A:1 fell below 95 %, from 96.0 % to 90.0 %",)),
        (
            summary(A, probability=0.4),
            summary(A, probability=0.97),
            ("A:1 rose above 50 %, from 40.0 % to 97.0 %", "A:1 rose above 95 %, from 40.0 % to 97.0 %"),
        ),
    ],
)
def test_a_different_verdict_leader_or_level_is_news(before: Summary, after: Summary, told: tuple[str, ...]) -> None:
    assert changes(before, after) == told
