"""Explanations of a dimension reading under one half: right, a named slip, the wrong unit, or any other gross error.

A reading's density under a half is a mixture of rectangles (each convolved with measurement error) and a log-uniform
floor, so no number excludes a half completely. Shares are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from matcher.columns.columns import Bools, DimensionColumn, Floats, Ints
from matcher.features import FEATURES, Direction, Subject
from matcher.likelihood.error_model.part_deviation import PartDeviation
from matcher.likelihood.error_model.tolerance_density import REACH, W_MIN, rectangle_normal
from matcher.observations import Reduced, SharedKind

SLIP_SHARE = 0.4
"""Share of gross errors that are named slips on the same half. Where no figure is misread (`by_figures`), the share of
misread figures belongs to them too."""

UNIT_SHARE = 0.1
"""Share of gross errors that are wrong units."""

MISREAD_SHARE = 0.2
"""Share of gross errors that are right but for a figure misread or written down wrongly."""

MISREAD_STEPS = {1.0: 0.15, -1.0: 0.15, 0.5: 0.15, -0.5: 0.15}
"""Of these, the shares that are off by a whole or half millimetre, as a scale is misread."""

MISREAD_BY = 1.1
"""The other misread figures are off by up to this, mm."""

SAME_ORDER_SHARE, SAME_ORDER = 0.5, math.e
"""Share of the gross errors of no known kind that are within this factor of the true size (log-uniform): something else
on the same half was measured."""

PLAUSIBLE_SHARE = 0.9
"""Share of the others that lie within the feature's plausible range: people notice most that do not."""

PITCH_OFF_BY_A_GAP = (0.35, 0.25)
"""Shares of contacts counted as gaps, and of a missed gap, among slips of a pitch."""

GAP_SHARE = 0.5
"""Share of wrong gaps among the slips of a pitch, where the pitch may also be confused with another feature."""

PITCH_FACTORS = {2.0: 0.2, 0.5: 0.2}
"""Shares of slips by factor: every second contact measured, or tails of both rows measured as one row."""

COUNTED_ONCE = 0.8
"""Probability that the gaps of a whole row were not counted again but taken from the contacts' count. Common practice,
no source."""

UNIT_FACTORS = {1 / 25.4: 0.4, 25.4: 0.2, 1 / 0.0254: 0.2, 0.0254: 0.1, 1000.0: 0.05, 0.001: 0.05}
"""Reading over true size with a wrong unit: inch typed as mm, mm as inch, mil as mm, mm as mil, µm, m."""

UNIT_WORDS = {
    1 / 25.4: "inches typed as mm",
    25.4: "mm typed as inches",
    1 / 0.0254: "mils typed as mm",
    0.0254: "mm typed as mils",
    1000.0: "µm typed as mm",
    0.001: "mm typed as µm",
}

BOARD_MIDDLE, BOARD_HALF_RANGE = 1.4, 1.0
"""Range of a board's thickness, mm, that was not subtracted from a height: 0.4 to 2.4 mm."""

BOARD_SHARE = 0.4
"""Share of the slips of heights in which the board's thickness was not subtracted."""

FLOOR_WIDENING = 1000.0
"""Factor by which the floor is wider than the plausible range on either side."""

BOUND_GROSS = 0.5
"""Probability that a grossly wrong bound is true by chance."""


@dataclass(frozen=True, kw_only=True)
class Folded:
    """Variances, mm², of a shared error counted as a reading's own: of a scale, and of a zero error, which a wrong unit
    scales together with the reading."""

    scale: float = 0.0
    zero: float = 0.0


def folded(reading: Reduced) -> Folded:
    """The shared error of a reading, if no other reading shares it: it counts as the reading's own."""
    if reading.shared is None:
        return Folded()
    if reading.shared.kind is SharedKind.SCALE:
        return Folded(scale=(reading.number * reading.shared.sd) ** 2)
    return Folded(zero=(reading.shared.coefficient * reading.shared.sd) ** 2)


