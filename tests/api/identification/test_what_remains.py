"""A bare board, a torn-off half, a piece: only what is left is asked for; what is cut short counts as "at least"."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner

from api.command_line.cli import app
from api.identification.answering import answer, ranking_of
from api.identification.dialogue import Dialogue, Question
from api.observations.short_form import parse_pieces
from api.observations.short_form_writing import arguments_of
from api.schemas.requests import AskRequest, IdentifyRequest
from api.schemas.words import REMAINS_ADVICE, REMAINS_WORDS
from catalog.cases.confirmation import evidence_of
from catalog.snapshot.snapshot import Snapshot
from matcher.errors import ObservationErrors
from matcher.features import FEATURES, Remains
from matcher.observations import Observation
from matcher.uncertainty.instruments import BUILT_IN
from tests.api.identification.test_dialogue import reading_of

PIECE = ("contact_count=9", "rows=2", "pitch=3.2/8", "body_width=2.5", "body_length=4.1", "height=0.9")
"""What is left of a receptacle of the demo: nine contacts."""

AS_BOUNDS = ("contact_count=9..", "rows=2", "pitch=3.2/8", "body_width=2.5", "body_length=4.1..", "height=0.9")

GONE = {
    Remains.BARE_BOARD: {
        "body_length",
        "body_width",
        "height",
        "half_kind",
        "tail_span",
        "overall_length",
        "stack_height",
    },
    Remains.TORN_OFF: {"overall_length", "tail_span", "tail_form", "hold_down_form"},
    Remains.ONE_END_MISSING: {
        "contact_count",
        "body_length",
        "overall_length",
        "hold_down_land_span",
        "hold_down_count",
    },
}
"""Some of what is not left."""

LEFT = {
    Remains.BARE_BOARD: {
        "contact_count",
        "rows",
        "tail_pitch",
        "land_span",
        "land_width",
        "peg_hole_diameter",
        "mounting",
    },
    Remains.TORN_OFF: {"contact_count", "body_length", "body_width", "height", "land_span"},
    Remains.ONE_END_MISSING: {"rows", "pitch", "body_width", "height", "land_span", "half_kind"},
}


def asked(*pieces: str, **more: Any) -> IdentifyRequest:
    return IdentifyRequest.model_validate({"observations": parse_pieces(pieces), **more})


def test_each_way_to_be_left_has_words() -> None:
    assert set(REMAINS_WORDS) == set(REMAINS_ADVICE) == {each.value for each in Remains}


@pytest.mark.parametrize("remains", GONE)
def test_the_feature_table_says_what_is_left(remains: Remains) -> None:
    left = {name for name, feature in FEATURES.items() if feature.left_on(remains)}
    assert not GONE[remains] & left
    assert LEFT[remains] <= left
    assert all(feature.left_on(Remains.WHOLE) for feature in FEATURES.values())


@pytest.mark.parametrize("remains", GONE)
@pytest.mark.parametrize("key", ["ouzelby:mossipet-p24", "wrenstubble:chifferel-r60-c"])
def test_a_dialogue_to_its_end_never_asks_for_what_is_gone(snapshot: Snapshot, key: str, remains: Remains) -> None:
    half, tools = snapshot.halves[key].half, [*BUILT_IN]
    dialogue = Dialogue(snapshot=snapshot, request=AskRequest(at_hand=tuple(tools), remains=remains))
    names = list[str]()
    while isinstance(question := dialogue.question(), Question):
        names.append(question.feature.name)
        line = reading_of(half, names[-1])
        dialogue = dialogue.answered(question, line) if line else dialogue.without(names[-1])
    assert len(names) >= 3
    assert all(FEATURES[name].left_on(remains) for name in names)
    found = dialogue.answer()
    assert found is not None
    assert half.series in {each.series for each in found.series}, "the true series is among those named"


def test_advice_of_an_answer_keeps_to_what_is_left(snapshot: Snapshot) -> None:
    pieces = ("contact_count=24", "rows=2", "land_span=2.9@microscope")
    whole = answer(snapshot, asked(*pieces))
    board = answer(snapshot, asked(*pieces, remains="bare_board"))
    assert any(not FEATURES[each.feature].on_bare_board for each in whole.next_measurements)
    assert board.next_measurements
    assert all(FEATURES[each.feature].on_bare_board for each in board.next_measurements)
    assert board.candidates == whole.candidates, "what is left changes the advice, not the evidence"


def test_a_piece_counts_as_at_least_what_is_left(snapshot: Snapshot) -> None:
    piece = ranking_of(snapshot, asked(*PIECE, remains="one_end_missing"))
    bounds = ranking_of(snapshot, asked(*AS_BOUNDS))
    assert [each.half.id for each in piece.candidates] == [each.half.id for each in bounds.candidates]
    assert piece.probability_absent == pytest.approx(bounds.probability_absent, rel=1e-9)
    assert ranking_of(snapshot, asked(*PIECE)).candidates[0].half.id != piece.candidates[0].half.id


def test_bounds_of_a_piece_stay_as_they_were_given(snapshot: Snapshot) -> None:
    pieces = (*AS_BOUNDS[:4], "body_length=4.1..7.0", "height=0.9")
    piece, whole = (ranking_of(snapshot, asked(*pieces, remains=each)) for each in ("one_end_missing", "whole"))
    assert piece.candidates == whole.candidates


def test_series_have_the_sum_of_their_halves(snapshot: Snapshot) -> None:
    found = ranking_of(snapshot, asked(*PIECE, remains="one_end_missing", limit=100))
    by_series: dict[str, float] = {}
    for each in found.candidates:
        alike = [each.half, *each.same_geometry]
        assert len({half.series for half in alike}) == 1, "else a candidate's probability would have to be split"
        by_series[each.half.series] = by_series.get(each.half.series, 0.0) + each.probability
    missing = 1 - found.probability_absent - sum(each.probability for each in found.candidates)
    first = found.series[0]
    assert first.series == "Seeplet"
    assert by_series[first.series] <= first.probability + 1e-9 <= by_series[first.series] + missing + 2e-9
    assert first.probability > 5 * found.candidates[0].probability
    assert [each.probability for each in found.series] == sorted(
        (each.probability for each in found.series), reverse=True
    )


def test_a_length_of_a_piece_needs_a_scale(snapshot: Snapshot) -> None:
    pieces = ("body_width=250px", "body_length=410px")
    with pytest.raises(ObservationErrors) as refused:
        ranking_of(snapshot, asked(*pieces, remains="one_end_missing"))
    (error,) = refused.value.errors
    assert error.field == "observations[1].unit"
    assert "scale" in error.remedy
    assert ranking_of(snapshot, asked(*pieces)).candidates


def test_the_interface_says_what_remains_and_refuses_other_words(server: TestClient) -> None:
    body = {"observations": parse_pieces(PIECE), "remains": "one_end_missing"}
    found = server.post("/v1/identify", json=body).json()
    assert found["remains"] == "one_end_missing"
    assert {"maker", "series", "probability", "half"} == set(found["series"][0])
    refused = server.post("/v1/identify", json=body | {"remains": "crumbs"})
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["field"] == "remains"


def test_the_command_names_the_series_of_a_piece_and_can_be_repeated(demo_url: str) -> None:
    arguments = ["identify", "--database", demo_url, "--remains=one_end_missing", *PIECE]
    found = CliRunner().invoke(app, arguments)
    assert "By series: Pipitholt Seeplet (" in found.output
    assert "--remains=one_end_missing" in arguments_of(asked(*PIECE, remains="one_end_missing"))
    assert "--remains" not in " ".join(arguments_of(asked(*PIECE)))


def test_the_dialogue_begins_with_what_remains(demo_url: str) -> None:
    def said(*more: str) -> str:
        found = CliRunner().invoke(app, ["identify", "--ask", "--database", demo_url, *more], input="stop\n")
        return " ".join(found.output.split())

    assert "say so with --remains" in said()
    assert REMAINS_ADVICE["bare_board"] in said("--remains", "bare_board")


def test_the_bench_keeps_what_remains_in_its_address(server: TestClient) -> None:
    board = "/?contact_count=24&rows=2&remains=bare_board"
    page = server.get(board).text
    assert '<option value="bare_board" selected>' in page
    assert REMAINS_ADVICE["bare_board"] in page
    assert (
        server.get("/?contact_count=24&remains=whole", follow_redirects=False).headers["location"]
        == "/?contact_count=24"
    )
    wrong = server.get("/?contact_count=24&remains=bare_bord").text
    assert "id you mean &#39;bare_board&#39;?" in wrong


def test_a_piece_confirms_no_length_along_its_rows() -> None:
    seen = [
        Observation(feature="body_length", value=4.1, instrument="caliper"),
        Observation(feature="contact_count", value=9),
        Observation(feature="body_width", value=2.5, instrument="caliper"),
    ]
    whole, piece = evidence_of(seen), evidence_of(seen, BUILT_IN, Remains.ONE_END_MISSING)
    assert {each.feature for each in whole.values} == {"body_length", "contact_count", "body_width"}
    assert [each.feature for each in piece.values] == ["body_width"]
    assert all("a piece shows only a part of it" in told for told in piece.left_out)
