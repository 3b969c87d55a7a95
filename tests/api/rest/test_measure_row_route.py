"""POST /v1/measure/row: contacts found in real PNG and JPEG bytes and in profiles; bounds, bombs, bad input."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from api.observations.short_form import parse_pieces
from api.pictures.decoding import ON_WHITE, TURNED
from api.pictures.row_finding import ONE_ROW, TAILS, UNSURE
from api.schemas.examples import ROW_EXAMPLES
from api.schemas.measuring import MAX_PROFILE
from api.service.settings import MAX_BODY_BYTES, MAX_PICTURE_BYTES
from tests.api.web.photographed import BOMB, UNUSABLE, Rows, encoded, held, photographed

ONE = Rows()
TWO = Rows(heights=(60.0, 150.0), shifts=(0.0, 0.0))
STAGGERED = Rows(heights=(60.0, 150.0), shifts=(0.0, 12.35))


def query(rows: Rows, **more: Any) -> dict[str, Any]:
    """The query for a bare picture of these rows."""
    return {"line": [",".join(f"{each:.1f}" for each in line) for line in rows.lines], **more}


def sent(server: TestClient, data: bytes, media_type: str = "image/png", **params: Any) -> Any:
    return server.post("/v1/measure/row", content=data, headers={"Content-Type": media_type}, params=params)


def found(server: TestClient, data: bytes, media_type: str = "image/png", **params: Any) -> dict[str, Any]:
    response = sent(server, data, media_type, **params)
    assert response.status_code == 200, response.text
    answer: dict[str, Any] = response.json()
    return answer


def asked(server: TestClient, body: Any, status: int = 200) -> dict[str, Any]:
    content = body if isinstance(body, str) else json.dumps(body)
    response = server.post("/v1/measure/row", content=content, headers={"Content-Type": "application/json"})
    assert response.status_code == status, response.text
    answer: dict[str, Any] = response.json()
    return answer


def in_json(data: bytes, media_type: str = "image/png", **more: Any) -> dict[str, Any]:
    return {"image": {"media_type": media_type, "data": base64.b64encode(data).decode()}, **more}


def refused(response: Any, status: int = 422, name: str = "invalid-request") -> dict[str, Any]:
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    problem: dict[str, Any] = response.json()
    assert problem["type"] == f"/problems/{name}"
    assert all(error["message"] and error["remedy"] for error in problem["errors"]), problem
    return problem


def fields(problem: dict[str, Any]) -> list[str]:
    return [error["field"] for error in problem["errors"]]


def observed(answer: dict[str, Any], feature: str) -> list[dict[str, Any]]:
    return [each for each in answer["observations"] if each["feature"] == feature]


@pytest.mark.parametrize(("media_type", "form"), [("image/png", "PNG"), ("image/jpeg", "JPEG")])
def test_contacts_are_counted_and_the_pitch_is_within_its_interval(
    server: TestClient, media_type: str, form: str
) -> None:
    answer = found(server, encoded(photographed(ONE), form), media_type, **query(ONE))
    (row,) = answer["rows"]
    assert row["count"] == ONE.count
    assert row["sure"]
    assert row["count_probability"] > 0.9
    assert abs(row["pitch_px"] - ONE.pitch) <= 3 * row["pitch_u95"]
    assert not row["dark"]
    assert [contact["index"] for contact in row["contacts"]] == list(range(ONE.count))
    for place, contact in enumerate(row["contacts"]):
        assert contact["x"] == pytest.approx(ONE.first + place * ONE.pitch, abs=0.5)
        assert contact["y"] == pytest.approx(ONE.heights[0], abs=0.01)


def test_a_picture_gives_the_same_answer_bare_and_in_json(server: TestClient) -> None:
    data = encoded(photographed(ONE))
    bare = found(server, data, **query(ONE))
    assert asked(server, in_json(data, line=[round(each, 1) for each in ONE.lines[0]])) == bare


def test_a_profile_needs_no_picture(server: TestClient) -> None:
    levels = photographed(ONE)[60:80].mean(axis=0)
    start, _, end, _ = (round(each) for each in ONE.lines[0])
    answer = asked(server, {"profile": levels[start:end].tolist(), "row_count": 2})
    assert answer["rows"][0]["count"] == ONE.count
    assert answer["rows"][0]["line"] is None
    assert answer["rows"][0]["contacts"][0]["x"] is None
    assert observed(answer, "contact_count")[0]["value"] == 2 * ONE.count


@pytest.mark.parametrize("example", ROW_EXAMPLES)
def test_the_answer_to_every_example_can_be_identified_unchanged(server: TestClient, example: dict[str, Any]) -> None:
    answer = asked(server, example)
    onward = server.post("/v1/identify", json={"observations": answer["observations"]})
    assert onward.status_code == 200, onward.text
    assert parse_pieces(answer["short_form"]) == answer["observations"]


@pytest.mark.parametrize("scale", [{}, {"px_per_mm": 61.75}, {"px_per_mm": 61.75, "scale_rel": 0.004}])
def test_the_found_row_can_be_identified_unchanged(server: TestClient, scale: dict[str, float]) -> None:
    answer = found(server, encoded(photographed(TWO)), **query(TWO), **scale, name="plug")
    identified = server.post("/v1/identify", json={"observations": answer["observations"]})
    assert identified.status_code == 200, identified.text
    evidence = identified.json()["candidates"][0]["evidence"]
    pitch = next(line for line in evidence if line["feature"] == "pitch")
    told = next(each for each in answer["budgets"] if each["feature"] == "pitch")
    assert pitch["measured"] == pytest.approx(told["value"])
    assert pitch["unit"] == told["unit"] == ("mm" if scale else "px")
    assert answer["observations"][pitch["index"]]["image"] == "plug"
    assert answer["observations"][told["observations"][0]]["feature"] == "pitch"
    assert parse_pieces(answer["short_form"]) == answer["observations"]


def test_one_line_gives_a_minimum_count_and_says_how_to_get_an_exact_one(server: TestClient) -> None:
    data = encoded(photographed(ONE))
    least, exact = found(server, data, **query(ONE)), found(server, data, **query(ONE, row_count=2))
    assert observed(least, "contact_count") == [{"feature": "contact_count", "min": ONE.count}]
    assert ONE_ROW in least["notes"]
    assert observed(exact, "contact_count") == [{"feature": "contact_count", "value": 2 * ONE.count}]
    assert observed(exact, "rows") == [{"feature": "rows", "value": 2}]
    assert ONE_ROW not in exact["notes"]


@pytest.mark.parametrize(("rows", "layout"), [(TWO, "aligned"), (STAGGERED, "staggered")])
def test_a_line_for_each_row_gives_count_spacing_and_layout(server: TestClient, rows: Rows, layout: str) -> None:
    answer = found(server, encoded(photographed(rows)), **query(rows))
    assert observed(answer, "contact_count")[0]["value"] == 2 * rows.count
    assert observed(answer, "rows")[0]["value"] == 2
    assert observed(answer, "row_spacing")[0]["value"] == pytest.approx(90.0, abs=1.5)
    assert len(observed(answer, "pitch")) == 1
    assert [relation["layout"] for relation in answer["relations"]] == [layout]
    assert observed(answer, "contact_layout")[0]["value"] == [layout]


def test_a_scale_in_the_picture_gives_millimetres(server: TestClient) -> None:
    scale = {"start": [20.0, 190.0], "end": [267.0, 190.0], "length_mm": 10.0}
    answer = asked(server, in_json(encoded(photographed(ONE)), line=ONE.lines[0], scale=scale))
    pitch = next(each for each in answer["budgets"] if each["feature"] == "pitch")
    assert pitch["unit"] == "mm"
    assert abs(pitch["value"] - 1.0) < pitch["expanded"]
    assert answer["scale"]["px_per_mm"] == pytest.approx(24.7)


def test_a_missing_contact_is_a_position_and_lowers_the_minimum_count(server: TestClient) -> None:
    rows = Rows(missing=(5,))
    answer = found(server, encoded(photographed(rows)), **query(rows, row_count=1))
    assert answer["rows"][0]["count"] == rows.count
    assert answer["rows"][0]["missing"] == [5]
    assert any("Place 6" in note for note in answer["notes"])
    (count,) = observed(answer, "contact_count")
    assert (count["min"], count["max"]) == (rows.count - 1, rows.count)


def test_tails_are_not_counted_as_contacts(server: TestClient) -> None:
    answer = found(server, encoded(photographed(ONE)), **query(ONE, feature="tail_pitch", plane="lands"))
    assert observed(answer, "contact_count") == []
    assert observed(answer, "tail_pitch")
    assert TAILS in answer["notes"]


@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_a_rotated_picture_is_measured_upright_with_a_note(server: TestClient, orientation: int) -> None:
    answer = found(server, held(photographed(ONE), orientation), "image/jpeg", **query(ONE))
    assert answer["rows"][0]["count"] == ONE.count
    assert TURNED in answer["notes"]


def test_transparent_parts_are_reported(server: TestClient) -> None:
    levels = photographed(ONE)
    clear = np.dstack([levels, np.where(np.arange(levels.shape[0]) < 20, 0, 255)[:, None] + 0 * levels]).astype(
        np.uint8
    )
    assert ON_WHITE in found(server, encoded(clear), **query(ONE))["notes"]


@pytest.mark.parametrize("name", UNUSABLE)
def test_an_unusable_picture_is_a_problem_with_its_field(server: TestClient, name: str) -> None:
    data, told = UNUSABLE[name]
    bare = refused(sent(server, data, line="0,0,90,0"), name="invalid-picture")
    assert fields(bare) == ["body"]
    assert told in bare["errors"][0]["message"]
    inside = server.post("/v1/measure/row", json=in_json(data, line=[0, 0, 90, 0]))
    assert fields(refused(inside, name="invalid-picture")) == ["image.data"]
    assert server.get("/health").status_code == 200


def test_a_picture_with_a_wrong_declared_kind_is_refused(server: TestClient) -> None:
    refused(sent(server, encoded(photographed(ONE)), "image/jpeg", **query(ONE)), name="invalid-picture")


@pytest.mark.parametrize("data", ["%%%", "AAA", "QUJD\n", "é"])
def test_invalid_base64_is_refused(server: TestClient, data: str) -> None:
    body = {"image": {"media_type": "image/png", "data": data}, "line": [0, 0, 90, 0]}
    assert fields(refused(server.post("/v1/measure/row", json=body), name="invalid-picture")) == ["image.data"]


@pytest.mark.parametrize("media_type", ["", "image/gif", "text/plain", "multipart/form-data", "image/*"])
def test_a_body_of_another_media_type_is_not_read(server: TestClient, media_type: str) -> None:
    read = 0

    def stream() -> Iterator[bytes]:
        nonlocal read
        read += 1
        yield b"x"

    headers = {"Content-Type": media_type} if media_type else {}
    refused(server.post("/v1/measure/row", content=stream(), headers=headers), 415, "unsupported-content")


def test_larger_bodies_are_read_here_and_nowhere_else(server: TestClient) -> None:
    padded = json.dumps(ROW_EXAMPLES[0]) + " " * (2 * MAX_BODY_BYTES)
    assert asked(server, padded)["rows"]
    headers = {"Content-Type": "application/json"}
    for path in ("/v1/measure", "/v1/identify", "/v1/measure/row/", "/v1/measure/rows"):
        response = server.post(path, content=padded, headers=headers, follow_redirects=False)
        refused(response, 413, "body-too-large")


def test_a_body_declared_too_large_is_refused_before_it_is_read(server: TestClient) -> None:
    headers = {"Content-Type": "image/png", "Content-Length": str(MAX_PICTURE_BYTES + 1)}
    refused(server.post("/v1/measure/row", content=b"x", headers=headers), 413, "body-too-large")


def test_an_endless_body_is_refused_once_it_has_grown_too_large(server: TestClient) -> None:
    sent_bytes = 0

    def stream() -> Iterator[bytes]:
        nonlocal sent_bytes
        for _ in range(2 * MAX_PICTURE_BYTES // 1_000_000):
            sent_bytes += 1_000_000
            yield b"x" * 1_000_000

    response = server.post("/v1/measure/row", content=stream(), headers={"Content-Type": "image/png"})
    refused(response, 413, "body-too-large")


def test_a_crop_of_twelve_million_pixels_is_accepted(server: TestClient) -> None:
    rows = Rows(pitch=140.0, count=24, first=400.0, heights=(1500.0,), size=(4000, 3000), noise=0.0)
    strip = photographed(Rows(pitch=140.0, count=24, first=400.0, heights=(100.0,), size=(4000, 200), noise=2.0))
    levels = np.full((3000, 4000), 60, np.uint8)
    levels[1400:1600] = strip
    answer = found(server, encoded(levels), **query(rows))
    assert answer["rows"][0]["count"] == 24


LINE = [round(each, 1) for each in ONE.lines[0]]
DATA = encoded(photographed(ONE))

REFUSED: list[tuple[Any, str]] = [
    ({}, "profile"),
    ([], "body"),
    ({"profile": [0.1] * 90, **in_json(DATA)}, "profile"),
    (in_json(DATA), "line"),
    (in_json(DATA, lines=[]), "lines"),
    (in_json(DATA, line=LINE, lines=[LINE]), "lines"),
    (in_json(DATA, lines=[LINE] * 5), "lines"),
    ({"profile": [0.1, 0.9] * 50, "line": LINE}, "line"),
    (in_json(DATA, line=[0, 0, 90]), "line[3]"),
    (in_json(DATA, line=["0", 0, 90, 0]), "line[0]"),
    (in_json(DATA, line=[50, 50, 50, 50]), "line"),
    (in_json(DATA, line=[0, 0, 9000, 0]), "line"),
    (in_json(DATA, lines=[LINE, [0, 0, 9000, 0]]), "lines[1]"),
    (in_json(DATA, line=[10, 5, 400, 5]), "line"),
    (in_json(DATA, line=LINE, width=0), "width"),
    (in_json(DATA, line=LINE, width=-3), "width"),
    (in_json(DATA, line=LINE, width=1e6), "width"),
    (in_json(DATA, lines=[LINE, LINE], row_count=1), "row_count"),
    (in_json(DATA, line=LINE, row_count=0), "row_count"),
    (in_json(DATA, line=LINE, scale={"px_per_mm": 0}), "scale.px_per_mm"),
    (in_json(DATA, line=LINE, scale={"start": [5, 5], "end": [5, 5], "length_mm": 10}), "scale"),
    (in_json(DATA, line=LINE, scale={"px_per_mm": 1e-9}), "scale"),
    (in_json(DATA, line=LINE, plane="ceiling"), "plane"),
    (in_json(DATA, line=LINE, feature="height"), "feature"),
    (in_json(DATA, "image/gif", line=LINE), "image.media_type"),
    ({"profile": []}, "profile"),
    ({"profile": [0.5]}, "profile"),
    ({"profile": [0.5] * 200}, "profile"),
    ({"profile": ["0.5"] * 200}, "profile[0]"),
    ({"profile": [0.1] * (MAX_PROFILE + 1)}, "profile"),
    ({"profile": np.linspace(0, 1, 200).tolist()}, "profile"),
    ({**ROW_EXAMPLES[0], "step": 0}, "step"),
    ({**ROW_EXAMPLES[0], "step": -1}, "step"),
]


@pytest.mark.parametrize(("body", "field"), REFUSED, ids=[f"{at}-{i}" for i, (_, at) in enumerate(REFUSED)])
def test_an_invalid_measurement_is_refused_with_its_field_and_a_remedy(
    server: TestClient, body: Any, field: str
) -> None:
    problem = asked(server, body, 422)
    assert any(at.startswith(field) for at in fields(problem)), problem
    assert all(error["message"] and error["remedy"] for error in problem["errors"]), problem


def test_a_line_that_is_too_long_is_refused_before_it_is_searched(server: TestClient) -> None:
    """The time grows with the square of the length: a long thin picture of fine stripes would take minutes."""
    stripes = encoded(np.tile(np.array([[60, 200]], np.uint8), (30, MAX_PROFILE)))
    refusal = refused(sent(server, stripes, line=f"0,10,{MAX_PROFILE + 1},10"), name="invalid-observations")
    assert fields(refusal) == ["line[0]"]


@pytest.mark.parametrize("seed", range(12))
def test_noise_is_refused_or_called_unsure(server: TestClient, seed: int) -> None:
    noise = np.random.default_rng(seed).normal(size=300).tolist()
    response = server.post("/v1/measure/row", json={"profile": noise, "row_count": 1})
    if response.status_code == 200:
        assert not response.json()["rows"][0]["sure"]
        assert UNSURE in response.json()["notes"]
        assert not any("value" in count for count in observed(response.json(), "contact_count"))
    else:
        assert fields(refused(response, name="invalid-observations")) == ["profile"]


def test_a_sure_row_needs_no_check(server: TestClient) -> None:
    assert UNSURE not in found(server, DATA, **query(ONE))["notes"]


@pytest.mark.parametrize("body", ["", "{", "[" * 100_000, "\x00"])
def test_a_body_that_is_not_valid_json_is_refused(server: TestClient, body: str) -> None:
    response = server.post("/v1/measure/row", content=body, headers={"Content-Type": "application/json"})
    refused(response, 400, "malformed-json")


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e999"])
def test_a_level_that_is_not_a_number_is_refused(server: TestClient, number: str) -> None:
    assert fields(asked(server, f'{{"profile": [0.1, {number}, 0.3]}}', 422)) == ["profile[1]"]


@pytest.mark.parametrize(
    ("params", "field"),
    [
        ({}, "line"),
        ({"line": "0,0,90"}, "line[0]"),
        ({"line": "0,0,90,zero"}, "line[0]"),
        ({"line": ["10,70,400,70", "0;0;90;0"]}, "line[1]"),
        ({"line": "nan,0,90,0"}, "line[0][0]"),
        ({"line": "0,0,9000,0"}, "line[0]"),
        ({"line": ["0,0,90,0"] * 5}, "line"),
        ({**query(ONE), "width": "wide"}, "width"),
        ({**query(ONE), "width": "nan"}, "width"),
        ({**query(ONE), "px_per_mm": "-1"}, "px_per_mm"),
        ({**query(ONE), "scale_rel": "0.01"}, "px_per_mm"),
        ({**query(ONE), "px_per_mm": "60", "scale_rel": "-1"}, "scale_rel"),
        ({**query(ONE), "plane": "ceiling"}, "plane"),
        ({**query(ONE), "instrument": "caliper"}, "instrument"),
        ({**query(ONE), "row_count": "0"}, "row_count"),
        ({**query(ONE), "lnie": "0,0,90,0"}, "lnie"),
    ],
    ids=str,
)
def test_an_invalid_query_is_refused_with_its_parameter(server: TestClient, params: dict[str, Any], field: str) -> None:
    response = sent(server, DATA, **params)
    assert response.status_code == 422, response.text
    assert fields(response.json()) == [field]
    assert response.json()["errors"][0]["remedy"]


def test_a_query_beside_a_json_body_is_refused(server: TestClient) -> None:
    response = server.post("/v1/measure/row", json=in_json(DATA, line=LINE), params={"width": 5})
    assert fields(refused(response)) == ["width"]


def test_a_decompression_bomb_costs_no_memory(server: TestClient) -> None:
    assert len(BOMB) < 10_000
    refused(sent(server, BOMB, line="0,0,90,0"), name="invalid-picture")
