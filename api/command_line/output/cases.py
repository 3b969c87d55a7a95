"""Printed cases."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.console import bullet, indented, plain, table
from api.command_line.output.records import moment
from api.identification import answer_words as words
from api.observations.short_form_writing import arguments_of
from api.operations.case_ranking import Ranked
from api.schemas.cases import CaseItem, CaseOut, CommentOut, asked_of
from api.schemas.words import NOT_HERE
from catalog.cases.specimens import Judged, Specimen, Summary
from matcher.results import VERDICT_WORDS


def case_table(cases: Sequence[CaseItem]) -> RenderableType:
    """A table of cases."""
    rows = table("key", "title", "state", "answer", "changed", whole=("key", "state", "changed"))
    for case in cases:
        state = case.state if case.visibility == "public" else f"{case.state}, private"
        rows.add_row(case.key, plain(case.title), state, plain(answer_line(case.answer)), moment(case.changed_since))
    return rows


def answer_line(answer: Summary) -> str:
    """An answer in a few words."""
    if answer.verdict == "no_match" or not answer.halves:
        return f"no match ({NOT_HERE}: {words.percent(answer.probability_absent)})"
    return f"{VERDICT_WORDS[answer.verdict]}: {answer.leader}, {words.percent(answer.probability or 0.0)}"


def case_blocks(case: CaseOut) -> Iterator[RenderableType]:
    """One case in full."""
    yield Text(case.title, style="bold")
    yield plain(f"{case.state}, {case.visibility}, revision {case.revision}; by {case.author}, {moment(case.added_at)}")
    if note := case.specimen.get("note"):
        yield plain(note)
    yield plain("")
    yield from _answer(case)
    yield from _solution(case)
    yield from _comments(case.comments)
    yield plain("")
    yield plain("For the full answer:")
    kept = asked_of(Specimen.model_validate(case.specimen))
    yield plain(f"  {shlex.join(['otherhalf', 'identify', *arguments_of(kept)])}")


def _answer(case: CaseOut) -> Iterator[RenderableType]:
    answer = case.answer
    yield plain(f"{answer_line(answer)}, by version {answer.catalogue_version} of the catalogue")
    others = [half.part_number for half in answer.halves[1:]]
    if others:
        yield plain(words.alike(others, answer.alike - 1))
    yield from (bullet(f"not used: {each}") for each in answer.passed_over)
    if case.changed_since:
        yield Text(f"The answer changed at {moment(case.changed_since)}:", style="bold")
        yield from (bullet(each) for each in case.changes)


def _solution(case: CaseOut) -> Iterator[RenderableType]:
    if case.solution is None:
        return
    because = f": {case.solution.reason}" if case.solution.reason else ""
    yield Text(f"Solved by {case.solution.accepted_by}: it is {case.solution.half}{because}", style="bold")
    if case.solution.confirmation:
        yield plain(f"Its measurements are now evidence about that half ({case.solution.confirmation}).")
    yield from (bullet(f"left out: {each}") for each in case.solution.left_out)


def _comments(comments: Sequence[CommentOut]) -> Iterator[RenderableType]:
    for each in comments:
        yield plain("")
        suggests = f" suggests {each.half}" if each.half else ""
        yield plain(f"{each.author}{suggests}, {moment(each.added_at)} ({each.key}):")
        yield indented(each.text, 2)
        if each.judged is not None:
            yield indented(judged_line(each.judged), 2)


def judged_line(judged: Judged) -> str:
    """The rank of a suggested half."""
    return f"Rank {judged.rank}, {words.percent(judged.probability)}."


def ranked_blocks(ranked: Sequence[Ranked]) -> Iterator[RenderableType]:
    """The result of ranking open cases again."""
    changed = [each for each in ranked if each.changes]
    counted = "1 open case" if len(ranked) == 1 else f"{len(ranked)} open cases"
    yield plain(f"{counted} ranked again; {len(changed)} changed.")
    for each in changed:
        yield plain("")
        yield plain(f"{each.title} ({each.key})")
        yield from (bullet(change) for change in each.changes)
    for each in (one for one in ranked if one.fault):
        yield bullet(f"{each.title} ({each.key}) could not be ranked: {each.fault}")
