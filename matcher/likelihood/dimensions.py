"""A dimension as evidence: measured, or bounded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from matcher.columns.columns import Columns, DimensionColumn, Floats, Ints
from matcher.features import FEATURES, Feature, Slip, Subject
from matcher.likelihood.error_model.gross_errors import BOUND_GROSS, Mixture, Rectangle, folded, mixture, taken_for
from matcher.likelihood.error_model.kept_mixtures import kept
from matcher.likelihood.error_model.part_deviation import PartDeviation
from matcher.likelihood.error_model.tolerance_density import W_MIN
from matcher.likelihood.evidence import IMPOSSIBLE, SLIP_FROM, UNLISTED_MATE, Comparison, Evidence, bounds_in_words
from matcher.observations import Of, Reduced


@dataclass(frozen=True, kw_only=True)
class DimensionEvidence(Evidence):
    """A measured dimension or a bound on one.

    ``like`` is another reading of the same size over as many gaps, which has the same explanations.
    """

    like: DimensionEvidence | None = None

    @staticmethod
    def stated(feature: Feature, columns: Columns, half: int) -> float | None:
        if feature.subject is Subject.PAIR:
            stated = columns.matings.dimensions[feature.name].stated[columns.matings.stating(feature.name, half)]
            return float(stated[0]) if len(set(stated)) == 1 else None
        value = float(columns.dimensions[feature.name].stated[half])
        return None if np.isnan(value) else value

    @property
    def words(self) -> float | str:
        return bounds_in_words(self.reading) if self.reading.value is None else self.reading.value

    @cached_property
    def mixture(self) -> Mixture:
        """The explanations of a measured dimension under each half."""
        if self.like is not None:
            return replace(self.like.mixture, reading=self.reading)
        reading = self.reading
        # All that the explanations depend on besides the catalogue.
        what = (reading.feature, reading.spans, reading.unscaled, reading.corrected, reading.counted)
        return replace(kept(self.columns, what, self._explained), reading=reading)

    def _explained(self) -> Mixture:
        of_pairs = [slipped for slip in self.feature.slips for slipped in self._of_pairs(slip)]
        columns = self.columns.dimensions
        return mixture(self.reading, columns[self.reading.feature], columns, of_pairs, self._miscounted)

    @property
    def _miscounted(self) -> Floats | None:
        """By half, the gaps of a row over those given, where the contacts were miscounted by one in every row."""
        if self.reading.counted is None:
            return None
        counted, counted_rows = self.reading.counted
        rows = self.columns.counts["rows"]
        positions = -(-self.columns.counts["contact_count"] // np.maximum(rows, 1))
        off_by_one = (rows == counted_rows) & (np.abs(positions - counted) == 1) & (positions > 1)
        return np.where(off_by_one, (positions - 1) / self.reading.spans, np.nan)

    @cached_property
    def deviation(self) -> PartDeviation:
        """How far parts of each half lie from its entry."""
        if self.like is not None:
            return self.like.deviation
        return self._deviation(self.columns.dimensions[self.reading.feature])

    @cached_property
    def right_and_wrong(self) -> tuple[Floats, Floats]:
        """Density under each half if the reading is right, and if it is not; a shared error counts as its own."""
        return self.mixture.right_and_wrong()

    @cached_property
    def density(self) -> Floats:
        """Density of the reading under each half; equal for all halves for one reading in a picture without a scale."""
        if self.reading.unscaled:
            return np.full(len(self.columns), 1.0 / self.reading.number)
        right, wrong = self.right_and_wrong
        return np.asarray(right + wrong)

    def of_halves(self) -> Floats:
        if self.reading.value is not None:
            return self.density
        return self._within_bounds(self.columns.dimensions[self.reading.feature])

    def of_listed_mates(self) -> Floats:
        columns, name = self.columns, self.reading.feature
        if self.reading.of is Of.OTHER:
            return super().of_listed_mates()
        half, pair = columns.matings.half, columns.matings.dimensions[name]
        own = pair.filled_from(columns.unlisted_mate[name].take(half))
        return self._described_by(own, {each: column.take(half) for each, column in columns.dimensions.items()})

    def of_unlisted_mates(self) -> Floats:
        columns = self.columns
        others = columns.dimensions if self.reading.of is Of.PAIR else columns.unlisted_mate
        return self._described_by(columns.unlisted_mate[self.reading.feature], others)

    def _described_by(self, own: DimensionColumn, others: Mapping[str, DimensionColumn]) -> Floats:
        """Density, or probability of a bound, under the bodies that the columns describe."""
        if self.reading.value is None:
            return self._within_bounds(own)
        if self.reading.unscaled:
            return np.full(len(own.centre), 1.0 / self.reading.number)
        right, wrong = mixture(self.reading, own, others).right_and_wrong()
        return np.asarray(right + wrong)

    def _within_bounds(self, own: DimensionColumn) -> Floats:
        gross = self.feature.gross_share
        inside = (1 - gross) * self._inside(own) + gross * BOUND_GROSS
        return np.where(np.isnan(own.centre), BOUND_GROSS, inside)

    def _inside(self, own: DimensionColumn) -> Floats:
        """Probability that a size keeps the bounds."""
        reading, centre = self.reading, np.nan_to_num(own.centre)
        deviation, w = self._deviation(own), np.maximum(np.hypot(reading.total_u, own.extra_u), W_MIN)
        below = np.ones(len(centre))
        if reading.at_most is not None:
            below = deviation.below(reading.at_most - centre, w)
        if reading.at_least is not None:
            below = below - deviation.below(reading.at_least - centre, w)
        return np.maximum(below, 0.0)

    def _deviation(self, column: DimensionColumn) -> PartDeviation:
        """How far parts lie from the column's entries, measured over as many gaps as the reading."""
        return PartDeviation.of(self.reading.feature, column, self.reading.spans)

    def _of_pairs(self, slip: Slip) -> list[Rectangle]:
        """The pair's dimension as stated for the first, the second, … mating of each half; none for one of a half."""
        columns = self.columns
        column = columns.matings.dimensions.get(slip.instead)
        if column is None:
            return []
        usable = np.flatnonzero(~np.isnan(column.centre))
        usable = usable[np.argsort(columns.matings.half[usable], kind="stable")]
        halves = columns.matings.half[usable]
        number = np.bincount(halves)
        if not len(usable):
            return []
        rank = np.arange(len(halves)) - np.concatenate(([0], np.cumsum(number)))[halves]
        table = np.zeros((4, int(number.max()), len(columns)))
        table[:3, rank, halves] = column.centre[usable], column.half_width[usable], column.extra_u[usable]
        table[3, rank, halves] = slip.share / number[halves]
        words = taken_for(slip.instead, self.reading.feature)
        return [
            Rectangle(words=words, share=share, centre=centre, half_width=half_width, entry_u=entry_u)
            for centre, half_width, entry_u, share in table.transpose(1, 0, 2)
        ]

    def log_right(self, halves: Ints) -> Floats:
        if self.reading.of is Of.THIS:
            return np.asarray(np.log(self._right(self.columns.dimensions[self.reading.feature], halves)))
        return self._log_right_at_mates()[halves]

    def _log_right_at_mates(self) -> Floats:
        """A size of the pair or the other half: the mean over a half's listed matings, else an unlisted mate."""
        columns, name = self.columns, self.reading.feature
        matings, everyone = columns.matings, np.arange(len(columns))
        if self.reading.of is Of.PAIR:
            listed = self._right(matings.dimensions[name], np.arange(len(matings.half)))
        else:
            listed = self._right(columns.dimensions[name], matings.other)
        number = np.bincount(matings.half, minlength=len(columns))
        total = np.bincount(matings.half, weights=listed, minlength=len(columns))
        share = np.where(number > 0, UNLISTED_MATE, 1.0)
        unlisted = self._right(columns.unlisted_mate[name], everyone)
        density = (1.0 - share) * total / np.maximum(number, 1) + share * unlisted
        return np.asarray(np.log(np.maximum(density, IMPOSSIBLE)))

    def _right(self, column: DimensionColumn, rows: Ints) -> Floats:
        """Density of a right reading, or probability of a right bound, under the given rows of a column."""
        own = column.take(rows)
        if self.reading.value is not None:
            return _right([self.reading], [len(rows)], own)
        inside = np.where(np.isnan(own.centre), 0.0, self._inside(own))
        return np.maximum((1.0 - self.feature.gross_share) * inside, IMPOSSIBLE)

    def _against(self, halves: Sequence[int]) -> list[Comparison]:
        at = np.asarray(halves, dtype=np.int64)
        tolerances = self.deviation.half_width[at].tolist()
        stated = [self.stated(self.feature, self.columns, half) for half in halves]
        if self.reading.value is None or self.reading.unscaled:
            found = [Comparison(expected=e, tolerance=t) for e, t in zip(stated, tolerances, strict=True)]
        else:
            found = [
                Comparison(expected=e, tolerance=t, p_value=p, slip_probability=wrong, slip=words)
                for e, t, p, (wrong, words) in zip(
                    stated, tolerances, self._p_values(at).tolist(), self._likeliest_slips(at), strict=True
                )
            ]
        return [Comparison() if each.expected is None else each for each in found]

    def _p_values(self, halves: Ints) -> Floats:
        """Two-sided p-value of a right reading under each of some halves."""
        mix, shared = self.mixture, folded(self.reading)
        w = np.sqrt(mix.own_u[0] ** 2 + mix.entry_u[0, halves] ** 2 + shared.scale + shared.zero)
        offset = self.reading.number - mix.centre[0, halves]
        below = self.deviation.take(halves).below(offset, np.maximum(w, W_MIN))
        return np.asarray(2.0 * np.minimum(below, 1.0 - below))

    def slip_probability(self, halves: Ints) -> Floats:
        """Probability under each of some halves that the reading is grossly wrong."""
        right, wrong = (density[halves] for density in self.right_and_wrong)
        return np.asarray(1.0 - right / np.maximum(right + wrong, IMPOSSIBLE))

    def _likeliest_slips(self, halves: Ints) -> list[tuple[float, str | None]]:
        """For each half, the probability that the reading is grossly wrong and, if likely, the slip in words."""
        wrong = self.slip_probability(halves).tolist()
        if all(each < SLIP_FROM for each in wrong):
            return [(each, None) for each in wrong]
        mix = self.mixture.take(halves)
        words = (*mix.words[mix.right :], "measured wrong")
        ways = np.vstack([mix.densities()[mix.right :], mix.floor]).argmax(axis=0).tolist()
        return [(each, words[way] if each >= SLIP_FROM else None) for each, way in zip(wrong, ways, strict=True)]


