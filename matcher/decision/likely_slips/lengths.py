"""Mistakes of dimensions: gaps miscounted, another edge taken, the board's thickness left in."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from matcher.columns.columns import Bools, Columns
from matcher.decision.likely_slips.mistake import Mistake, longer, scaled
from matcher.features import FEATURES, Direction, Subject
from matcher.likelihood.gross_errors import (
    BOARD_HALF_RANGE,
    BOARD_MIDDLE,
    BOARD_SHARE,
    PITCH_FACTORS,
    PITCH_OFF_BY_A_GAP,
    SLIP_SHARE,
)
from matcher.observations import Of, Reduced

LONGER = {"land_span": (0.3, 1.2), "hold_down_land_span": (0.3, 1.2), "body_length": (-5.0, -0.25)}
"""By how much lands are longer than the metal on them (a fillet of 0.15 to 0.6 mm at each end), and the moulding than
the hold-downs at its ends, mm. Common practice, no source."""

UNSTATED = {"land_span": 0.7, "hold_down_land_span": 0.4, "body_length": 0.2}
"""Shares among slips of a width over tails told by their lands, and of a length over hold-downs told by their lands, or
by the moulding alone, where the catalogue does not state the metal itself. Common practice, no source."""


def pitches(reading: Reduced) -> Iterator[Mistake]:
    """A pitch over one gap more or less than was said, or over every second contact, or half of one."""
    gross = FEATURES[reading.feature].gross_share
    odds = gross * SLIP_SHARE / (1.0 - gross)
    spans, (contacts, missed) = reading.spans, PITCH_OFF_BY_A_GAP
    if spans > 1:
        yield _gaps("contacts_for_gaps", reading, spans - 1, odds * contacts)
    yield _gaps("gap_missed", reading, spans + 1, odds * missed)
    for kind, factor in (("twice_the_pitch", 2.0), ("half_the_pitch", 0.5)):
        corrected = scaled(reading, 1.0 / factor)
        yield Mistake(
            kind=kind,
            corrected=(corrected,),
            log_odds=math.log(odds * PITCH_FACTORS[factor] / factor),
            change={"value": corrected.number},
        )


def _gaps(kind: str, reading: Reduced, spans: int, odds: float) -> Mistake:
    factor = reading.spans / spans
    corrected = scaled(reading, factor, spans=spans)
    return Mistake(kind=kind, corrected=(corrected,), log_odds=math.log(odds * factor), change={"spans": spans})


def other_lengths(reading: Reduced, columns: Columns) -> Iterator[Mistake]:
    """Another edge of the half than was asked for, as the feature table lists them, and heights over something else."""
    feature = FEATURES[reading.feature]
    odds = feature.gross_share * SLIP_SHARE / (1.0 - feature.gross_share)
    upwards = feature.direction is Direction.UPWARDS
    share = 1.0 - BOARD_SHARE if upwards else 1.0
    for slip in feature.slips:
        if not FEATURES[slip.instead].is_pitch:
            yield _taken_for(reading, slip.instead, odds * share * slip.share, columns)
    if upwards:
        yield from _board(reading, odds * BOARD_SHARE)
    yield from _unstated(reading, odds, columns)


def _taken_for(reading: Reduced, instead: str, odds: float, columns: Columns) -> Mistake:
    of = Of.PAIR if FEATURES[instead].subject is Subject.PAIR else Of.THIS
    shared = reading.shared if of is Of.THIS else None
    corrected = Reduced(
        index=reading.index,
        feature=instead,
        of=of,
        value=reading.number,
        u=reading.u if shared is not None or reading.shared is None else reading.total_u,
        total_u=reading.total_u,
        shared=shared,
    )
    change = {"feature": instead} if of is reading.of else {"feature": instead, "of": str(of)}
    needed = FEATURES[instead].needs or FEATURES[reading.feature].needs
    halves = None if needed is None else columns.counts[needed] != 0
    return Mistake(
        kind=kind_of(instead, reading.feature),
        corrected=(corrected,),
        log_odds=math.log(odds),
        change=change,
        halves=halves,
    )


def kind_of(instead: str, feature: str) -> str:
    """Slug of one dimension taken for another."""
    return f"{instead}_for_{feature}"


def _board(reading: Reduced, odds: float) -> Iterator[Mistake]:
    """The board's thickness is anything within a range."""
    low, high = BOARD_MIDDLE - BOARD_HALF_RANGE, BOARD_MIDDLE + BOARD_HALF_RANGE
    shorter = longer(reading, reading.feature, (-high, -low))
    if shorter is not None:
        corrected, left = shorter
        change = {"min": max(reading.number - high, 0.0), "max": reading.number - low}
        yield Mistake(kind="board_thickness", corrected=(corrected,), log_odds=math.log(odds * left), change=change)


def _unstated(reading: Reduced, odds: float, columns: Columns) -> Iterator[Mistake]:
    """Metal that the catalogue knows only by its lands, or not at all, told by what it does know."""
    if reading.unscaled:
        return
    dimensions, metal = columns.dimensions, columns.counts["hold_down_count"] != 0
    if reading.feature == "body_width":
        unknown = np.isnan(dimensions["tail_span"].stated)
        yield from _told_by("land_span", reading, "tail_span", odds * UNSTATED["land_span"], unknown)
    if reading.feature == "body_length":
        lands = metal & ~np.isnan(dimensions["hold_down_land_span"].stated)
        yield from _told_by(
            "hold_down_land_span", reading, "overall_length", odds * UNSTATED["hold_down_land_span"], lands
        )
        yield from _told_by("body_length", reading, "overall_length", odds * UNSTATED["body_length"], metal)


def _told_by(feature: str, reading: Reduced, instead: str, odds: float, halves: Bools) -> Iterator[Mistake]:
    told = longer(reading, feature, LONGER[feature])
    if told is not None:
        corrected, left = told
        yield Mistake(
            kind=kind_of(instead, reading.feature),
            corrected=(corrected,),
            log_odds=math.log(odds * left),
            change={"feature": instead},
            halves=halves,
            modelled=False,
        )
