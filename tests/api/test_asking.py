"""The dialogue: it asks for what tells most, loses nothing that was taken, and ends settled on the right half."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from typer.testing import CliRunner

from api.asking import Dialogue, Question
from api.cli import app
from api.problems import ApiError
from api.schemas.requests import AskRequest
from api.shortform import ShortFormError
from catalog.entries import Half
from catalog.snapshot import Snapshot
from matcher.errors import ObservationErrors
from matcher.features import FEATURES, Kind

AT_HAND = ("caliper", "caliper_on_board", "microscope")


def begun(snapshot: Snapshot, **options: object) -> Dialogue:
    return Dialogue(snapshot=snapshot, request=AskRequest.model_validate({"at_hand": AT_HAND, **options}))


def asked_by(dialogue: Dialogue) -> Question:
    measurements, further = dialogue.advice()
    return Question(advised=measurements[0], open_bits=further.open_bits)


def reading_of(half: Half, feature: str) -> str:
    """What a person would type who measures the half perfectly; empty where it cannot be told."""
    kind = FEATURES[feature].kind
    if kind is Kind.DIMENSION:
        return str(half.dimensions[feature].value) if feature in half.dimensions else ""
    if kind is Kind.COUNT:
        counts = {**half.counts, "contact_count": half.contact_count, "rows": half.rows}
        return str(counts[feature]) if feature in counts else ""
    if feature == "half_kind":
        return half.half_kind or ""
    return ",".join(half.categories.get(feature, ()))


@pytest.mark.parametrize("key", ["ouzelby:mossipet-p24", "wrenstubble:chifferel-r60-c"])
def test_answering_truly_ends_settled_on_the_half(snapshot: Snapshot, key: str) -> None:
    half, dialogue = snapshot.halves[key].half, begun(snapshot)
    for _ in range(25):
        measurements, further = dialogue.advice()
        if further.settled or not measurements:
            break
        question = Question(advised=measurements[0], open_bits=further.open_bits)
        line = reading_of(half, question.advised.feature)
        dialogue = dialogue.answered(question, line) if line else dialogue.without(question.advised.feature)
    found = dialogue.answer()
    assert found is not None
    first = found.candidates[0]
    assert key in {first.half.id, *(tied.id for tied in first.same_geometry)}
    assert found.further_measuring.settled
    assert len(dialogue.pieces) <= 8


def test_a_reading_is_taken_with_the_instrument_that_was_asked_for(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot, at_hand=["microscope"])
    question = asked_by(dialogue)
    while FEATURES[question.advised.feature].kind is not Kind.DIMENSION:
        dialogue = dialogue.without(question.advised.feature)
        question = asked_by(dialogue)
    taken = dialogue.answered(question, "6.6")
    assert taken.pieces == (f"{question.advised.feature}=6.6@microscope",)
    assert dialogue.answered(question, "6.6@photo").pieces == (f"{question.advised.feature}=6.6@photo",)


def test_anything_else_may_be_told_at_any_time(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot)
    taken = dialogue.answered(asked_by(dialogue), "height<=0.9")
    assert [given.feature for given in taken.request.observations] == ["height"]


@pytest.mark.parametrize("line", ["six", "-3", "rows=many", "nonsense=3"])
def test_what_makes_no_sense_is_refused_and_nothing_is_lost(snapshot: Snapshot, line: str) -> None:
    dialogue = begun(snapshot)
    kept = dialogue.answered(asked_by(dialogue), "rows=2")
    with pytest.raises((ShortFormError, ApiError, ObservationErrors)) as refused:
        kept.answered(asked_by(kept), line)
    assert str(refused.value)
    assert kept.pieces == ("rows=2",)


def test_what_cannot_be_told_is_not_asked_again(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot)
    feature = asked_by(dialogue).advised.feature
    assert asked_by(dialogue.without(feature)).advised.feature != feature


def test_the_last_reading_can_be_taken_back_but_not_what_was_known_before(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot, observations=[{"feature": "rows", "value": 2}])
    taken = dialogue.answered(asked_by(dialogue), "contact_count=24")
    assert taken.undone().request == dialogue.request
    assert taken.undone().undone() == taken.undone()


@pytest.fixture
def talk(demo_url: str) -> Callable[..., tuple[int, str]]:
    """Run the command with lines on standard input: exit code and what was printed."""

    def run(lines: str, *arguments: str) -> tuple[int, str]:
        result = CliRunner(env={"OTHERHALF_DATABASE": demo_url}).invoke(
            app, ["identify", "--ask", *arguments], input=lines
        )
        return result.exit_code, result.output

    return run


def test_the_terminal_asks_helps_takes_back_and_prints_the_way_back(talk: Callable[..., tuple[int, str]]) -> None:
    code, printed = talk("?\nbody_length=6.63\nback\nrows=2\nstop\n", "contact_count=24")
    assert code in (0, 3)
    assert "tells about" in printed
    assert "Also called" in printed
    assert "otherhalf identify contact_count=24 rows=2" in " ".join(printed.split())


def test_the_end_of_input_ends_the_dialogue_with_an_answer(talk: Callable[..., tuple[int, str]]) -> None:
    code, printed = talk("", "contact_count=24", "rows=2")
    assert code in (0, 3)
    assert "probability" in printed


def test_nothing_observed_is_no_answer(talk: Callable[..., tuple[int, str]]) -> None:
    code, printed = talk("stop\n")
    assert code == 3
    assert "Nothing was observed" in printed


def test_the_dialogue_needs_the_terminal_for_itself(talk: Callable[..., tuple[int, str]]) -> None:
    for arguments in (["--json"], ["--file", "-"]):
        code, printed = talk("", *arguments)
        assert code == 2
        assert "--ask" in printed


def test_an_instrument_that_nobody_knows_is_refused(talk: Callable[..., tuple[int, str]]) -> None:
    code, printed = talk("", "--at-hand", "calliper")
    assert code == 2
    assert "caliper" in printed


def test_an_empty_catalogue_has_nothing_to_ask(empty_url: str) -> None:
    result = CliRunner(env={"OTHERHALF_DATABASE": empty_url}).invoke(app, ["identify", "--ask"])
    assert result.exit_code == 3
    assert "empty" in result.output