@dataclass(frozen=True, kw_only=True)
class Mixture:
    """All explanations of one reading: rectangles centre ± half_width, mm, above a density ``floor``.

    ``weight`` (0 where an explanation does not exist), ``centre``, ``half_width`` and ``entry_u``, the entry's standard
    uncertainty, are (explanations × halves). ``follows``, the reading's sensitivity to a shared zero error, is a
    column. In the first ``right`` explanations, one for each part of the process, the reading is right. ``nameless`` is
    the probability by half that it may be anything. ``low`` and ``high`` are how far an exact reading can lie from each
    rectangle and still count. Only ``reading`` differs between readings of one size over as many gaps.
    """

    reading: Reduced
    right: int
    words: tuple[str, ...]
    weight: Floats
    centre: Floats
    half_width: Floats
    entry_u: Floats
    follows: Floats
    nameless: Floats
    low: Floats
    high: Floats

    @property
    def own_u(self) -> Floats:
        """The reading's standard uncertainty by explanation, mm: a column."""
        return self.reading.u * self.follows

    @cached_property
    def floor(self) -> Floats:
        """Density of the reading by half, per mm, times the probability that it may be anything."""
        x, anywhere = self.reading.number, floor_density(self.reading)
        if not by_figures(self.reading):
            return anywhere * self.nameless
        size = self.centre[0]
        near = (size < SAME_ORDER * x) & (size > x / SAME_ORDER)
        of_known = (1.0 - SAME_ORDER_SHARE) * anywhere + SAME_ORDER_SHARE * near / (2.0 * x * math.log(SAME_ORDER))
        return np.where(size > 0.0, of_known, anywhere) * self.nameless

    @property
    def tables(self) -> Floats:
        """All that is said of each half, one below the other (… × halves)."""
        return np.vstack([self.weight, self.centre, self.half_width, self.entry_u, self.nameless])

    def take(self, halves: Ints | slice) -> Mixture:
        """The same explanations over the given halves only."""
        return replace(
            self,
            weight=self.weight[:, halves],
            centre=self.centre[:, halves],
            half_width=self.half_width[:, halves],
            entry_u=self.entry_u[:, halves],
            nameless=self.nameless[halves],
            low=self.low[:, halves],
            high=self.high[:, halves],
        )

    @property
    def nbytes(self) -> int:
        """The size of its tables."""
        tables = (self.weight, self.centre, self.half_width, self.entry_u, self.nameless, self.low, self.high)
        return sum(table.nbytes for table in tables)

    def densities(self) -> Floats:
        """Weighted density of the reading by explanation and half, per mm; a shared error counts as its own."""
        w = np.sqrt(self._reading_variance + self.entry_u**2)
        distance = self.reading.number - self.centre
        return np.asarray(self.weight * rectangle_normal(distance, self.half_width, np.maximum(w, W_MIN)))

    def right_and_wrong(self) -> tuple[Floats, Floats]:
        """Density of the reading under each half, per mm: where it is right, and where it is grossly wrong.

        Equal to sums of `densities`, but only over explanations near the reading: few are.
        """
        reach = REACH * np.maximum(np.sqrt(self._reading_variance), W_MIN)
        near = np.flatnonzero((self.low < self.reading.number + reach) & (self.high > self.reading.number - reach))
        which, half = np.divmod(near, len(self.nameless))
        w = np.sqrt(self._reading_variance[which, 0] + self.entry_u.ravel()[near] ** 2)
        distance = self.reading.number - self.centre.ravel()[near]
        density = rectangle_normal(distance, self.half_width.ravel()[near], np.maximum(w, W_MIN))
        density *= self.weight.ravel()[near]
        right, wrong = (
            np.bincount(half[chosen], weights=density[chosen], minlength=len(self.nameless)).astype(np.float64)
            for chosen in (which < self.right, which >= self.right)
        )
        return right, wrong + self.floor

    @property
    def _reading_variance(self) -> Floats:
        """Variance of the reading by explanation, mm², including a shared error: a column."""
        shared = folded(self.reading)
        return np.asarray(self.own_u**2 + shared.scale + shared.zero * self.follows**2)


def by_figures(reading: Reduced) -> bool:
    """Whether the size was read as a figure on a scale that may be misread by some tenths.

    A pitch has few sizes and slips of its own: gaps miscounted. A picture without a scale has no millimetres.
    """
    return not reading.unscaled and not FEATURES[reading.feature].is_pitch


def slip_share(reading: Reduced) -> float:
    """Share of the reading's gross errors that are named slips."""
    return SLIP_SHARE if by_figures(reading) else SLIP_SHARE + MISREAD_SHARE