def log_right_of_each(pairs: Sequence[tuple[Reduced, Ints]], columns: Columns) -> list[Floats]:
    """`DimensionEvidence.log_right` of readings of one size over as many gaps, each under halves of its own."""
    readings, halves = zip(*pairs, strict=True)
    number = [len(each) for each in halves]
    own = columns.dimensions[readings[0].feature].take(np.concatenate(halves))
    return np.split(np.log(_right(readings, number, own)), np.cumsum(number)[:-1])


def _right(readings: Sequence[Reduced], number: Sequence[int], own: DimensionColumn) -> Floats:
    """Density of right readings of one size over as many gaps, each under the ``number`` next rows of a column."""
    first, shared = readings[0], [folded(each) for each in readings]
    of_reading = [each.u**2 + error.scale + error.zero for each, error in zip(readings, shared, strict=True)]
    x, variance = (np.repeat(each, number) for each in ([each.number for each in readings], of_reading))
    distance = np.where(np.isnan(own.centre), np.inf, x - own.centre)
    w = np.maximum(np.sqrt(variance + own.extra_u**2), W_MIN)
    density = PartDeviation.of(first.feature, own, first.spans).density(distance, w)
    return np.maximum((1.0 - FEATURES[first.feature].gross_share) * density, IMPOSSIBLE)
