"""What may have gone wrong with a specimen's observations: every mistake as what should have been given instead.

A mistake has a prior and a Jacobian: the density of the reading as given is that of the corrected one times the
derivative of the correction. Mistakes that the likelihood's own mixtures know (`matcher.likelihood.gross_errors`,
`matcher.likelihood.miscounts`) take their shares from there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from matcher.columns.columns import Columns
from matcher.decision.likely_slips.counting import miscounts, other_kind, swapped_rows
from matcher.decision.likely_slips.lengths import other_lengths, pitches
from matcher.decision.likely_slips.mistake import Mistake
from matcher.features import FEATURES
from matcher.likelihood.gross_errors import UNIT_FACTORS, UNIT_SHARE
from matcher.observations import Of, Reduced

UNITS = {1 / 25.4: "in", 25.4: "mm", 1 / 0.0254: "mil", 0.0254: "mm", 1000.0: "um", 0.001: "mm"}
"""The unit that should have been named, by reading over true size."""

UNIT_KINDS = {1 / 25.4: "inches", 1 / 0.0254: "mils"}
"""Kinds of the two commonest; the others are `unit_mixed_up`."""

ALL_IN_ONE_UNIT = {1 / 25.4: 0.002, 1 / 0.0254: 0.001}
"""Prior of having taken every length in inches, or in mils, and typed it as mm. Common practice, no source."""

FEWEST_LENGTHS = 2
"""Lengths from which "all of them" is another mistake than "this one"."""


def mistakes_of(reading: Reduced, observations: Sequence[Reduced], columns: Columns) -> Iterator[Mistake]:
    """Every mistake that may be behind one observation alone."""
    if reading.value is not None:
        yield from _length_mistakes(reading, columns)
    elif reading.of is not Of.THIS:
        return
    elif reading.feature == "contact_count":
        yield from miscounts(reading, columns)
    elif reading.feature == "rows":
        contacts = next((o for o in observations if o.feature == "contact_count" and o.of is Of.THIS), None)
        yield from swapped_rows(reading, contacts)
    elif reading.feature == "half_kind":
        yield from other_kind(reading)


def _length_mistakes(reading: Reduced, columns: Columns) -> Iterator[Mistake]:
    if reading.of is Of.THIS and FEATURES[reading.feature].is_pitch:
        yield from pitches(reading)
    elif reading.of is Of.THIS or reading.feature == "stack_height":
        yield from other_lengths(reading, columns)
    if not reading.unscaled:
        yield from _units(reading)


def _units(reading: Reduced) -> Iterator[Mistake]:
    gross = FEATURES[reading.feature].gross_share
    for factor, share in UNIT_FACTORS.items():
        odds = gross * UNIT_SHARE * share / (1.0 - gross)
        kind = UNIT_KINDS.get(factor, "unit_mixed_up")
        corrected = in_other_unit(reading, factor)
        yield Mistake(
            kind=kind, corrected=(corrected,), log_odds=math.log(odds / factor), change={"unit": UNITS[factor]}
        )


def in_other_unit(reading: Reduced, factor: float) -> Reduced:
    """The reading if it is ``factor`` times the true size; how finely it was read does not hang on the unit's name."""
    return replace(reading, value=reading.number / factor)


def everything_in_one_unit(observations: Sequence[Reduced]) -> Iterator[Mistake]:
    """Every length in inches or in mils, typed as mm."""
    lengths = [o for o in observations if o.value is not None and not o.unscaled]
    if len(lengths) < FEWEST_LENGTHS:
        return
    for factor, prior in ALL_IN_ONE_UNIT.items():
        yield Mistake(
            kind=f"everything_in_{UNIT_KINDS[factor]}",
            corrected=tuple(in_other_unit(reading, factor) for reading in lengths),
            log_odds=math.log(prior / (1.0 - prior)) - len(lengths) * math.log(factor),
            change={"unit": UNITS[factor]},
            modelled=False,
        )