def floor_density(reading: Reduced) -> float:
    """Density of a reading that may be anything, per mm: log-uniform over the feature's plausible range widened a
    thousandfold each way; of figures, mostly over the plausible range itself."""
    row, x = FEATURES[reading.feature], reading.number
    wide = 1.0 / (x * math.log(FLOOR_WIDENING**2 * row.high / row.low))
    if not by_figures(reading):
        return wide
    plausible = 1.0 / (x * math.log(row.high / row.low)) if row.low <= x <= row.high else 0.0
    return PLAUSIBLE_SHARE * plausible + (1.0 - PLAUSIBLE_SHARE) * wide


@dataclass(frozen=True, kw_only=True)
class Rectangle:
    """A size that may have been measured, centre ± half_width, mm, with its share.

    The share is 0 where the size does not exist; where the reading's own dimension is unknown it does not count.
    """

    words: str
    share: Floats
    centre: Floats
    half_width: Floats
    entry_u: Floats


def mixture(
    reading: Reduced,
    own: DimensionColumn,
    others: Mapping[str, DimensionColumn],
    of_pairs: Sequence[Rectangle] = (),
    miscounted: Floats | None = None,
) -> Mixture:
    """Explanations of ``reading`` under halves with the dimension ``own`` and the other dimensions ``others``.

    ``of_pairs`` are the dimensions of each half's mated pairs that may have been measured instead. ``miscounted`` is
    for a pitch over a whole row: by half, the gaps of its row over those given, where its contacts were miscounted by
    one in every row; NaN elsewhere.
    """
    feature = FEATURES[reading.feature]
    known = ~np.isnan(own.centre)
    right = _measured("", known.astype(np.float64), reading.feature, own, reading.spans)
    slips = _slips(reading, right, others, of_pairs)
    resolved = np.zeros(len(known))
    for slip in slips:
        resolved = resolved + slip.share
    gross = feature.gross_share
    in_units, in_figures, of_slips = not reading.unscaled, by_figures(reading), slip_share(reading)
    of_right = MISREAD_SHARE * in_figures + UNIT_SHARE * in_units
    nameless = 1.0 - of_slips * np.minimum(resolved, 1.0) - of_right * known
    once = 0.0 if miscounted is None else np.where(np.isnan(miscounted), 0.0, COUNTED_ONCE)
    found: list[tuple[float | Floats, Rectangle, float, str]]
    found = [((1.0 - gross) * (1.0 - once), each, 1.0, each.words) for each in right]
    found += [(gross * of_slips, slip, 1.0, slip.words) for slip in slips]
    if in_figures:
        misread = _misread(known, right, reading.spans)
        found += [(gross * MISREAD_SHARE, each, 1.0, each.words) for each in misread]
    if in_units:
        units = [(factor, each) for factor in UNIT_FACTORS for each in right]
        of_units = gross * UNIT_SHARE
        found += [(of_units * UNIT_FACTORS[factor], it, factor, UNIT_WORDS[factor]) for factor, it in units]
    if miscounted is not None:
        followed = [_followed(each, once, miscounted) for each in right]
        found += [(1.0 - gross, each, 1.0, each.words) for each in followed]
    shares, rectangles, factors, words = zip(*found, strict=True)
    follows = np.array(factors)[:, None]
    centre = _products(factors, [each.centre for each in rectangles])
    if reading.corrected:
        # What was subtracted is in mm whatever the unit: reading + corrected = factor · (size + corrected).
        centre += (follows - 1.0) * reading.corrected
    centre[np.isnan(centre)] = 0.0
    half_width = _products(factors, [each.half_width for each in rectangles])
    entry_u = _products(factors, [each.entry_u for each in rectangles])
    reach = REACH * entry_u
    reach += half_width
    return Mixture(
        reading=reading,
        right=len(right),
        words=words,
        weight=_products(shares, [each.share for each in rectangles]),
        centre=centre,
        half_width=half_width,
        entry_u=entry_u,
        follows=follows,
        nameless=gross * nameless + (1.0 - gross) * ~known,
        low=centre - reach,
        high=centre + reach,
    )


def _products(factors: Sequence[float | Floats], rows: Sequence[Floats]) -> Floats:
    """Each row times its factor, one below the other; made in place, since these tables are large."""
    table = np.empty((len(rows), len(rows[0])))
    for product, factor, row in zip(table, factors, rows, strict=True):
        np.multiply(factor, row, out=product)
    return table


