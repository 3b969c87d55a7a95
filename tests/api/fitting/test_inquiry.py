"""The inquiry about a half that is not in the catalogue: figures, what it is not, text, drawing, page and command."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner

from api.command_line.cli import app
from api.fitting.inquiry import inquiry
from api.schemas.fitting.inquiry import Inquiry
from api.schemas.requests import IdentifyRequest
from catalog.snapshot.snapshot import Snapshot
from seeds_demo.loader import demo_specimens

(ABSENT,) = [each for each in demo_specimens() if each.name == "absent"]
TRIED = "ouzelby:mossipet-p24"
TYPED = ["contact_count=46", "rows=2", "half_kind=plug", "pitch=9.86/22", "body_length=13.25", f"trial_fit=not:{TRIED}"]


def made(snapshot: Snapshot, observations: list[dict[str, Any]]) -> Inquiry:
    return inquiry(snapshot, IdentifyRequest.model_validate({"observations": observations}))


def test_every_observation_is_told_and_lengths_with_their_interval(snapshot: Snapshot) -> None:
    found = made(snapshot, ABSENT.observations)
    assert len(found.figures) == len(ABSENT.observations)
    by_feature = {each.feature: each for each in found.figures}
    assert by_feature["contact_count"].found == ""
    assert by_feature["body_length"].found == "13.245 mm ± 0.047 mm (95 %)"
    # 9.8633 mm over 22 gaps; a pitch has a digit more.
    assert by_feature["pitch"].found.startswith("0.4483 mm ± ")


def test_the_mate_follows_from_what_was_measured(snapshot: Snapshot) -> None:
    told = {each.feature: each for each in made(snapshot, ABSENT.observations).required}
    assert told["half_kind"].value == "receptacle"
    assert told["contact_count"].value == 46
    assert told["opening_length"].least == pytest.approx(13.245)
    assert made(snapshot, [{"feature": "contact_count", "value": 46}]).required == ()


def test_what_it_is_not_names_what_the_entries_state_and_what_was_tried(snapshot: Snapshot) -> None:
    tried = {"feature": "trial_fit", "value": {"half": TRIED, "mates": False}}
    found = made(snapshot, [*ABSENT.observations, tried])
    assert found.probability_absent > 0.99
    assert all(each.why.startswith("its entry states ") for each in found.excluded[:-1])
    assert (found.excluded[-1].half.id, found.excluded[-1].why) == (
        "ouzelby:mossipet-p24",
        "tried, and it did not mate",
    )
    # The count of each of them is another one, and is named.
    assert any("contacts 48" in each.why for each in found.excluded)


def test_the_text_holds_everything_and_asks_for_what_is_missing(snapshot: Snapshot) -> None:
    found = made(snapshot, ABSENT.observations)
    for figure in found.figures:
        assert figure.given in found.text
        assert figure.found in found.text
    for each in found.excluded:
        assert f"{each.half.maker} {each.half.part_number}: {each.why}" in found.text
    assert "with a probability of 99.9 % it is none of them" in found.text
    assert found.text.rstrip().endswith("which contact meets which.")


def test_the_drawing_is_svg_and_leaves_out_a_size_that_contradicts_the_others(snapshot: Snapshot) -> None:
    plain = made(snapshot, ABSENT.observations)
    assert ElementTree.fromstring(plain.drawing).tag.endswith("svg")
    assert "13.245" in plain.drawing or "13.24" in plain.drawing
    narrow = [each for each in ABSENT.observations if each["feature"] != "body_length"]
    narrow.append({"feature": "body_length", "value": 1.0})
    assert ElementTree.fromstring(made(snapshot, narrow).drawing).tag.endswith("svg")


def test_pixels_without_a_scale_are_told_as_they_are(snapshot: Snapshot) -> None:
    seen = [{"feature": "pitch", "value": 612, "unit": "px", "spans": 14, "instrument": "unscaled_photo"}]
    (figure,) = made(snapshot, seen).figures
    assert figure.found == ""
    assert "612" in figure.given


def test_interface_page_and_command_give_the_same(server: TestClient, demo_url: str, tmp_path: Path) -> None:
    answered = server.post("/v1/inquiry", json={"observations": ABSENT.observations}).json()
    page = server.get("/inquiry", params=[tuple(each.split("=", 1)) for each in TYPED]).text
    run = CliRunner(env={"OTHERHALF_DATABASE": demo_url, "COLUMNS": "200"})
    svg = tmp_path / "half.svg"
    shown = run.invoke(app, ["inquiry", *TYPED, "--drawing", str(svg)])
    assert shown.exit_code == 0, shown.output
    assert svg.read_text(encoding="utf-8").startswith("<svg")
    for line in ("What its mate must be", "What it is not", "tried, and it did not mate"):
        assert line in shown.output
        assert line in page
    assert "What its mate must be" in answered["text"]
    again = run.invoke(app, ["inquiry", *TYPED, "--drawing", str(svg)])
    assert again.exit_code != 0
    assert "exists already" in again.output
    as_json = json.loads(run.invoke(app, ["inquiry", *TYPED, "--json"]).output)
    assert [each["feature"] for each in as_json["figures"]] == [piece.split("=")[0] for piece in TYPED]


def test_without_observations_the_page_leads_to_the_bench(server: TestClient) -> None:
    page = server.get("/inquiry")
    assert page.status_code == 200
    assert "Nothing is measured yet" in page.text
    assert "Left out: height “six”" in server.get("/inquiry?height=six").text


def test_no_match_says_how_to_ask_others(server: TestClient, demo_url: str) -> None:
    run = CliRunner(env={"OTHERHALF_DATABASE": demo_url, "COLUMNS": "200"})
    assert "otherhalf inquiry" in run.invoke(app, ["identify", *TYPED, "body_width=3.2", "height=1.67"]).output
    assert "/inquiry?contact_count=46" in server.get("/?contact_count=46&rows=2&pitch=9.86/22").text


MARKED = {
    "pictures": [
        {
            "name": "photo",
            "rows": [{"points": [[40, 212], [90.5, 212], [141, 213]]}],
            "outlines": [{"corners": [[10, 10], [200, 10], [200, 90], [10, 90]], "along": "body_length"}],
            "segments": [{"start": [0, 5], "end": [9, 5], "feature": "tail_span"}],
            "scale": {"start": [30, 700], "end": [1304, 701], "length_mm": 10},
        }
    ]
}
MARKS = [
    "photo: contacts of a row at (40, 212) (90.5, 212) (141, 213)",
    "photo: corners of body length at (10, 10) (200, 10) (200, 90) (10, 90)",
    "photo: span over the tails from (0, 5) to (9, 5)",
    "photo: scale, 10 mm from (30, 700) to (1304, 701)",
]


def test_what_was_marked_in_a_photo_is_told_point_by_point(server: TestClient, demo_url: str, tmp_path: Path) -> None:
    answered = server.post("/v1/inquiry", json={"observations": ABSENT.observations, **MARKED}).json()
    assert answered["marks"] == MARKS
    saved = tmp_path / "measure.json"
    saved.write_text(json.dumps(MARKED), encoding="utf-8")
    run = CliRunner(env={"OTHERHALF_DATABASE": demo_url, "COLUMNS": "200"})
    shown = run.invoke(app, ["inquiry", *TYPED, "--marks", str(saved)]).output
    for mark in MARKS:
        assert mark in answered["text"]
        assert mark in shown
    saved.write_text('{"pictures": [{"name": "p", "segments": [{"start": [1], "end": [2, 2], "feature": "x"}]}]}')
    refused = run.invoke(app, ["inquiry", *TYPED, "--marks", str(saved)])
    assert refused.exit_code != 0
    assert "pictures[0].segments[0].start" in refused.output
