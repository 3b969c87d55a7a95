"""POST /v1/identify and /v1/identify/explain: the JSON contract, and every kind of invalid request."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from api.identification.cautions import CAUTIONS
from api.schemas.examples import IDENTIFY_EXAMPLES
from api.service.settings import MAX_BODY_BYTES
from matcher.observations import MAX_OBSERVATIONS
from seeds_demo.loader import demo_specimens

JSON = {"Content-Type": "application/json"}
COUNT = {"feature": "contact_count", "value": 24}
LOOSE_PLUG = next(specimen for specimen in demo_specimens() if specimen.name == "loose-plug")


def ask(server: TestClient, *observations: dict[str, Any], **options: Any) -> dict[str, Any]:
    response = server.post("/v1/identify", json={"observations": observations, **options})
    assert response.status_code == 200, response.text
    answer: dict[str, Any] = response.json()
    return answer


def refused(server: TestClient, body: Any, status: int = 422, path: str = "/v1/identify") -> dict[str, Any]:
    content = body if isinstance(body, str) else json.dumps(body)
    response = server.post(path, content=content, headers=JSON)
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    problem: dict[str, Any] = response.json()
    assert problem["status"] == status
    assert problem["instance"] == path
    assert server.get(problem["type"]).status_code == 200, "every type is documented"
    assert server.get("/health").status_code == 200, "the server stays up"
    return problem


def fields(problem: dict[str, Any]) -> list[str]:
    return [error["field"] for error in problem["errors"]]


def test_the_answer_has_the_documented_form(server: TestClient) -> None:
    answer = ask(server, *(dict(given) for given in LOOSE_PLUG.observations))
    assert set(answer) >= {
        "verdict",
        "probability_absent",
        "catalogue_version",
        "candidates",
        "credible_set",
        "next_measurements",
        "recheck",
        "hints",
        "cautions",
    }
    first = answer["candidates"][0]
    assert first["half"]["id"] == LOOSE_PLUG.expected.half
    assert set(first) >= {"rank", "probability", "origin", "half", "fit_p_value", "evidence", "same_geometry", "mates"}
    assert set(first["half"]) >= {"id", "part_number", "order_codes", "maker", "series", "half_kind", "standing"}
    assert set(first["mates"][0]) >= {"part_number", "stack_height", "basis", "fits_observed"}
    line = next(line for line in first["evidence"] if line["feature"] == "pitch")
    assert set(line) >= {"measured", "u", "expected", "tolerance", "log_odds", "reading"}
    assert answer["cautions"] == list(CAUTIONS)
    assert set(answer["credible_set"]) == {"level", "members", "includes_absent"}


def test_probabilities_are_ranked_and_leave_room_for_absent(server: TestClient) -> None:
    answer = ask(server, COUNT, {"feature": "pitch", "value": 0.4}, limit=100)
    probabilities = [candidate["probability"] for candidate in answer["candidates"]]
    assert probabilities == sorted(probabilities, reverse=True)
    assert 0 < answer["probability_absent"] < 1
    assert sum(probabilities) + answer["probability_absent"] <= 1 + 1e-9
    assert [candidate["rank"] for candidate in answer["candidates"]] == list(range(1, len(probabilities) + 1))


def test_evidence_adds_up_to_the_log_odds(server: TestClient) -> None:
    candidates = ask(server, *(dict(given) for given in LOOSE_PLUG.observations))["candidates"]
    assert candidates
    for candidate in candidates:
        assert candidate["evidence"]
        total = sum(line["log_odds"] for line in candidate["evidence"])
        assert math.isclose(total, candidate["log_odds"], abs_tol=1e-9)


def test_every_example_of_the_documentation_is_answered(server: TestClient) -> None:
    for example in IDENTIFY_EXAMPLES:
        assert server.post("/v1/identify", json=example).status_code == 200


def test_a_mate_has_the_stack_height_of_its_mating(server: TestClient) -> None:
    first = ask(server, *(dict(given) for given in LOOSE_PLUG.observations))["candidates"][0]
    assert first["mates"]
    for mate in first["mates"]:
        listed = server.get("/v1/matings", params={"half": first["half"]["id"]}).json()["items"]
        mating = next(item for item in listed if item["id"] == mate["mating"])
        assert {mating["mating"]["half"], mating["mating"]["other"]} == {first["half"]["id"], mate["id"]}
        assert mating["mating"]["stack_height"]["value"] == mate["stack_height"]
        assert mating["mating"]["basis"] == mate["basis"]


def test_the_mates_of_every_demo_specimen_are_matings_of_its_candidates(server: TestClient) -> None:
    named = 0
    for specimen in demo_specimens():
        for candidate in ask(server, *(dict(given) for given in specimen.observations))["candidates"]:
            halves = {half["id"] for half in (candidate["half"], *candidate["same_geometry"])}
            for mate in candidate["mates"]:
                assert {*mate["suits"]} <= halves
                assert {*mate["suits"]} & {*mate["mating"].split("~")}
                assert mate["id"] in mate["mating"].split("~")
                named += 1
    assert named > len(demo_specimens())


def test_a_limit_restricts_the_number_of_candidates(server: TestClient) -> None:
    assert len(ask(server, COUNT, limit=3)["candidates"]) == 3


def test_a_larger_prior_of_absent_makes_absent_more_probable(server: TestClient) -> None:
    little, much = (ask(server, COUNT, prior_absent=p)["probability_absent"] for p in (0.01, 0.9))
    assert little < much


def test_a_feature_of_the_pair_belongs_to_the_pair_by_default(server: TestClient) -> None:
    said = ask(server, COUNT, {"feature": "stack_height", "value": 0.8, "of": "pair"})
    unsaid = ask(server, COUNT, {"feature": "stack_height", "value": 0.8})
    assert said["candidates"] == unsaid["candidates"]


def test_stated_figures_for_an_instrument_change_the_uncertainty(server: TestClient) -> None:
    given = {"feature": "body_length", "value": 6.5, "instrument": "caliper"}
    coarse = ask(server, given, instruments={"caliper": {"feel_mm": 0.2}})["candidates"][0]["evidence"][1]
    fine = ask(server, given)["candidates"][0]["evidence"][1]
    assert coarse["u"] > 0.2 > fine["u"]


def test_readings_of_an_unscaled_picture_are_reported_in_pixels(server: TestClient) -> None:
    photo = next(example for example in IDENTIFY_EXAMPLES if example["observations"][1].get("unit") == "px")
    lines = ask(server, *photo["observations"])["candidates"][0]["evidence"]
    assert [line["unit"] for line in lines if line["feature"] == "body_length"] == ["px"]


def test_an_answer_says_that_a_picture_was_taken_to_be_by_hand(server: TestClient) -> None:
    photo = next(example for example in IDENTIFY_EXAMPLES if example["observations"][1].get("unit") == "px")
    above = [
        {**each, "instrument": "unscaled_photo_from_above"} if "unit" in each else each
        for each in photo["observations"]
    ]

    def told(answer: Any) -> list[str]:
        return [hint["message"] for hint in answer["hints"] if "taken by hand" in hint["message"]]

    def u(answer: Any) -> float:
        lines = answer["candidates"][0]["evidence"]
        return next(line["u"] / line["measured"] for line in lines if line["feature"] == "body_length")

    by_hand, straight = ask(server, *photo["observations"]), ask(server, *above)
    assert len(told(by_hand)) == 1
    assert not told(straight)
    assert u(by_hand) > 0.02 > u(straight) > 0.005


REFUSED_OBSERVATIONS: list[tuple[Any, str]] = [
    ({"feature": "pich", "value": 1}, "observations[0].feature"),
    ({"value": 1}, "observations[0].feature"),
    ({"feature": 7, "value": 1}, "observations[0].feature"),
    (24, "observations[0]"),
    (None, "observations[0]"),
    ({"feature": "pitch", "value": "0.4"}, "observations[0].value"),
    ({"feature": "pitch", "value": True}, "observations[0].value"),
    ({"feature": "pitch", "value": None}, "observations[0].value"),
    ({"feature": "pitch", "vaule": 0.4}, "observations[0].vaule"),
    ({"feature": "pitch", "value": 0.4, "unit": "cm"}, "observations[0].unit"),
    ({"feature": "pitch", "value": 0.4, "instrument": "calliper-ish"}, "observations[0].instrument"),
    ({"feature": "pitch", "value": 0.4, "spans": 0}, "observations[0].spans"),
    ({"feature": "pitch", "value": 0.4, "spans": 1.5}, "observations[0].spans"),
    ({"feature": "pitch", "value": 0}, "observations[0].value"),
    ({"feature": "pitch", "value": -0.4}, "observations[0].value"),
    ({"feature": "pitch", "readings": [0.4] * 101}, "observations[0].readings"),
    ({"feature": "pitch", "value": 0.4, "of": "neighbour"}, "observations[0].of"),
    ({"feature": "pitch", "value": 0.4, "u": -1}, "observations[0].u"),
    ({"feature": "contact_count", "value": 24.5}, "observations[0].value"),
    ({"feature": "contact_count", "value": -1}, "observations[0].value"),
    ({"feature": "contact_count", "value": 24, "unit": "mm"}, "observations[0].unit"),
    ({"feature": "latch_style", "value": "clicky"}, "observations[0].value"),
    ({"feature": "latch_style", "value": []}, "observations[0].value"),
    ({"feature": "latch_style", "value": 3}, "observations[0].value"),
    ({"feature": "marking", "value": ""}, "observations[0].value"),
    ({"feature": "marking", "value": "x" * 201}, "observations[0].value"),
    ({"feature": "trial_fit", "value": {"half": "no:such", "mates": True}}, "observations[0].value.half"),
    ({"feature": "trial_fit", "value": {"half": "no:such", "mates": "yes"}}, "observations[0].value.mates"),
    ({"feature": "trial_fit", "value": "no:such"}, "observations[0].value"),
]


@pytest.mark.parametrize(
    ("observation", "field"), REFUSED_OBSERVATIONS, ids=[str(o)[:60] for o, _ in REFUSED_OBSERVATIONS]
)
def test_an_invalid_observation_is_refused_with_its_field_and_a_remedy(
    server: TestClient, observation: Any, field: str
) -> None:
    problem = refused(server, {"observations": [observation]})
    assert any(at.startswith(field) for at in fields(problem)), problem
    assert all(error["message"] and error["remedy"] for error in problem["errors"]), problem


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
@pytest.mark.parametrize("name", ["value", "min", "u", "plus_minus", "px_per_mm"])
def test_a_value_that_is_not_a_finite_number_is_refused(server: TestClient, name: str, number: str) -> None:
    problem = refused(server, f'{{"observations": [{{"feature": "pitch", "{name}": {number}}}]}}')
    assert f"observations[0].{name}" in fields(problem)


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "observations"),
        ([], "body"),
        ("null", "body"),
        ({"observations": []}, "observations"),
        ({"observations": [COUNT] * (MAX_OBSERVATIONS + 1)}, "observations"),
        ({"observations": [COUNT] * 10_000}, "observations"),
        ({"observations": {"contact_count": 24}}, "observations"),
        ({"observations": [COUNT], "prior": 0.1}, "prior"),
        ({"observations": [COUNT], "prior_absent": 0}, "prior_absent"),
        ({"observations": [COUNT], "prior_absent": 1}, "prior_absent"),
        ({"observations": [COUNT], "limit": 0}, "limit"),
        ({"observations": [COUNT], "limit": 101}, "limit"),
        ({"observations": [COUNT], "instruments": {"caliper": {"feel": 0.1}}}, "instruments.caliper.feel"),
        ({"observations": [COUNT], "instruments": {"tongs": {"feel_mm": 0.1}}}, "instruments.tongs"),
        ({"observations": [COUNT], "instruments": {"caliper": {"feel_mm": -1}}}, "instruments.caliper.feel_mm"),
        ({"observations": [COUNT], "half": "a:b"}, "half"),
    ],
    ids=lambda value: str(value)[:50],
)
def test_an_invalid_request_is_refused_with_its_field(server: TestClient, body: Any, field: str) -> None:
    assert field in fields(refused(server, body))


def test_all_invalid_observations_are_reported_at_once(server: TestClient) -> None:
    wrong = [COUNT, {"feature": "pitch", "value": 0.4, "unit": "cm"}, {"feature": "height", "value": -1}]
    assert fields(refused(server, {"observations": wrong})) == ["observations[1].unit", "observations[2].value"]


def test_a_misspelt_feature_or_field_is_refused_with_a_suggestion(server: TestClient) -> None:
    wrong = [{"feature": "bodylenght", "value": 6.5}, {"feature": "pitch", "vaule": 0.4}]
    feature, field = refused(server, {"observations": wrong})["errors"]
    assert "'body_length'" in feature["remedy"]
    assert "'value'" in field["remedy"]


@pytest.mark.parametrize("body", ["", "{", '{"observations": [', "[" * 100_000, "\x00"])
def test_a_request_that_is_not_json_is_refused(server: TestClient, body: str) -> None:
    response = server.post("/v1/identify", content=body, headers=JSON)
    assert response.status_code in (400, 422)
    assert response.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("media_type", [None, "text/plain", "application/x-www-form-urlencoded", "multipart/form-data"])
def test_a_body_not_declared_as_json_is_refused(server: TestClient, media_type: str | None) -> None:
    body = json.dumps({"observations": [COUNT]}).encode()
    response = server.post("/v1/identify", content=body, headers={"Content-Type": media_type} if media_type else {})
    assert response.status_code == 415
    assert response.json()["type"] == "/problems/unsupported-content"


def test_a_declared_body_of_50_mb_is_refused_before_it_is_read(server: TestClient) -> None:
    response = server.post("/v1/identify", content=b"x" * 50_000_000, headers=JSON)
    assert response.status_code == 413
    assert response.json()["type"] == "/problems/body-too-large"
    assert server.get("/health").status_code == 200


def test_a_streamed_body_is_refused_once_it_has_grown_too_large(server: TestClient) -> None:
    sent = 0

    def stream() -> Iterator[bytes]:
        nonlocal sent
        for _ in range(50):
            sent += 1
            yield b"x" * 1_000_000

    response = server.post("/v1/identify", content=stream(), headers=JSON)
    assert response.status_code == 413
    assert response.json()["type"] == "/problems/body-too-large"
    assert response.headers["x-content-type-options"] == "nosniff"


def test_a_body_of_exactly_the_limit_is_read(server: TestClient) -> None:
    body = json.dumps({"observations": [COUNT]})
    padded = body + " " * (MAX_BODY_BYTES - len(body))
    assert server.post("/v1/identify", content=padded, headers=JSON).status_code == 200
    assert server.post("/v1/identify", content=padded + " ", headers=JSON).status_code == 413


def test_contradictory_observations_get_a_hint(server: TestClient) -> None:
    answer = ask(
        server,
        COUNT,
        {"feature": "rows", "value": 2},
        {"feature": "pitch", "value": 0.8},
        {"feature": "body_length", "value": 3.0},
    )
    assert any("body_length" in hint["message"] for hint in answer["hints"])


def test_an_explanation_agrees_with_the_identification(server: TestClient) -> None:
    observations = [dict(given) for given in LOOSE_PLUG.observations]
    second = ask(server, *observations)["candidates"][1]
    body = {"observations": observations, "half": second["half"]["id"]}
    explained = server.post("/v1/identify/explain", json=body).json()
    assert explained["candidate"] == second
    assert explained["sentences"]
    assert explained["cautions"] == list(CAUTIONS)


def test_an_unknown_half_is_refused_by_explain(server: TestClient) -> None:
    problem = refused(server, {"observations": [COUNT], "half": "no:such"}, path="/v1/identify/explain")
    assert problem["type"] == "/problems/unknown-half"
    assert fields(problem) == ["half"]


def test_a_misspelt_key_is_refused_with_a_suggestion(server: TestClient) -> None:
    half = ask(server, COUNT)["candidates"][0]["half"]["id"]
    tried = {"feature": "trial_fit", "value": {"half": f"{half}x", "mates": True}}
    for body, field in (
        ({"observations": [COUNT], "half": f"{half}x"}, "half"),
        ({"observations": [tried], "half": half}, "observations[0].value.half"),
    ):
        (error,) = refused(server, body, path="/v1/identify/explain")["errors"]
        assert (error["field"], error["value"]) == (field, f"{half}x")
        assert error["remedy"].startswith("did you mean ")
        assert repr(half) in error["remedy"]


def test_an_explanation_needs_a_half(server: TestClient) -> None:
    assert fields(refused(server, {"observations": [COUNT]}, path="/v1/identify/explain")) == ["half"]
