"""Printed answers about a mate in use: the current that it carries."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.answers import caution_lines
from api.command_line.output.console import notes, plain, table
from api.schemas.current import CurrentAnswer, RatedHalf
from api.schemas.words import ENOUGH_WORDS

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


def _said(half: RatedHalf) -> str:
    return "; ".join((half.reason, *half.beware))


def _figure(current: float | None) -> str:
    return "" if current is None else f"{current:.4g}"


def _signed(current: float | None) -> str:
    return "" if current is None else f"{current:+.3g}"
