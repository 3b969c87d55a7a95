"""Printed answers: an identification and an explanation."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.advice import advice_blocks
from api.command_line.output.console import notes, plain, table
from api.identification import answer_words as words
from api.identification.cautions import BY_STAGE, SHORT_CAUTIONS
from api.schemas.answers import Answer, Candidate, ExplainAnswer, Hint, Recheck, RequiredMate
from api.schemas.words import NOT_HERE
from matcher.plus_minus import PROCESS, STANDARD
from matcher.results import Verdict

SHOWN_MATES = 6
"""Mates listed for the first candidate; the others are counted, and the JSON answer has them."""

UNSPOKEN = ("no information", "before measuring")
"""Readings shown as an empty cell."""


def answer_blocks(answer: Answer, *, brief: bool = False) -> Iterator[RenderableType]:
    """The answer from the verdict to the cautions. ``brief`` leaves out hints and cautions."""
    yield from headline(answer)
    if answer.candidates:
        yield _candidates(answer)
        yield from map(plain, words.order_set(answer))
        yield from _first(answer.candidates[0])
    if answer.required_mate is not None:
        yield from required_mate_blocks(answer.required_mate)
    yield from _rechecks(answer)
    yield from advice_blocks(answer.next_measurements, answer.further_measuring)
    if not brief:
        yield from notes("Worth knowing", [hint_line(hint) for hint in answer.hints])
        yield from caution_lines(SHORT_CAUTIONS)


def headline(answer: Answer) -> Iterator[Text]:
    """The verdict in one sentence, and the probability that the half is not in the catalogue."""
    absent = words.percent(answer.probability_absent)
    yield Text(" ".join(each for each in (words.verdict(answer), words.next_step(answer)) if each), style="bold")
    if order := words.order_line(answer):
        yield Text(order, style="bold")
    if series := words.series(answer):
        yield plain(series)
    yield plain(f"{NOT_HERE}: {absent} (assumed before measuring: {words.percent(answer.prior_absent)})")
    if answer.verdict is Verdict.NO_MATCH:
        yield plain("To ask others, 'otherhalf inquiry' with the same observations writes what they need to know.")


def caution_lines(cautions: Sequence[str]) -> Iterator[RenderableType]:
    """Cautions, one to a line."""
    yield from notes("Before anything is connected", cautions)


def all_caution_lines() -> Iterator[RenderableType]:
    """Every caution, by the stage of the work."""
    for stage, cautions in BY_STAGE.items():
        yield from notes(stage.capitalize(), cautions)


def explanation_blocks(answer: ExplainAnswer) -> Iterator[RenderableType]:
    """Why one half has its rank."""
    candidate = answer.candidate
    yield Text(words.half_name(candidate.half), style="bold")
    yield from (plain(sentence) for sentence in answer.sentences)
    yield plain("")
    yield from _evidence(candidate)
    yield from caution_lines(SHORT_CAUTIONS)


def _candidates(answer: Answer) -> RenderableType:
    rows = table("probability", "half", "kind", "mate to order", "stack", right=("probability",), whole=("stack",))
    for candidate in answer.candidates:
        rows.add_row(
            words.percent(candidate.probability),
            plain(words.half_name(candidate.half) + _mark(candidate)),
            candidate.half.half_kind or "–",
            plain(words.order(candidate)),
            plain(words.stack_to_order(candidate)),
        )
    return rows


def _mark(candidate: Candidate) -> str:
    tied = f" (and {len(candidate.same_geometry)} alike)" if candidate.same_geometry else ""
    return f"{' (inferred, not listed)' if candidate.origin == 'inferred' else ''}{tied}"


def _first(candidate: Candidate) -> Iterator[RenderableType]:
    yield from _ties(candidate)
    yield plain("")
    yield from _evidence(candidate)
    yield plain("")
    yield from _mates(candidate)


def _ties(candidate: Candidate) -> Iterator[Text]:
    if candidate.same_geometry:
        named = [words.half_name(half) for half in candidate.same_geometry]
        yield plain(words.alike(named, len(named)))


def _evidence(candidate: Candidate) -> Iterator[RenderableType]:
    against = NOT_HERE if candidate.against == "absent" else candidate.against
    yield plain(f"{candidate.half.part_number}: evidence for it (×), or for the next answer (÷), {against}:")
    rows = table(
        "",
        "measured",
        "u",
        "expected",
        "off by",
        "weight",
        "reading",
        right=("u", "off by", "weight"),
        whole=("measured", "expected", "reading"),
    )
    for line in candidate.evidence:
        rows.add_row(
            plain(words.feature_label(line.feature, line.of)),
            plain(words.measured(line)),
            words.uncertainty(line),
            plain(words.expected(line)),
            words.off_by(line),
            words.weight(line.log_odds),
            "" if line.reading in UNSPOKEN else line.reading,
        )
    yield rows
    if any(line.tolerance is not None for line in candidate.evidence):
        yield plain(f"u: {STANDARD}; ±: {PROCESS}, within which parts lie.")
    labelled = [(words.feature_label(line.feature, line.of), line) for line in candidate.evidence]
    yield from (plain(f"{label}: likely slip, {line.slip}") for label, line in labelled if line.slip)
    yield from (plain(f"{label} expected: {line.expected_from}") for label, line in labelled if line.expected_from)


def _mates(candidate: Candidate) -> Iterator[RenderableType]:
    if not candidate.mates:
        yield plain(f"No mate of {candidate.half.part_number} is listed.")
        return
    alike = " and those alike" if candidate.same_geometry else ""
    yield plain(f"To order, mates of {candidate.half.part_number}{alike}, the safest first:")
    rows = table("part number", "maker", "stack", "contacts", "who says so", whole=("part number", "stack"))
    for mate in candidate.mates[:SHOWN_MATES]:
        doubt = "" if mate.fits_observed else "does not fit what was observed"
        said = [words.basis(mate), words.suited(mate, candidate), doubt]
        rows.add_row(
            plain(words.warned(mate)),
            plain(mate.maker),
            words.stack(mate),
            words.contacts(mate),
            plain("; ".join(each for each in said if each)),
        )
    yield rows
    if differing := words.differing_mates(candidate):
        yield plain(differing)
    if len(candidate.mates) > SHOWN_MATES:
        yield plain(f"and {len(candidate.mates) - SHOWN_MATES} more; --json lists them all.")


def required_mate_blocks(required: RequiredMate) -> Iterator[RenderableType]:
    """What the mate must be, and what could fit by size."""
    yield from notes(
        f"What mates with {required.half.part_number} must be", list(map(words.requirement, required.requirements))
    )
    if required.could_fit:
        yield plain("")
        yield plain(words.COULD_FIT)
        rows = table("part number", "maker", "kind", "figures", whole=("part number",))
        for each in required.could_fit:
            half = each.half
            rows.add_row(
                plain(half.part_number), plain(half.maker), half.half_kind or "–", plain(words.could_fit(each))
            )
        yield rows
    yield plain(words.found_in_all(required))


def _rechecks(answer: Answer) -> Iterator[RenderableType]:
    """Every likely slip, and the observation that influences the answer most."""
    worst = max(answer.recheck, key=lambda each: each.shift, default=None)
    named = [each for each in answer.recheck if each.likely_slip or each is worst]
    yield from notes("Worth measuring again", [_recheck(each) for each in named])


def _recheck(recheck: Recheck) -> str:
    slip = f"likely slip: {recheck.likely_slip}; " if recheck.likely_slip else ""
    label = words.feature_label(recheck.feature, recheck.of)
    return f"{label}: {slip}without it {words.shifted(recheck)}"


def hint_line(hint: Hint) -> str:
    """What may have gone wrong, what a correction would change, and how likely it is."""
    chance = "" if hint.probability is None else f" ({words.percent(hint.probability)} likely)"
    return f"{hint.message}{f' {hint.change}' if hint.change else ''}{chance}"
