"""Printed answers about a mate: which one is needed, and the current that it carries."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.answers import caution_lines, required_mate_blocks
from api.command_line.output.console import notes, plain, table
from api.identification import answer_words as words
from api.identification.cautions import SHORT_CAUTIONS
from api.schemas.fitting.current import CurrentAnswer, RatedHalf
from api.schemas.fitting.needed import Equivalent, Needed, NeededAnswer
from api.schemas.words import ENOUGH_WORDS, TIGHT

SHOWN_HALVES = 6
"""Halves in the table; the others are counted, and the JSON answer has them."""


def current_blocks(answer: CurrentAnswer) -> Iterator[RenderableType]:
    """The verdict, each half, what it rests on, and the cautions."""
    yield Text(f"{ENOUGH_WORDS[answer.verdict]}: {answer.reason}", style="bold")
    rows = table("half", "allowed A", "margin A", "what its ratings say", right=("allowed A", "margin A"))
    for half in answer.halves[:SHOWN_HALVES]:
        rows.add_row(plain(half.part_number), _figure(half.allowed_a), _signed(half.margin_a), plain(_said(half)))
    yield rows
    if len(answer.halves) > SHOWN_HALVES:
        yield plain(f"and {len(answer.halves) - SHOWN_HALVES} more; --json has all")
    if answer.loss_w is not None:
        yield plain(
            f"All its contacts together: {answer.loss_w * 1e3:.3g} mW of heat, "
            f"{(answer.voltage_drop_v or 0.0) * 1e3:.3g} mV lost over supply and return"
        )
    yield from notes("Missing to say enough", answer.missing)
    yield from notes("It rests on", answer.rests_on)
    yield from caution_lines(answer.cautions)


def needed_blocks(answer: NeededAnswer) -> Iterator[RenderableType]:
    """What to order, then for each half its mates with their room, and what can take its place."""
    yield from (Text(sentence, style="bold") for sentence in answer.advice[:-1])
    for each in answer.halves:
        if each.required_mate is not None:
            yield from required_mate_blocks(each.required_mate)
        else:
            yield plain("")
            yield plain(f"Mates of {each.half.maker} {each.half.part_number}, what fits and is safest first:")
            yield _mates(each)
        if len(each.mates) > SHOWN_HALVES:
            yield plain(f"and {len(each.mates) - SHOWN_HALVES} more; --json has all")
        yield from notes("Can take its own place", [_equivalent(other) for other in each.equivalents[:SHOWN_HALVES]])
        if len(each.equivalents) > SHOWN_HALVES:
            yield plain(f"and {len(each.equivalents) - SHOWN_HALVES} more; --json has all")
    yield plain("")
    if any(mate.fits == "tight" for each in answer.halves for mate in each.mates):
        yield plain(TIGHT)
    yield plain(answer.advice[-1])
    yield from caution_lines(SHORT_CAUTIONS)


def _mates(each: Needed) -> RenderableType:
    rows = table("part number", "maker", "stack", "contacts", "who says so", "room", whole=("stack",))
    for found in each.mates[:SHOWN_HALVES]:
        mate = found.mate
        room = "; ".join(words.room(direction) for direction in found.rooms)
        said = (words.warned(mate), mate.maker, words.stack(mate), words.contacts(mate), words.basis(mate), room)
        rows.add_row(*map(plain, said))
    return rows


def _equivalent(other: Equivalent) -> str:
    return f"{words.half_name(other.half)}: {other.relation}; {other.why}"


def _said(half: RatedHalf) -> str:
    return "; ".join((half.reason, *half.beware))


def _figure(current: float | None) -> str:
    return "" if current is None else f"{current:.4g}"


def _signed(current: float | None) -> str:
    return "" if current is None else f"{current:+.3g}"
