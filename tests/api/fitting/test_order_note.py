"""The order note: what to order, what was not verified, soldering by tools, checks, and that all ways in agree."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from starlette.testclient import TestClient
from typer.testing import CliRunner

from api.command_line.cli import app
from api.fitting.needed import needed
from api.fitting.order_note import order_note
from api.fitting.soldering import soldering
from api.identification.mates import listed_mates
from api.schemas.fitting.needed import NeededRequest
from api.schemas.fitting.order_note import OrderNote, OrderNoteRequest
from api.schemas.words import WORST_CONTACTS
from api.service.problems import ApiError
from catalog.snapshot.snapshot import Snapshot
from tests.api.identification.test_required_mate import half

TOOLS = ["hot_air", "microscope"]
PLUG, MATE = "ouzelby:mossipet-p24", "ouzelby:mossipet-r24"
SEEN = ["contact_count=24", "rows=2", "pitch=4.41/11", "body_length=6.63", "body_width=1.99"]
OBSERVED: list[dict[str, Any]] = [
    {"feature": "contact_count", "value": 24},
    {"feature": "rows", "value": 2},
    {"feature": "pitch", "value": 4.41, "spans": 11},
    {"feature": "body_length", "value": 6.63},
    {"feature": "body_width", "value": 1.99},
]
HOLD_DOWNS = {"feature": "hold_down_count", "value": 4}


def note(snapshot: Snapshot, **given: Any) -> OrderNote:
    return order_note(snapshot, OrderNoteRequest.model_validate({"half": PLUG, **given}))


def test_it_orders_the_safest_mate_with_spares_and_what_codes_leave_open(snapshot: Snapshot) -> None:
    found = note(snapshot, observations=OBSERVED, tools=["hot_air", "microscope"])
    assert found.mate.id == MATE
    assert found.order[0] == "2 × Ouzelby MOSSIPET-R24 (1 to fit, 1 spare)"
    assert all(code in found.order[1] for code in found.mate.order_codes)
    assert "may differ in packing" in found.order[1]
    assert "Stack height with this half: 0.80 mm." in found.order


@pytest.mark.parametrize(
    ("quantity", "tools", "spares"),
    [
        (1, ["hot_air", "microscope"], 1),
        (4, ["hot_air", "microscope"], 1),
        (5, ["oven", "microscope"], 2),
        (5, None, 4),
    ],
)
def test_spares_grow_with_the_quantity_and_where_soldering_is_hard(
    snapshot: Snapshot, quantity: int, tools: list[str] | None, spares: int
) -> None:
    assert note(snapshot, quantity=quantity, tools=tools).spares == spares


def test_what_was_not_verified_is_said(snapshot: Snapshot) -> None:
    bare = note(snapshot)
    assert bare.probability is None
    assert bare.not_verified[0] == "Not measured on the half: contacts, rows, pitch, body length, body width."
    assert "Nobody said from what the half was identified." in bare.not_verified
    open_ = note(snapshot, observations=OBSERVED)
    assert "It is this half with a probability of 47.2 % only." in open_.not_verified
    assert not any(each.startswith("Not measured") for each in open_.not_verified)
    settled = note(snapshot, observations=[*OBSERVED, HOLD_DOWNS])
    assert not any("probability" in each for each in settled.not_verified)


def test_a_doubtful_mating_is_said_with_the_order(snapshot: Snapshot) -> None:
    swapped = next(each for each in snapshot.matings if each.mating.correspondence == "rows_swapped")
    found = note(snapshot, half=swapped.mating.half, mate=swapped.mating.other)
    assert any("rows swapped" in each.lower() for each in found.order)
    unknown = next(each for each in snapshot.matings if each.mating.correspondence == "unknown")
    told = note(snapshot, half=unknown.mating.half, mate=unknown.mating.other).not_verified
    assert "Which contact meets which: nobody stated it. Trace both boards." in told


def test_arrival_is_checked_against_the_mates_own_figures(snapshot: Snapshot) -> None:
    part = snapshot.halves[MATE].half
    expected = {each.feature: each.expected for each in note(snapshot).on_arrival}
    assert expected["contacts"] == str(part.contact_count)
    assert expected["body length"].startswith(f"{part.dimensions['body_length'].value:.3f} ± ")
    # 11 gaps of 0.4 mm; a drawing's pitch tolerance does not accumulate: 0.05 mm over all of them.
    assert expected["pitch"] == "4.400 ± 0.050 mm over 11 gaps (process tolerance)"
    assert "one dry mating, power off" in expected
    assert "contact 1" in expected


def surface(pitch: float, form: str | None = "gull_out", mounting: str = "surface_mount") -> Any:
    categories = {"mounting": [mounting], **({"tail_form": [form]} if form else {})}
    return half("A", "plug", dimensions={"pitch": pitch}, categories=categories).half


@pytest.mark.parametrize(
    ("part", "tools", "verdict"),
    [
        (surface(1.27), ["iron"], "yes"),
        (surface(0.8), ["iron"], "yes"),
        (surface(0.5), ["iron"], "yes"),
        (surface(0.4), ["iron"], "no"),
        (surface(0.4), ["iron", "microscope"], "hard"),
        (surface(0.4), ["hot_air"], "hard"),
        (surface(0.4), ["hot_air", "microscope"], "yes"),
        (surface(0.4), ["hot_plate", "iron"], "hard"),
        (surface(0.8, "under_body"), ["iron", "microscope"], "no"),
        (surface(0.8, "under_body"), ["oven"], "yes"),
        (surface(0.8, "ball", "ball_array"), ["iron"], "no"),
        (surface(0.8, None), ["iron"], "unknown"),
        (surface(2.54, "pin", "through_hole"), ["iron"], "yes"),
        (surface(0.8), ["microscope"], "no"),
        (surface(0.8), [], "no"),
        (surface(0.8), None, "unknown"),
    ],
)
def test_soldering_follows_from_pitch_tails_and_tools(part: Any, tools: list[str] | None, verdict: str) -> None:
    assert soldering(part, tools).verdict == verdict


def test_cautions_stand_by_stage(snapshot: Snapshot) -> None:
    assert list(note(snapshot).cautions) == ["before measuring", "before soldering", "before power", "in all work"]


@pytest.mark.parametrize(
    ("given", "field"),
    [({"half": "nobody:nothing"}, "half"), ({"mate": "ouzelby:mossipet-p24"}, "mate")],
)
def test_an_unknown_half_or_mate_is_refused_by_its_field(snapshot: Snapshot, given: dict[str, str], field: str) -> None:
    with pytest.raises(ApiError) as refused:
        note(snapshot, **given)
    assert [error.field for error in refused.value.errors] == [field]


def test_a_half_without_mates_leads_to_what_its_mate_must_be(snapshot: Snapshot) -> None:
    inferred = next(key for key, record in snapshot.halves.items() if record.origin == "inferred")
    with pytest.raises(ApiError) as refused:
        note(snapshot, half=inferred)
    assert "otherhalf mates" in refused.value.errors[0].remedy


def test_interface_page_command_and_pdf_tell_the_same(server: TestClient, demo_url: str, tmp_path: Path) -> None:
    body = {"half": PLUG, "observations": OBSERVED, "tools": ["iron"]}
    answered = server.post("/v1/order-note", json=body).json()
    run = CliRunner(env={"OTHERHALF_DATABASE": demo_url, "COLUMNS": "400"})
    pdf = tmp_path / "note.pdf"
    typed = ["order", PLUG, *SEEN, "--tools", "iron"]
    assert json.loads(run.invoke(app, [*typed, "--json"]).output) == answered
    shown = run.invoke(app, [*typed, "--pdf", str(pdf)])
    assert shown.exit_code == 0, shown.output
    query = [*(tuple(each.split("=", 1)) for each in SEEN), ("tools", "iron")]
    page = server.get(f"/halves/{PLUG}/order", params=query).text
    printed = " ".join(" ".join(each.extract_text().split()) for each in PdfReader(pdf).pages)
    for line in (*answered["order"], *answered["not_verified"], *answered["after_fitting"]):
        assert line in shown.output
        assert line in page.replace("&#39;", "'")
        assert line in printed
    served = server.get(f"/halves/{PLUG}/order.pdf", params=query)
    assert served.headers["content-type"] == "application/pdf"
    assert len(PdfReader(io.BytesIO(served.content)).pages) == len(PdfReader(pdf).pages)
    assert f"/halves/{PLUG.replace(':', '%3A')}/order?" in server.get("/", params=query[:-1]).text


def test_the_page_says_what_is_wrong_and_keeps_it(server: TestClient) -> None:
    for tail in ("/order", "/order.pdf"):
        page = server.get(f"/halves/{PLUG}{tail}", params={"quantity": "none"})
        assert page.status_code == 422
        assert 'value="none"' in page.text


def test_the_miswired_clone_never_stands_first_where_another_mate_is_listed(snapshot: Snapshot) -> None:
    worst = {each.mating.half for each in snapshot.matings if each.mating.correspondence in WORST_CONTACTS}
    tried = 0
    for key in sorted(worst):
        first, *others = listed_mates(snapshot, key)
        if any(mate.correspondence not in WORST_CONTACTS for mate in (first, *others)):
            tried += 1
            assert first.correspondence not in WORST_CONTACTS
            assert note(snapshot, half=key).mate.id == first.id
            assert needed(snapshot, NeededRequest(halves=(key,))).halves[0].mates[0].mate.id == first.id
    assert tried > 5
