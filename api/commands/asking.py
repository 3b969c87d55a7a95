"""``otherhalf identify --ask``: the terminal's side of the dialogue."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterator

from rich.console import RenderableType
from rich.text import Text

from api.answering import EMPTY_CATALOGUE
from api.asking import Dialogue, Question
from api.commands.common import OF_INPUT, show
from api.output import words
from api.output.advice import REASONS, help_blocks, question_blocks
from api.output.answers import answer_blocks
from api.output.console import plain
from api.output.problems import piece_lines, problem_lines
from api.problems import problem_of
from api.schemas.answers import Answer
from api.schemas.requests import AskRequest
from api.shortform import ShortFormError
from catalog.snapshot import Snapshot
from matcher.features import FEATURES

OPENING = (
    "I ask for what tells most. Answer as you read it, in mm or with its unit (6.52, 0.257in, 4.41/11).",
    "Enter alone: cannot tell.  ?: how to take it.  back: take the last one back.  stop: end here.",
    "Anything else you know goes in at any time, as in rows=2 or height<=0.9.",
)

SKIP, HELP, BACK, STOP = ("", "skip"), ("?", "help"), ("back", "undo"), ("stop", "quit", "exit")
"""Words that are no reading."""


def ask(snapshot: Snapshot, request: AskRequest, pieces: tuple[str, ...]) -> Answer | None:
    """Ask until it is settled, nothing is left to ask, or the person stops; then print the answer and return it.

    ``request`` holds what is known already, ``pieces`` the same in short form as far as it was typed so.
    """
    if not snapshot.halves:
        show([plain(EMPTY_CATALOGUE)])
        return None
    show([plain(line) for line in OPENING])
    dialogue = _talk(Dialogue(snapshot=snapshot, request=request))
    found = dialogue.answer()
    if found is None:
        show([plain(""), plain("Nothing was observed, so there is no answer.")])
        return None
    show([plain("")])
    show(answer_blocks(found))
    show(_again((*pieces, *dialogue.pieces)))
    return found


def _talk(dialogue: Dialogue) -> Dialogue:
    number = 1
    while True:
        measurements, further = dialogue.advice()
        if further.settled or not measurements:
            show([plain(""), Text(REASONS.get(further.reason, NOTHING_LEFT), style="bold")])
            return dialogue
        question = Question(advised=measurements[0], open_bits=further.open_bits)
        show(question_blocks(number, question.advised, question.open_bits))
        after = _reply(dialogue, question)
        if after is None:
            return dialogue
        if len(after.pieces) > len(dialogue.pieces):
            show(_standing(after))
        dialogue, number = after, number + 1


NOTHING_LEFT = "Nothing is left to ask that tells anything with what is at hand."


def _reply(dialogue: Dialogue, question: Question) -> Dialogue | None:
    """The dialogue after the person's next usable line; None to end it."""
    feature = FEATURES[question.advised.feature]
    while True:
        line = _line(f"   {feature.name} > ")
        if line is None or line.lower() in STOP:
            return None
        if line.lower() in SKIP:
            return dialogue.without(feature.name)
        if line.lower() in BACK:
            return dialogue.undone()
        if line.lower() in HELP:
            show(help_blocks(feature))
            continue
        try:
            return dialogue.answered(question, line)
        except ShortFormError as error:
            show(piece_lines(error.errors))
        except OF_INPUT as error:
            show(problem_lines(problem_of(error)))


def _line(prompt: str, read: Callable[[str], str] = input) -> str | None:
    """A line from the terminal or a pipe; None at its end, or where the person interrupts."""
    try:
        return read(prompt).strip()
    except (EOFError, KeyboardInterrupt):
        show([plain("")])
        return None


def _standing(dialogue: Dialogue) -> Iterator[RenderableType]:
    """Where it stands after a reading: one line."""
    found = dialogue.answer()
    if found is None or not found.candidates:
        return
    first, absent = found.candidates[0], words.percent(found.probability_absent)
    leader = f"{words.half_name(first.half)} {words.percent(first.probability)}"
    yield plain(f"   Likeliest now: {leader}; {words.NOT_HERE} {absent}.")


def _again(pieces: tuple[str, ...]) -> Iterator[RenderableType]:
    """The command that gives the same answer without asking."""
    if pieces:
        yield plain("")
        yield plain("To come back to this: " + shlex.join(["otherhalf", "identify", *pieces]))
