"""The verdict in one sentence: "not in this catalogue" is named beside the answers and never counted as one."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import pytest

from api.identification.answer_words import verdict
from api.schemas.answers import Ranking
from matcher.results import Verdict


def ranking(said: Verdict, first: float, absent: float, members: int, *, includes_absent: bool) -> Ranking:
    """As much of an answer as the sentence says."""
    half = SimpleNamespace(maker="Ouzelby", part_number="RILL-P24")
    return cast(
        Ranking,
        SimpleNamespace(
            verdict=said,
            candidates=(SimpleNamespace(half=half, probability=first),),
            probability_absent=absent,
            credible_set=SimpleNamespace(level=0.95, members=members, includes_absent=includes_absent),
        ),
    )


@pytest.mark.parametrize(
    ("said", "first", "absent", "members", "includes_absent", "sentence"),
    [
        (Verdict.IDENTIFIED, 0.992, 0.004, 1, False, "Identified: Ouzelby RILL-P24, 99.2 %"),
        (Verdict.NO_MATCH, 0.2, 0.8, 2, True, "No match: the half is probably not in this catalogue."),
        (Verdict.SHORTLIST, 0.97, 0.01, 1, False, "Not settled: Ouzelby RILL-P24 leads with 97.0 %"),
        (
            Verdict.SHORTLIST,
            0.88,
            0.09,
            2,
            True,
            "Not settled: Ouzelby RILL-P24 (88.0 %) or “not in this catalogue”",
        ),
        (Verdict.SHORTLIST, 0.5, 0.02, 2, False, "Not settled: 2 answers share 95 % of the probability; the likeliest"),
        (
            Verdict.SHORTLIST,
            0.4,
            0.2,
            3,
            True,
            "Not settled: 2 answers and “not in this catalogue” (20.0 %) share",
        ),
    ],
)
def test_the_sentence_counts_answers_and_names_absent_apart(
    said: Verdict, first: float, absent: float, members: int, includes_absent: bool, sentence: str
) -> None:
    assert verdict(ranking(said, first, absent, members, includes_absent=includes_absent)).startswith(sentence)
