"""``otherhalf identify --ask``: the terminal's side of the dialogue."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Iterator
from contextlib import suppress

from rich.console import RenderableType
from rich.text import Text

from api.command_line.commands.common import OF_INPUT, show
from api.command_line.output.advice import help_blocks, question_blocks
from api.command_line.output.answers import answer_blocks, hint_line
from api.command_line.output.console import indented, piece_lines, plain, problem_lines
from api.identification import answer_words as words
from api.identification.answering import EMPTY_CATALOGUE
from api.identification.dialogue import Dialogue, Question, pieces_in
from api.observations.short_form import ShortFormError
from api.observations.short_form_writing import arguments_of
from api.schemas.answers import Answer
from api.schemas.requests import AskRequest
from api.schemas.words import NOT_HERE, REASON_WORDS, REMAINS_ADVICE
from api.service.problems import problem_of
from catalog.snapshot.snapshot import Snapshot
from matcher.results import Reason

with suppress(ImportError):  # where the system has it, input() gets arrow keys and earlier lines
    import readline  # noqa: F401

OPENING = (
    "Each question is the most useful measurement now. Answer in mm or with a unit (6.52, 0.257in, 4.41/11).",
    "Enter alone: cannot tell.  ?: how to measure it.  back: undo the last step.  stop: end here.",
    "You can give other observations at any time, for example rows=2 or height<=0.9.",
)

OTHERWISE = "If only a bare board, a torn-off half or a piece is left, say so with --remains."

SKIP = ("", "skip", "don't know", "dont know", "do not know", "cannot tell", "can't tell", "no idea", "-")
HELP, BACK, STOP = ("?", "help"), ("back", "undo"), ("stop", "quit", "exit")
"""Words that are commands, not readings."""

NOTHING_LEFT = "No further measurement that you can take would help."


def ask(snapshot: Snapshot, request: AskRequest, database: str | None = None) -> Answer | None:
    """Ask until the answer is settled, nothing is left to ask or the person stops; then print and return the answer.

    ``request`` holds what is known already; ``database`` is the value of ``--database``.
    """
    if not snapshot.halves:
        show([plain(EMPTY_CATALOGUE)])
        return None
    beginning = REMAINS_ADVICE[request.remains]
    show([plain(line) for line in (*OPENING, beginning or OTHERWISE)])
    dialogue = _talk(Dialogue(snapshot=snapshot, request=request))
    found = dialogue.answer()
    if found is None:
        show([plain(""), plain("Nothing was observed, so there is no answer.")])
        return None
    show([plain("")])
    show(answer_blocks(found))
    _print_way_back(dialogue.request, database)
    return found


def _talk(dialogue: Dialogue) -> Dialogue:
    """Ask questions until the end. Ctrl-C ends the dialogue as "stop" does; nothing is lost."""
    while True:
        try:
            after = _step(dialogue)
        except KeyboardInterrupt:
            show([plain("")])
            return dialogue
        if after is None:
            return dialogue
        dialogue = after


def _step(dialogue: Dialogue) -> Dialogue | None:
    """Print the state of the dialogue, ask the next question and take its answer; None at the end."""
    if dialogue.taken:
        show(_standing(dialogue))
    question = dialogue.question()
    if not isinstance(question, Question):
        asked_all = question.reason is Reason.KEEP_MEASURING
        show([plain(""), Text(NOTHING_LEFT if asked_all else REASON_WORDS[question.reason], style="bold")])
        return _reconsidered(dialogue)
    show(question_blocks(dialogue.steps + 1, question.advised, question.further))
    return _reply(dialogue, question)


def _reconsidered(dialogue: Dialogue) -> Dialogue | None:
    """The dialogue without its last step if the person undoes it (a wrong reading must not end it); else None."""
    line = None if dialogue.before is None else _line("   Enter: see the answer.  back: undo the last step > ")
    if line is None or line.lower() not in BACK:
        return None
    show([indented(f"Undone: {dialogue.said}.", 3)])
    return dialogue.undone()


def _reply(dialogue: Dialogue, question: Question) -> Dialogue | None:
    """The dialogue after the person's next usable line; None to end it."""
    feature = question.feature
    while True:
        line = _line(f"   {feature.name} > ")
        word = None if line is None else line.lower().replace("’", "'")
        if line is None or word in STOP:
            return None
        if word in SKIP:
            return dialogue.without(feature.name)
        if word in HELP:
            show(help_blocks(feature))
        elif word in BACK and dialogue.before is None:
            show([indented("There is nothing to undo.", 3)])
        elif word in BACK:
            show([indented(f"Undone: {dialogue.said}.", 3)])
            return dialogue.undone()
        elif (after := _answered(dialogue, question, line)) is not None:
            return after


def _answered(dialogue: Dialogue, question: Question, line: str) -> Dialogue | None:
    """The dialogue after a line of observations; None, with the errors printed, if the line cannot be used."""
    try:
        after = dialogue.answered(question, line)
    except ShortFormError as error:
        show(piece_lines(error.errors))
    except OF_INPUT as error:
        pieces = pieces_in(question.feature, line)
        show(problem_lines(problem_of(error), pieces, len(dialogue.request.observations)))
    else:
        if not after.taken:
            show([indented("You gave this observation before; it counts once.", 3)])
        return after
    return None


def _line(prompt: str) -> str | None:
    """A line from the terminal or a pipe; None at its end."""
    try:
        return input(prompt).strip()
    except EOFError:
        show([plain("")])
        return None


def _standing(dialogue: Dialogue) -> Iterator[RenderableType]:
    """The answer after a reading, and what may be wrong with the reading if it hardly fits."""
    found = dialogue.answer()
    if found is None or not found.candidates:
        return
    first, absent = found.candidates[0], words.percent(found.probability_absent)
    leader = f"{words.half_name(first.half)} {words.percent(first.probability)}"
    yield indented(f"Likeliest now: {leader}; {NOT_HERE} {absent}.", 3)
    yield from (indented(doubt, 3) for doubt in _doubts(dialogue, found))


def _doubts(dialogue: Dialogue, found: Answer) -> Iterator[str]:
    """What may be wrong with the last reading."""
    last = len(dialogue.request.observations) - 1
    hints = [hint_line(hint) for hint in found.hints if last in hint.indices]
    slips = [
        f"{words.feature_label(line.feature, line.of)} {words.measured(line)}: likely slip, {line.slip}."
        for line in found.candidates[0].evidence
        if line.index == last and line.slip
    ]
    yield from hints or slips
    if hints or slips:
        yield "If you mistyped it, 'back' undoes it."


def _print_way_back(request: AskRequest, database: str | None) -> None:
    """Print the command that gives the same answer without questions, on one line, so that it can be copied."""
    where = [] if database is None else ["--database", database]
    command = shlex.join(["otherhalf", "identify", *where, *arguments_of(request)])
    own = " (your own figures of instruments are missing: give them by --file)" if request.instruments else ""
    sys.stdout.write(f"\nTo get this answer again{own}: {command}\n")