def _followed(right: Rectangle, once: Floats | float, ratio: Floats) -> Rectangle:
    """The pitch if its gaps were counted as wrong as the contacts."""
    return Rectangle(
        words="as many gaps too few or too many as contacts",
        share=once * right.share,
        centre=right.centre * np.nan_to_num(ratio),
        half_width=right.half_width * np.nan_to_num(ratio),
        entry_u=right.entry_u * np.nan_to_num(ratio),
    )


def _misread(known: Bools, right: Sequence[Rectangle], spans: int) -> Iterator[Rectangle]:
    """What a misread figure makes of the size, measured over ``spans`` gaps."""
    freely = 1.0 - math.fsum(MISREAD_STEPS.values())
    for each in right:
        half_width = each.half_width + MISREAD_BY / spans
        yield replace(each, words="misread by up to a millimetre", share=freely * each.share, half_width=half_width)
    for step, share in MISREAD_STEPS.items():
        words = f"read {'half a' if abs(step) < 1 else 'a whole'} millimetre too {'long' if step > 0 else 'short'}"
        yield replace(right[0], words=words, share=np.where(known, share, 0.0), centre=right[0].centre + step / spans)


def _measured(words: str, share: Floats, feature: str, column: DimensionColumn, spans: int) -> list[Rectangle]:
    """A dimension that may have been measured: a rectangle for each part of its process."""
    return [
        Rectangle(
            words=words,
            share=share * of_part,
            centre=column.centre,
            half_width=half_width,
            entry_u=column.extra_u,
        )
        for of_part, half_width in PartDeviation.of(feature, column, spans).parts
    ]


def _slips(
    reading: Reduced, right: Sequence[Rectangle], others: Mapping[str, DimensionColumn], of_pairs: Sequence[Rectangle]
) -> list[Rectangle]:
    feature = FEATURES[reading.feature]
    if feature.is_pitch:
        share = GAP_SHARE if feature.slips else 1.0
        of_pitch = [slip for own in right for slip in _pitch_slips(reading.spans, own, share)]
        return of_pitch + _other_features(reading, others, 1.0 - share)
    if feature.direction is Direction.UPWARDS:
        rest = 1.0 - BOARD_SHARE
        pairs = [replace(slip, share=rest * slip.share) for slip in of_pairs]
        return [*_other_features(reading, others, rest), *pairs, *map(_board_slip, right)]
    return [*_other_features(reading, others, 1.0), *of_pairs]


def _pitch_slips(spans: int, own: Rectangle, share: float) -> list[Rectangle]:
    factors = {2.0: ("every second contact", PITCH_FACTORS[2.0]), 0.5: ("tails of both rows", PITCH_FACTORS[0.5])}
    slips = [((spans + 1) / spans, "a gap missed", PITCH_OFF_BY_A_GAP[1])]
    if spans > 1:
        slips.append(((spans - 1) / spans, "contacts counted instead of gaps", PITCH_OFF_BY_A_GAP[0]))
    slips += [(factor, words, part) for factor, (words, part) in factors.items()]
    return [
        Rectangle(
            words=words,
            share=share * part * own.share,
            centre=factor * own.centre,
            half_width=factor * own.half_width,
            entry_u=factor * own.entry_u,
        )
        for factor, words, part in slips
    ]


def _other_features(reading: Reduced, others: Mapping[str, DimensionColumn], share: float) -> list[Rectangle]:
    feature, slips = reading.feature, list[Rectangle]()
    for slip in FEATURES[feature].slips:
        if FEATURES[slip.instead].subject is Subject.PAIR:
            continue
        column = others[slip.instead]
        known = column.stated if reading.unscaled else column.centre  # without a scale, vague sizes explain any picture
        shares = np.where(np.isnan(known), 0.0, share * slip.share)
        slips += _measured(taken_for(slip.instead, feature), shares, slip.instead, column, reading.spans)
    return slips


def taken_for(instead: str, feature: str) -> str:
    """Bench words for one feature measured instead of another."""
    return f"{FEATURES[instead].label} taken for {FEATURES[feature].label}"


def _board_slip(own: Rectangle) -> Rectangle:
    return Rectangle(
        words="board thickness not subtracted",
        share=BOARD_SHARE * own.share,
        centre=own.centre + BOARD_MIDDLE,
        half_width=np.full(len(own.centre), BOARD_HALF_RANGE),
        entry_u=own.entry_u,
    )
