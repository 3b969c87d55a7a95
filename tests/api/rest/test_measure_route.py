"""POST /v1/measure: from clicked points and readings to lengths, budgets and observations; invalid requests."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from starlette.testclient import TestClient

from api.observations.short_form import parse_pieces
from api.schemas.examples import MEASURE_EXAMPLES
from catalog.cases.specimens import MAX_PICTURES
from matcher.imaging.clicks.clicked_rows import MOST_ROWS
from matcher.imaging.clicks.inputs import MOST_POINTS

PITCH, TILT = 50.0, 0.03
PLUG = "ouzelby:mossipet-p24"


def clicked(sites: list[int], *, y: float = 400.0, shift: float = 0.0) -> list[list[float]]:
    """Points of a tilted row at some of its sites."""
    along = [300.0 + shift + PITCH * site for site in sites]
    return [
        [round(at * math.cos(TILT) - y * math.sin(TILT), 1), round(at * math.sin(TILT) + y * math.cos(TILT), 1)]
        for at in along
    ]


def picture(**more: Any) -> dict[str, Any]:
    return {"name": "top", "rows": [{"points": clicked([0, 1, 2, 4, 5, 9])}], **more}


def rectangle(left: float, top: float, width: float, height: float) -> list[list[float]]:
    return [[left, top], [left + width, top], [left + width, top + height], [left, top + height]]


SCALE = {"start": [100.0, 900.0], "end": [1350.0, 900.0], "length_mm": 10.0, "u_mm": 0.01}


def ask(server: TestClient, **body: Any) -> dict[str, Any]:
    response = server.post("/v1/measure", json=body)
    assert response.status_code == 200, response.text
    answer: dict[str, Any] = response.json()
    return answer


def refused(server: TestClient, body: Any, status: int = 422) -> dict[str, Any]:
    content = body if isinstance(body, str) else json.dumps(body)
    response = server.post("/v1/measure", content=content, headers={"Content-Type": "application/json"})
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    problem: dict[str, Any] = response.json()
    assert server.get(problem["type"]).status_code == 200
    assert all(error["message"] and error["remedy"] for error in problem["errors"]), problem
    return problem


def fields(problem: dict[str, Any]) -> list[str]:
    return [error["field"] for error in problem["errors"]]


def of(answer: dict[str, Any], feature: str) -> dict[str, Any]:
    found: dict[str, Any] = next(each for each in answer["budgets"] if each["feature"] == feature)
    return found


@pytest.mark.parametrize("example", MEASURE_EXAMPLES)
def test_the_answer_to_every_example_can_be_identified_unchanged(server: TestClient, example: dict[str, Any]) -> None:
    answer = ask(server, **example)
    onward = {name: answer[name] for name in ("observations", "closed_jaws", "instruments")}
    assert server.post("/v1/identify", json={"observations": answer["observations"]}).status_code == 200
    identified = server.post("/v1/identify", json=onward)
    assert identified.status_code == 200, identified.text
    for line in identified.json()["candidates"][0]["evidence"]:
        told = [each for each in answer["budgets"] if line["index"] in each["observations"]]
        assert all(math.isclose(line["measured"], each["value"], rel_tol=1e-9) for each in told if line["unit"])


@pytest.mark.parametrize("example", MEASURE_EXAMPLES)
def test_the_short_form_has_the_same_meaning_as_the_json_form(server: TestClient, example: dict[str, Any]) -> None:
    answer = ask(server, **example)
    assert parse_pieces(answer["short_form"]) == answer["observations"]


def test_clicks_with_gaps_give_the_pitch_and_the_empty_positions(server: TestClient) -> None:
    answer = ask(server, pictures=[picture()])
    row = answer["pictures"][0]["rows"][0]
    assert abs(row["pitch_px"] - PITCH) < row["pitch_u95"] < 1
    assert row["missing"] == [3, 6, 7, 8]
    assert row["spans"] == 9
    assert [point["site"] for point in row["points"]] == [0, 1, 2, 4, 5, 9]
    assert math.isclose(math.radians(row["tilt_degrees"]), TILT, abs_tol=0.002)
    assert answer["pictures"][0]["click_u"] == 0.5, "never below half a pixel"


def test_a_picture_without_a_scale_is_evidence_in_pixels(server: TestClient) -> None:
    answer = ask(server, pictures=[picture()])
    (pitch,) = answer["observations"]
    assert (pitch["unit"], pitch["instrument"], pitch["image"]) == ("px", "unscaled_photo", "top")
    assert of(answer, "pitch")["unit"] == "px"
    assert answer["pictures"][0]["scale"] is None


@pytest.mark.parametrize(("taken", "share"), [("by_hand", 0.02), ("from_above", 0.005), ("rectified", 0.0)])
def test_how_a_picture_without_a_scale_was_taken_stands_in_the_budget(
    server: TestClient, taken: str, share: float
) -> None:
    answer = ask(server, pictures=[picture(taken=taken)])
    found = of(answer, "pitch")
    lines = [line["contribution"] for line in found["budget"] if "perspective and lens" in line["source"]]
    assert lines == ([pytest.approx(share * found["value"])] if share else [])
    assert any("taken by hand" in note for note in answer["notes"]) is (taken == "by_hand")


def test_a_known_length_gives_the_scale_with_its_uncertainty(server: TestClient) -> None:
    answer = ask(server, pictures=[picture(scale=SCALE)])
    scale, pitch = answer["pictures"][0]["scale"], of(answer, "pitch")
    assert math.isclose(scale["px_per_mm"], 125.0, rel_tol=1e-9)
    assert 0 < scale["rel"] < 0.01
    assert pitch["unit"] == "mm"
    assert abs(pitch["value"] - PITCH / 125) < pitch["expanded"]


def test_a_disc_gives_the_scale_of_the_plane_it_lies_on(server: TestClient) -> None:
    """0.5 mm thick, seen from 100 mm: the plane is seen smaller than the rim by 0.5 % (a pinhole camera)."""
    disc = {**SCALE, "thickness_mm": 0.5, "camera_distance_mm": 100.0}
    scale = ask(server, pictures=[picture(scale=disc)])["pictures"][0]["scale"]
    assert math.isclose(scale["px_per_mm"], 125.0 * 0.995, rel_tol=1e-9)
    assert scale["source"] == "disc 0.5 mm thick"


def test_a_stated_scale_gives_millimetres_too(server: TestClient) -> None:
    answer = ask(server, pictures=[picture(scale={"px_per_mm": 125.0, "rel": 0.001}, instrument="microscope")])
    assert math.isclose(answer["pictures"][0]["scale"]["px_per_mm"], 125.0)
    assert answer["observations"][0]["instrument"] == "microscope"


def test_a_budget_adds_up_to_its_uncertainty(server: TestClient) -> None:
    answer = ask(server, **MEASURE_EXAMPLES[0])
    assert len(answer["budgets"]) == 4
    for each in answer["budgets"]:
        assert math.isclose(math.hypot(*(line["contribution"] for line in each["budget"])), each["u"], rel_tol=1e-9)
        assert math.isclose(each["coverage_factor"] * each["u"], each["expanded"], rel_tol=1e-9)
        for line in each["budget"]:
            assert math.isclose(line["sensitivity"] * line["u"], line["contribution"], rel_tol=1e-9)


def test_an_outlier_is_named_by_its_position_in_the_request(server: TestClient) -> None:
    points = clicked(list(range(12)))
    points[7][0] += 14.0
    answer = ask(server, pictures=[picture(name="other"), picture(rows=[{"points": points}])])
    (outlier,) = [point for point in answer["pictures"][1]["rows"][0]["points"] if point["outlier"]]
    assert outlier["field"] == "pictures[1].rows[0].points[7]"
    assert outlier["off_px"] > 10
    assert any("rows[0].points[7]" in note for note in answer["pictures"][1]["notes"])


@pytest.mark.parametrize(("shift", "layout"), [(0.0, "aligned"), (PITCH / 2, "staggered")])
def test_two_rows_give_their_spacing_and_layout(server: TestClient, shift: float, layout: str) -> None:
    rows = [{"points": clicked(list(range(10)))}, {"points": clicked(list(range(10)), y=528.0, shift=shift)}]
    answer = ask(server, pictures=[picture(rows=rows)])
    (relation,) = answer["pictures"][0]["relations"]
    assert relation["layout"] == layout
    assert abs(relation["spacing_px"] - 128.0) < 4 * relation["spacing_u"]
    assert {"feature": "contact_layout", "value": [layout]} in answer["observations"]
    assert of(answer, "row_spacing")["value"] == pytest.approx(128.0, abs=1)


def test_an_outline_gives_length_and_width(server: TestClient) -> None:
    outline = {"corners": rectangle(250, 300, 825, 250), "along": "body_length", "across": "body_width"}
    answer = ask(server, pictures=[{"name": "top", "outlines": [outline], "scale": SCALE}])
    assert of(answer, "body_length")["value"] == pytest.approx(6.6, abs=0.01)
    assert of(answer, "body_width")["value"] == pytest.approx(2.0, abs=0.01)


def test_a_segment_is_divided_by_its_gaps(server: TestClient) -> None:
    segment = {"start": [100, 100], "end": [650, 100], "feature": "pitch", "spans": 11}
    answer = ask(server, pictures=[{"name": "top", "segments": [segment]}])
    assert of(answer, "pitch")["value"] == pytest.approx(50.0, abs=0.01)
    assert answer["observations"][0]["spans"] == 11


def test_a_known_rectangle_corrects_the_perspective(server: TestClient) -> None:
    seen = [[200.0, 200.0], [1000.0, 240.0], [980.0, 760.0], [220.0, 800.0]]
    known = {"corners": seen, "length": 30.0, "width": 22.0, "in_mm": True}
    outline = {"corners": seen, "along": "body_length", "across": "body_width"}
    answer = ask(server, pictures=[{"name": "tilted", "outlines": [outline], "perspective": known}])
    assert of(answer, "body_length")["value"] == pytest.approx(30.0, abs=0.1)
    assert of(answer, "body_width")["value"] == pytest.approx(22.0, abs=0.1)


def test_rows_of_contacts_can_correct_the_perspective_too(server: TestClient) -> None:
    rows = [{"points": clicked(list(range(12)))}, {"points": clicked(list(range(12)), y=600.0)}]
    answer = ask(server, pictures=[picture(rows=rows, perspective="lattice")])
    assert of(answer, "pitch")["value"] == pytest.approx(PITCH, abs=0.5)


def test_readings_by_two_instruments_are_combined_where_they_agree(server: TestClient) -> None:
    given = [
        {"feature": "body_length", "value": 6.54, "instrument": "caliper"},
        {"feature": "body_length", "value": 6.52, "instrument": "vernier"},
    ]
    answer = ask(server, readings=given)
    (length,) = answer["budgets"]
    assert length["observations"] == [0, 1]
    assert 6.52 < length["value"] < 6.54
    assert length["p"] > 0.05
    assert answer["contradictions"] == []
    assert answer["observations"] == given


def test_readings_that_contradict_each_other_stay_apart_and_are_named(server: TestClient) -> None:
    given = [
        {"feature": "body_length", "value": 6.54, "instrument": "caliper"},
        {"feature": "body_length", "value": 7.24, "instrument": "vernier"},
    ]
    answer = ask(server, pictures=[picture()], readings=given)
    (contradiction,) = answer["contradictions"]
    assert contradiction["groups"] == [[1], [2]], "positions in the answer's observations, those of the picture first"
    assert contradiction["p"] < 0.01
    assert any("contradict" in note and "observations[2]" in note for note in answer["notes"])


def test_closed_jaws_readings_are_subtracted_in_an_identification_too(server: TestClient) -> None:
    given = [{"feature": "body_length", "value": 6.60, "instrument": "caliper"}]
    answer = ask(server, readings=given, closed_jaws={"caliper": [0.05, 0.05, 0.06]})
    (length,) = answer["budgets"]
    assert length["value"] == pytest.approx(6.60 - 0.16 / 3)
    onward = {name: answer[name] for name in ("observations", "closed_jaws", "instruments")}
    lines = server.post("/v1/identify", json=onward).json()["candidates"][0]["evidence"]
    assert [line["measured"] for line in lines if line["unit"]] == [pytest.approx(length["value"])]


def test_outer_edges_less_one_contact_make_a_pitch(server: TestClient) -> None:
    given = [{"feature": "pitch", "value": 4.62, "less": 0.22, "spans": 11, "instrument": "caliper"}]
    assert of(ask(server, readings=given), "pitch")["value"] == pytest.approx(0.4)


def test_clicked_points_identify_the_half(server: TestClient) -> None:
    half = server.get(f"/v1/halves/{PLUG}").json()["half"]
    size = {name: each["value"] * 125 for name, each in half["dimensions"].items()}
    per_row = half["contact_count"] // 2
    row = [[300 + size["pitch"] * site, 400.0] for site in range(per_row)]
    body = rectangle(260, 340, size["body_length"], size["body_width"])
    outline = {"corners": body, "along": "body_length", "across": "body_width"}
    answer = ask(server, pictures=[{"name": "top", "rows": [{"points": row}], "outlines": [outline], "scale": SCALE}])
    seen = [*answer["observations"], {"feature": "contact_count", "value": half["contact_count"]}]
    candidates = server.post("/v1/identify", json={"observations": seen}).json()["candidates"]
    first = candidates[0]
    assert PLUG in [first["half"]["id"], *(each["id"] for each in first["same_geometry"])]


ROW = "pictures[0].rows[0]"

REFUSED: list[tuple[Any, str]] = [
    ({}, "pictures"),
    ([], "body"),
    ({"pictures": {}}, "pictures"),
    ({"pictures": [picture()] * (MAX_PICTURES + 1)}, "pictures"),
    ({"pictures": [picture(), picture()]}, "pictures[1].name"),
    ({"pictures": [{"rows": [{"points": clicked([0, 1, 2])}]}]}, "pictures[0].name"),
    ({"pictures": [{"name": "top"}]}, "pictures[0]"),
    ({"pictures": [picture(rows=[{"points": clicked([0, 1])}])]}, f"{ROW}.points"),
    ({"pictures": [picture(rows=[{"points": []}])]}, f"{ROW}.points"),
    ({"pictures": [picture(rows=[{"points": [[0, 0]] * 3}])]}, f"{ROW}.points"),
    ({"pictures": [picture(rows=[{"points": [[1, 2, 3]] * 4}])]}, f"{ROW}.points[0]"),
    ({"pictures": [picture(rows=[{"points": [[1], [2], [3]]}])]}, f"{ROW}.points[0]"),
    ({"pictures": [picture(rows=[{"points": [["1", 2], [3, 4], [5, 6]]}])]}, f"{ROW}.points[0][0]"),
    ({"pictures": [picture(rows=[{"points": [[1e9, 2], [3, 4], [5, 6]]}])]}, f"{ROW}.points[0]"),
    ({"pictures": [picture(rows=[{"points": [[0, 0]] * (MOST_POINTS + 1)}])]}, f"{ROW}.points"),
    ({"pictures": [picture(rows=[{"points": clicked([0, 1, 2])}] * (MOST_ROWS + 1))]}, "pictures[0].rows"),
    ({"pictures": [picture(rows=[{"points": clicked([0, 1, 2]), "feature": "height"}])]}, f"{ROW}.feature"),
    ({"pictures": [picture(rows=[{"points": clicked([0, 1, 2]), "plane": "ceiling"}])]}, f"{ROW}.plane"),
    ({"pictures": [picture(instrument="caliper")]}, "pictures[0].instrument"),
    ({"pictures": [picture(scale={**SCALE, "end": SCALE["start"]})]}, "pictures[0].scale"),
    ({"pictures": [picture(scale={**SCALE, "length_mm": 0})]}, "pictures[0].scale.length_mm"),
    ({"pictures": [picture(scale={**SCALE, "u_mm": -1})]}, "pictures[0].scale.u_mm"),
    ({"pictures": [picture(scale={**SCALE, "thickness_mm": -1})]}, "pictures[0].scale.thickness_mm"),
    ({"pictures": [picture(scale={"px_per_mm": 125, "thickness_mm": 1})]}, "pictures[0].scale"),
    ({"pictures": [picture(scale={"start": [0, 0], "end": [9, 9]})]}, "pictures[0].scale"),
    ({"pictures": [picture(scale={**SCALE, "px_per_mm": 125})]}, "pictures[0].scale"),
    ({"pictures": [picture(scale={"px_per_mm": -125})]}, "pictures[0].scale.px_per_mm"),
    ({"pictures": [picture(scale=125)]}, "pictures[0].scale"),
    ({"pictures": [picture(perspective="vanishing")]}, "pictures[0].perspective"),
    ({"pictures": [picture(perspective={"corners": rectangle(0, 0, 9, 9)})]}, "pictures[0].perspective.length"),
    ({"pictures": [picture(planes=[{"plane": "lands", "depth_mm": 1.0}])]}, "pictures[0].planes[0]"),
    ({"readings": [{"feature": "pitch"}]}, "readings[0].value"),
    ({"readings": [{"feature": "contact_count", "value": 24}]}, "readings[0].feature"),
    ({"readings": [{"feature": "pitch", "value": 0.4, "unit": "cm"}]}, "readings[0].unit"),
    ({"readings": [{"feature": "pitch", "value": 0.4, "less": 0.5}]}, "readings[0].less"),
    ({"readings": [{"feature": "pitch", "value": 0.4}], "closed_jaws": {"caliper": []}}, "closed_jaws.caliper"),
    ({"readings": [{"feature": "pitch", "value": 0.4}], "closed_jaws": {"photo": [0.1]}}, "closed_jaws.photo"),
    ({"readings": [{"feature": "pitch", "value": 0.4}], "closed_jaws": {"tongs": [0.1]}}, "closed_jaws.tongs"),
    ({"readings": [{"feature": "pitch", "value": 0.4}], "closed_jaws": {"caliper": [9.0]}}, "closed_jaws.caliper[0]"),
    (
        {"readings": [{"feature": "pitch", "value": 0.4}], "instruments": {"caliper": {"feel": 1}}},
        "instruments.caliper.feel",
    ),
]


@pytest.mark.parametrize(
    ("body", "field"), REFUSED, ids=[f"{field}-{place}" for place, (_, field) in enumerate(REFUSED)]
)
def test_an_invalid_measurement_is_refused_with_its_field_and_a_remedy(
    server: TestClient, body: Any, field: str
) -> None:
    problem = refused(server, body)
    assert any(at.startswith(field) for at in fields(problem)), problem


CORNERS: list[tuple[list[list[float]], str]] = [
    ([[0, 0], [100, 0], [200, 0], [300, 0]], "in a line"),
    ([[0, 0], [300, 200], [300, 0], [0, 200]], "crossed"),
    ([[0, 0], [0, 0], [300, 200], [0, 200]], "twice the same"),
    ([[0, 0], [300, 0], [100, 50], [0, 200]], "one of them inside"),
]


@pytest.mark.parametrize("part", ["outlines[0]", "perspective"])
@pytest.mark.parametrize(("corners", "name"), CORNERS, ids=[name for _, name in CORNERS])
def test_corners_that_do_not_form_a_rectangle_are_refused(
    server: TestClient, corners: list[list[float]], name: str, part: str
) -> None:
    outline = {"corners": rectangle(250, 300, 825, 250), "along": "body_length"}
    if part == "perspective":
        given = picture(outlines=[outline], perspective={"corners": corners, "length": 3, "width": 2})
    else:
        given = picture(outlines=[{**outline, "corners": corners}])
    assert fields(refused(server, {"pictures": [given]}))[0].startswith(f"pictures[0].{part}.corners")


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e999"])
def test_a_point_that_is_not_a_number_is_refused(server: TestClient, number: str) -> None:
    body = f'{{"pictures": [{{"name": "top", "rows": [{{"points": [[1, 2], [3, {number}], [5, 6]]}}]}}]}}'
    assert fields(refused(server, body)) == [f"{ROW}.points[1][1]"]


def test_errors_of_all_pictures_are_reported_at_once(server: TestClient) -> None:
    wrong = [
        picture(name="a", rows=[{"points": clicked([0, 1])}]),
        picture(),
        picture(name="c", scale={"px_per_mm": 0}),
    ]
    assert fields(refused(server, {"pictures": wrong})) == ["pictures[0].rows[0].points", "pictures[2].scale.px_per_mm"]


@pytest.mark.parametrize(
    ("body", "meant"),
    [
        ({"picture": []}, "'pictures'"),
        ({"pictures": [{"name": "top", "row": []}]}, "'rows'"),
        ({"pictures": [picture(rows=[{"point": []}])]}, "'points'"),
        ({"pictures": [picture(perspective={"corner": []})]}, "'corners'"),
        ({"pictures": [picture(scale={**SCALE, "length": 10})]}, "'length_mm'"),
        ({"readings": [{"feature": "pitch", "value": 0.4, "span": 3}]}, "'spans'"),
    ],
)
def test_a_misspelt_field_is_refused_with_a_suggestion(server: TestClient, body: Any, meant: str) -> None:
    remedies = [error["remedy"] for error in refused(server, body)["errors"] if "not known" in error["message"]]
    assert len(remedies) == 1
    assert f"did you mean {meant}?" in remedies[0]


def test_a_body_not_declared_as_json_is_refused(server: TestClient) -> None:
    response = server.post("/v1/measure", content=b"{}", headers={"Content-Type": "image/png"})
    assert (response.status_code, response.json()["type"]) == (415, "/problems/unsupported-content")


def test_larger_bodies_are_not_accepted_here(server: TestClient) -> None:
    response = server.post("/v1/measure", content=b" " * 2_000_000, headers={"Content-Type": "application/json"})
    assert (response.status_code, response.json()["type"]) == (413, "/problems/body-too-large")
