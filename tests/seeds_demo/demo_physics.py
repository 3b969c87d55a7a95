"""Rules for connectors that can be made and mated; each rule gives one sentence per fault."""

from __future__ import annotations

from collections.abc import Iterator

from catalog.model.entries import Half, Mating
from tests.seeds_demo.demo_world import value

STACK_SLACK = 0.05
"""A half may be taller than the stack height by this much, mm (common practice, no source)."""

ROUNDING = 0.01
"""What figures of a drawing are rounded to, mm."""

LEAST_WALL = 0.12
"""Least thickness of one moulded wall, mm. Common practice, no source."""

LARGEST_PLAY = 0.4
"""Largest play of a plug in its receptacle's opening, mm, so that contacts still meet. Common practice, no source."""


def faults_of_half(half: Half) -> Iterator[str]:
    """Impossible properties of this half."""
    yield from _faults_along(half)
    yield from _faults_across(half)
    yield from _faults_of_opening(half)


def faults_of_mating(mating: Mating, first: Half, second: Half) -> Iterator[str]:
    """Impossible properties of this pair."""
    plug, receptacle = (second, first) if second.half_kind == "plug" else (first, second)
    if (plug.half_kind, receptacle.half_kind) not in (("plug", "receptacle"), ("hermaphroditic", "hermaphroditic")):
        yield f"a {plug.half_kind} does not mate with a {receptacle.half_kind}"
    if value(plug, "pitch") != value(receptacle, "pitch"):
        yield "the pitches differ"
    yield from _faults_of_stack(mating, plug, receptacle)
    yield from _faults_of_fit(plug, receptacle)


def _faults_along(half: Half) -> Iterator[str]:
    pitch, length = half.dimensions["pitch"].value, half.dimensions["body_length"].value
    banks = half.counts.get("bank_count", 1)
    gaps = (banks - 1) * (value(half, "bank_gap") or pitch)
    if length < pitch * (half.contacts_per_row - banks) + gaps:
        yield "the body is shorter than its row of contacts"
    overall, lands, pegs = (value(half, name) for name in ("overall_length", "hold_down_land_span", "peg_hole_span"))
    if overall is not None and overall <= length:
        yield "the hold-downs do not stand out of the body"
    if lands is not None and overall is not None and lands <= overall:
        yield "the hold-downs stand over their lands"
    if pegs is not None and pegs >= length:
        yield "the pegs are outside the body"


def _faults_across(half: Half) -> Iterator[str]:
    width, tails, lands = (value(half, name) for name in ("body_width", "tail_span", "land_span"))
    if tails is not None and width is not None and tails < width:
        yield "the tails end inside the body"
    if tails is not None and lands is not None and lands < tails:
        yield "the tails stand over their lands"
    for name, outside in (("row_spacing", width), ("land_row_spacing", lands)):
        spacing = value(half, name)
        if (
            spacing is not None
            and outside is not None
            and spacing * (half.rows - 1 if name == "row_spacing" else 1) >= outside
        ):
            yield f"{name} is as wide as what encloses it"
    contact = value(half, "contact_width")
    if contact is not None and contact >= half.dimensions["pitch"].value:
        yield "neighbouring contacts touch"
    yield from _faults_of_lands(half)


def _faults_of_lands(half: Half) -> Iterator[str]:
    width, length = value(half, "land_width"), value(half, "land_length")
    if width is not None and width >= half.dimensions["pitch"].value:
        yield "neighbouring lands touch"
    rows, span = value(half, "land_row_spacing"), value(half, "land_span")
    if length is None or rows is None or span is None or half.rows != 2:
        return
    if abs(length + rows - span) > ROUNDING:
        yield "the lands of two rows do not span what they are said to"


def _faults_of_opening(half: Half) -> Iterator[str]:
    for opening, body in (("opening_length", "body_length"), ("opening_width", "body_width")):
        inside, outside = value(half, opening), value(half, body)
        if inside is not None and outside is not None and outside - inside < 2 * LEAST_WALL:
            yield f"{opening} leaves no wall"
        if inside is not None and half.half_kind != "receptacle":
            yield f"a {half.half_kind} has no {opening}"


def _faults_of_stack(mating: Mating, plug: Half, receptacle: Half) -> Iterator[str]:
    heights = value(plug, "height"), value(receptacle, "height")
    if mating.stack_height is None or None in heights:
        return
    low, high = sorted(height for height in heights if height is not None)
    stack = mating.stack_height.value
    if high > stack + STACK_SLACK:
        yield "a half is taller than the stack"
    if low + high <= stack:
        yield "the halves do not reach each other"


def _faults_of_fit(plug: Half, receptacle: Half) -> Iterator[str]:
    sideways = plug.categories["orientation"] == ("right_angle",)  # its width lies along the board, not in the opening
    for opening, body in (("opening_length", "body_length"), ("opening_width", "body_width")):
        inside, outside = value(receptacle, opening), value(plug, body)
        if inside is None or outside is None or (sideways and opening == "opening_width"):
            continue
        if not 0 < inside - outside <= LARGEST_PLAY:
            yield f"the plug has {inside - outside:.2f} mm of play in the {opening}"
