"""The verdict in one sentence: "not in this catalogue" is named beside the halves and never counted as one."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest

from api.identification.answer_words import next_step, order_line, verdict
from api.identification.answering import answer
from api.schemas.answers import Answer, Ranking
from api.schemas.requests import IdentifyRequest
from catalog.snapshot.snapshot import Snapshot
from matcher.results import Verdict
from seeds_demo.loader import demo_specimens


def ranking(said: Verdict, first: float, absent: float, members: int, *, includes_absent: bool) -> Ranking:
    """As much of an answer as the sentence says: the second half has a tenth less than the first, and so on."""
    names = ["RILL-P24", "RILL-P26", "BECK-P24", "BECK-P26", "BURN-P24"]
    candidates = tuple(
        SimpleNamespace(half=SimpleNamespace(maker="Ouzelby", part_number=name), probability=first - place / 100)
        for place, name in enumerate(names)
    )
    return cast(
        Ranking,
        SimpleNamespace(
            verdict=said,
            candidates=candidates,
            probability_absent=absent,
            credible_set=SimpleNamespace(level=0.95, members=members, includes_absent=includes_absent),
        ),
    )


SENTENCES = [
    (Verdict.IDENTIFIED, 0.992, 0.004, 1, False, "Identified: Ouzelby RILL-P24, 99.2 %"),
    (Verdict.NO_MATCH, 0.2, 0.8, 2, True, "No match: the half is probably not in this catalogue."),
    (
        Verdict.SHORTLIST,
        0.97,
        0.01,
        1,
        False,
        "Not settled: RILL-P24 97.0 %, but not everything fits it.",
    ),
    (
        Verdict.SHORTLIST,
        0.88,
        0.09,
        2,
        True,
        "Not settled: RILL-P24 88.0 %; or not in this catalogue 9.0 %.",
    ),
    (Verdict.SHORTLIST, 0.5, 0.02, 2, False, "Not settled: RILL-P24 50.0 %, RILL-P26 49.0 %."),
    (
        Verdict.SHORTLIST,
        0.4,
        0.2,
        3,
        True,
        "Not settled: RILL-P24 40.0 %, RILL-P26 39.0 %; or not in this catalogue 20.0 %.",
    ),
    (
        Verdict.SHORTLIST,
        0.2,
        0.1,
        9,
        True,
        "Not settled: RILL-P24 20.0 %, RILL-P26 19.0 %, BECK-P24 18.0 % and 5 more; or not in this catalogue 10.0 %.",
    ),
    (Verdict.SHORTLIST, 0.2, 0.7, 2, True, "Not settled: not in this catalogue 70.0 %; or RILL-P24 20.0 %."),
    (Verdict.SHORTLIST, 0.02, 0.96, 1, True, "Not settled: not in this catalogue 96.0 %."),
]


@pytest.mark.parametrize(("said", "first", "absent", "members", "includes_absent", "sentence"), SENTENCES)
def test_the_sentence_names_the_halves_and_tells_absent_apart(
    said: Verdict, first: float, absent: float, members: int, includes_absent: bool, sentence: str
) -> None:
    assert verdict(ranking(said, first, absent, members, includes_absent=includes_absent)) == sentence


SEEN: list[dict[str, Any]] = [
    {"feature": "contact_count", "value": 24},
    {"feature": "rows", "value": 2},
    {"feature": "pitch", "value": 4.41, "spans": 11},
    {"feature": "body_length", "value": 6.63},
    {"feature": "body_width", "value": 1.99},
]


def test_what_to_order_or_to_do_next_stands_with_the_verdict(snapshot: Snapshot) -> None:
    def asked(*more: dict[str, Any]) -> Answer:
        return answer(snapshot, IdentifyRequest.model_validate({"observations": [*SEEN, *more]}))

    open_ = asked()
    assert (order_line(open_), next_step(open_)) == ("", "Count the hold-downs next.")
    settled = asked({"feature": "hold_down_count", "value": 4})
    assert order_line(settled).startswith("Order MOSSIPET-R24 · stack 0.80 mm · 9")
    assert next_step(settled) == ""


def test_under_no_match_nothing_is_ordered(snapshot: Snapshot) -> None:
    (absent,) = [each for each in demo_specimens() if each.name == "absent"]
    found = answer(snapshot, IdentifyRequest.model_validate({"observations": absent.observations}))
    assert found.verdict is Verdict.NO_MATCH
    assert (order_line(found), next_step(found), found.order) == ("", "", None)
