"""The dialogue asks for the most informative measurement, loses no reading, and settles on the right half."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.command_line.cli import app
from api.identification.dialogue import Dialogue, Question, pieces_in
from api.observations.short_form import ShortFormError
from api.observations.short_form_writing import arguments_of
from api.schemas.requests import AskRequest
from api.service.problems import ApiError
from catalog.model.entries import Half
from catalog.snapshot.snapshot import Snapshot
from matcher.errors import ObservationErrors
from matcher.features import FEATURES, Kind

AT_HAND = ("caliper", "caliper_on_board", "microscope")


def begun(snapshot: Snapshot, **options: object) -> Dialogue:
    return Dialogue(snapshot=snapshot, request=AskRequest.model_validate({"at_hand": AT_HAND, **options}))


def asked_by(dialogue: Dialogue) -> Question:
    question = dialogue.question()
    assert isinstance(question, Question)
    return question


def pieces_of(dialogue: Dialogue) -> list[str]:
    return [argument for argument in arguments_of(dialogue.request) if not argument.startswith("--")]


def reading_of(half: Half, feature: str) -> str:
    """The reply of a person who measures the half perfectly; empty where the value is unknown."""
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
def test_true_answers_settle_on_the_half(snapshot: Snapshot, key: str) -> None:
    half, dialogue = snapshot.halves[key].half, begun(snapshot)
    for _ in range(25):
        question = dialogue.question()
        if not isinstance(question, Question):
            break
        line = reading_of(half, question.advised.feature)
        dialogue = dialogue.answered(question, line) if line else dialogue.without(question.advised.feature)
    found = dialogue.answer()
    assert found is not None
    first = found.candidates[0]
    assert key in {first.half.id, *(tied.id for tied in first.same_geometry)}
    assert found.further_measuring.settled
    assert len(dialogue.request.observations) <= 8


def test_a_reading_is_recorded_with_the_instrument_of_the_question(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot, at_hand=["microscope"])
    question = asked_by(dialogue)
    while FEATURES[question.advised.feature].kind is not Kind.DIMENSION:
        dialogue = dialogue.without(question.advised.feature)
        question = asked_by(dialogue)
    taken = dialogue.answered(question, "6.6")
    assert pieces_of(taken) == [f"{question.advised.feature}=6.6@microscope"]
    assert pieces_of(dialogue.answered(question, "6.6@photo")) == [f"{question.advised.feature}=6.6@photo"]


def test_a_reading_in_pixels_is_not_recorded_with_an_instrument_that_cannot_read_pixels(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot, at_hand=["vernier"], observations=[{"feature": "contact_count", "value": 24}])
    assert pieces_of(dialogue.answered(dimension_asked_by(dialogue), "612px"))[1].endswith("=612.0px")


def dimension_asked_by(dialogue: Dialogue) -> Question:
    """The first question for a length."""
    while (question := asked_by(dialogue)).feature.kind is not Kind.DIMENSION:
        dialogue = dialogue.without(question.feature.name)
    return question


@pytest.mark.parametrize(
    ("line", "pieces"),
    [
        ("0.9", ["height=0.9"]),
        ("<=0.9", ["height<=0.9"]),
        ("1.2/2+less=0.21", ["height=1.2/2+less=0.21"]),
        ("other.height = 0.9", ["other.height = 0.9"]),
        ("rows=2 pins=24", ["rows=2", "pins=24"]),
        ("marking=T2 A", ["marking=T2 A"]),
    ],
)
def test_a_line_is_a_bare_reading_or_one_or_more_complete_pieces(line: str, pieces: list[str]) -> None:
    assert pieces_in(FEATURES["height"], line) == pieces


def test_a_length_with_the_same_second_reading_is_not_asked_for_a_third_time(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot, observations=[{"feature": "height", "value": 0.9}, {"feature": "rows", "value": 2}])
    question = asked_by(dialogue)
    again = replace(question, advised=question.advised.model_copy(update={"feature": "height", "again": True}))
    taken = dialogue.answered(again, "0.9")
    assert pieces_of(taken) == ["height=0.9,0.9", "rows=2"]
    assert "height" in taken.skipped


def test_a_repeated_count_changes_nothing_and_is_not_asked_for_again(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot, observations=[{"feature": "rows", "value": 2}])
    same = dialogue.answered(asked_by(dialogue), "rows=2")
    assert same.request == dialogue.request
    assert not same.taken
    assert same.skipped == {"rows"}


def test_any_other_observation_may_be_given_at_any_time(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot)
    taken = dialogue.answered(asked_by(dialogue), "height<=0.9")
    assert [given.feature for given in taken.request.observations] == ["height"]


@pytest.mark.parametrize("line", ["six", "-3", "rows=many", "nonsense=3", "rows=2 rows=many", "trial_fit=mates:NOBODY"])
def test_invalid_input_is_refused_and_nothing_is_lost(snapshot: Snapshot, line: str) -> None:
    dialogue = begun(snapshot)
    kept = dialogue.answered(asked_by(dialogue), "rows=2")
    with pytest.raises((ShortFormError, ApiError, ObservationErrors)) as refused:
        kept.answered(asked_by(kept), line)
    assert str(refused.value)
    assert pieces_of(kept) == ["rows=2"]


def test_a_feature_marked_as_unknown_is_not_asked_for_again(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot)
    feature = asked_by(dialogue).advised.feature
    assert asked_by(dialogue.without(feature)).advised.feature != feature


def test_the_last_reading_can_be_taken_back_but_not_the_initial_observations(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot, observations=[{"feature": "rows", "value": 2}])
    taken = dialogue.answered(asked_by(dialogue), "contact_count=24")
    assert taken.undone().request == dialogue.request
    assert taken.undone().undone() == taken.undone()


def test_marking_a_feature_as_unknown_can_be_taken_back(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot)
    skipped = dialogue.without("body_length")
    assert skipped.steps == 1
    assert skipped.undone() == dialogue


def test_a_feature_marked_as_unknown_is_not_advised_in_the_answer(snapshot: Snapshot) -> None:
    dialogue = begun(snapshot, observations=[{"feature": "contact_count", "value": 24}])
    feature = asked_by(dialogue).feature.name
    before, after = dialogue.answer(), dialogue.without(feature).answer()
    assert before is not None
    assert after is not None
    assert feature in {each.feature for each in before.next_measurements}
    assert feature not in {each.feature for each in after.next_measurements}


@pytest.fixture
def talk(demo_url: str) -> Callable[..., tuple[int, str]]:
    """Run the command with lines on standard input; returns the exit code and the output."""

    def run(lines: str, *arguments: str) -> tuple[int, str]:
        result = CliRunner(env={"OTHERHALF_DATABASE": demo_url}).invoke(
            app, ["identify", "--ask", *arguments], input=lines
        )
        return result.exit_code, result.output

    return run


def test_the_terminal_asks_explains_takes_back_and_prints_the_command_to_resume(
    talk: Callable[..., tuple[int, str]],
) -> None:
    code, printed = talk("?\nbody_length=6.63\nback\nrows=2\nstop\n", "contact_count=24")
    assert code in (0, 3)
    assert "of the doubt" in printed
    assert "Also called" in printed
    assert "otherhalf identify contact_count=24 rows=2" in " ".join(printed.split())


def test_the_terminal_names_the_reading_taken_back_and_continues_the_numbering(
    talk: Callable[..., tuple[int, str]],
) -> None:
    _, printed = talk("back\n\nback\nstop\n", "contact_count=24")
    assert "nothing to undo" in printed
    assert "not told" in printed
    assert printed.count("\n1. ") == 2


def test_a_slip_that_seems_to_settle_it_can_be_taken_back(talk: Callable[..., tuple[int, str]]) -> None:
    given = ("half_kind=plug", "pins=24", "rows=3", "height=6.63", "body_length=4")
    _, printed = talk("body_width=31\nback\nstop\n", *given)
    assert "Settled: it is almost certainly not in this catalogue" in printed
    assert "Undone: body_width=31." in printed
    assert "body_width" not in printed.rpartition("To get this answer again")[2]


@pytest.mark.parametrize("word", ["don't know", "don’t know", "-", "skip", ""])
def test_several_words_mean_unknown(talk: Callable[..., tuple[int, str]], word: str) -> None:
    _, printed = talk(f"{word}\nstop\n", "contact_count=24")
    assert "cannot be" not in printed
    assert "\n2. " in printed


def test_an_error_shows_what_was_typed(talk: Callable[..., tuple[int, str]]) -> None:
    _, printed = talk("body_length=-3\nstop\n", "contact_count=24")
    assert "  body_length=-3\n" in printed
    assert "observations[" not in printed


def test_a_reading_that_hardly_fits_is_questioned_at_once(talk: Callable[..., tuple[int, str]]) -> None:
    _, printed = talk("body_length=663\nstop\n", "contact_count=24", "rows=2", "pitch=4.41/11")
    assert "'back' undoes it" in printed


def test_an_interruption_loses_nothing(talk: Callable[..., tuple[int, str]], monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(prompt: str) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", interrupted)
    code, printed = talk("", "contact_count=24")
    assert code in (0, 3)
    assert "otherhalf identify contact_count=24" in printed


def test_the_command_to_resume_is_one_line_with_all_observations(
    talk: Callable[..., tuple[int, str]], tmp_path: Path, demo_url: str
) -> None:
    specimen = tmp_path / "specimen.json"
    specimen.write_text('{"observations": [{"feature": "rows", "value": 2}]}', encoding="utf-8")
    arguments = ["--prior-absent", "0.2", "--at-hand", "caliper", "--closed-jaws", "caliper=0.01,0.02"]
    _, printed = talk("stop\n", "pins=24", *arguments, "--file", str(specimen), "--database", demo_url)
    line = next(line for line in printed.splitlines() if line.startswith("To get this answer again"))
    assert shlex.split(line.partition(": ")[2]) == [
        *("otherhalf", "identify", "--database", demo_url, "--closed-jaws=caliper=0.01,0.02"),
        *("--prior-absent=0.2", "--at-hand=caliper", "rows=2", "contact_count=24"),
    ]


def test_the_end_of_input_ends_the_dialogue_with_an_answer(talk: Callable[..., tuple[int, str]]) -> None:
    code, printed = talk("", "contact_count=24", "rows=2")
    assert code in (0, 3)
    assert "probability" in printed


def test_without_observations_there_is_no_answer(talk: Callable[..., tuple[int, str]]) -> None:
    code, printed = talk("stop\n")
    assert code == 3
    assert "Nothing was observed" in printed


def test_the_dialogue_refuses_options_that_use_the_terminal(talk: Callable[..., tuple[int, str]]) -> None:
    for arguments in (["--json"], ["--file", "-"]):
        code, printed = talk("", *arguments)
        assert code == 2
        assert "--ask" in printed


def test_an_unknown_instrument_is_refused_by_the_dialogue(talk: Callable[..., tuple[int, str]]) -> None:
    code, printed = talk("", "--at-hand", "calliper")
    assert code == 2
    assert "caliper" in printed


def test_an_empty_catalogue_has_nothing_to_ask(empty_url: str) -> None:
    result = CliRunner(env={"OTHERHALF_DATABASE": empty_url}).invoke(app, ["identify", "--ask"])
    assert result.exit_code == 3
    assert "empty" in result.output
