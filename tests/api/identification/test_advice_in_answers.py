"""Advice and hints over HTTP."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient

PLUG: list[dict[str, Any]] = [
    {"feature": "contact_count", "value": 24},
    {"feature": "rows", "value": 2},
    {"feature": "pitch", "value": 4.41, "spans": 11},
    {"feature": "body_length", "value": 6.63},
    {"feature": "body_width", "value": 1.99},
]


def identify(server: TestClient, observations: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    response = server.post("/v1/identify", json={"observations": observations, **more})
    assert response.status_code == 200, response.text
    answer: dict[str, Any] = response.json()
    return answer


def test_the_answer_names_the_next_measurement_and_its_expected_values(server: TestClient) -> None:
    answer = identify(server, PLUG)
    first = answer["next_measurements"][0]
    assert answer["further_measuring"]["settled"] is False
    assert 0.0 < first["bits"] <= answer["further_measuring"]["open_bits"]
    assert len({str(each["value"]) for each in first["predicted"]}) > 1
    bits = [each["bits"] for each in answer["next_measurements"]]
    assert bits == sorted(bits, reverse=True)


def test_only_measurements_with_instruments_at_hand_are_advised(server: TestClient) -> None:
    by_eye = identify(server, PLUG, at_hand=[])["next_measurements"]
    assert by_eye
    assert all(each["instrument"] is None for each in by_eye)
    fine = identify(server, PLUG, at_hand=["micrometer"])["next_measurements"]
    assert {each["instrument"] for each in fine} <= {None, "micrometer"}


def test_a_settled_answer_says_so(server: TestClient) -> None:
    more = [
        {"feature": "hold_down_count", "value": 4},
        {"feature": "hold_down_form", "value": "end_tab"},
        {"feature": "height", "value": 0.57},
        {"feature": "tail_span", "value": 2.18},
        {"feature": "half_kind", "value": "plug"},
    ]
    further = identify(server, [*PLUG, *more])["further_measuring"]
    assert further["settled"] is True
    assert further["reason"] in ("order_settled", "nothing_tells")
    assert further["probability"] >= 0.9


@pytest.mark.parametrize("name", ["calliper", ""])
def test_an_unknown_instrument_at_hand_is_refused_with_its_field(server: TestClient, name: str) -> None:
    response = server.post("/v1/identify", json={"observations": PLUG, "at_hand": ["caliper", name]})
    assert response.status_code == 422
    assert response.json()["errors"][0]["field"] == "at_hand[1]"


def test_a_hint_says_that_contacts_were_counted_as_gaps_and_what_this_changes(server: TestClient) -> None:
    slipped = [{**each, "spans": 12} if each["feature"] == "pitch" else each for each in PLUG]
    hint = identify(server, slipped)["hints"][0]
    assert hint["corrected"] == {"spans": 11}
    assert hint["indices"] == [2]
    assert hint["probability"] > 0.5
    assert hint["first"]
    assert hint["message"]
    assert hint["change"]


def test_readings_that_contradict_each_other_are_named(server: TestClient) -> None:
    observed = [*PLUG, {"feature": "body_length", "value": 7.9, "instrument": "micrometer"}]
    messages = [hint["message"] for hint in identify(server, observed)["hints"] if hint["kind"] == "consistency"]
    assert any("contradict" in message for message in messages)


def test_readings_without_mistakes_get_no_hint(server: TestClient) -> None:
    assert identify(server, PLUG)["hints"] == []
