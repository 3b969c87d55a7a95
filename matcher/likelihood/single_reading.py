"""Probability of one observation of a half, over all halves of the catalogue."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from matcher.columns.columns import Columns, DimensionColumn, Floats
from matcher.columns.process_tolerance import over_gaps
from matcher.features import FEATURES, Kind, Slip, Subject
from matcher.likelihood.categories import category_probability, labels_probability
from matcher.likelihood.gross_errors import BOUND_GROSS, Mixture, Slipped, mixture, taken_for
from matcher.likelihood.markings_and_trial_fits import fit_probability, marking_ratio
from matcher.likelihood.miscounts import count_probability
from matcher.likelihood.shared_errors import folded
from matcher.likelihood.tolerance_density import W_MIN, rectangle_normal_cdf
from matcher.observations import Reduced

IMPOSSIBLE = 1e-300
"""Smallest probability whose logarithm is taken."""


def half_mixture(reading: Reduced, columns: Columns) -> Mixture:
    """Explanations of a dimension reading over all halves."""
    of_pairs = [
        slipped
        for slip in FEATURES[reading.feature].slips
        if FEATURES[slip.instead].subject is Subject.PAIR
        for slipped in _of_pairs(slip, reading.feature, columns)
    ]
    return mixture(reading, columns.dimensions[reading.feature], columns.dimensions, of_pairs)


def half_probability(reading: Reduced, columns: Columns, known: Mapping[str, int]) -> Floats:
    """Probability (density per mm for a measured dimension) of the observation for each half.

    A shared error is folded in as the reading's own. ``known`` maps keys to positions for trial fits.
    """
    kind = FEATURES[reading.feature].kind
    if kind is Kind.DIMENSION and reading.value is not None:
        return dimension_density(reading, half_mixture(reading, columns))
    if kind is Kind.DIMENSION:
        return dimension_probability(reading, columns.dimensions[reading.feature], columns.dimensions)
    if kind is Kind.COUNT:
        return np.maximum(count_probability(reading.feature, *reading.count_range, columns), IMPOSSIBLE)
    if reading.text is not None:
        return marking_ratio(reading.text, columns.texts)
    if reading.fit is not None:
        return fit_probability(reading.fit, columns, known)
    seen, has = reading.values or frozenset(), columns.categories[reading.feature]
    if kind is Kind.LABELS:
        return labels_probability(reading.feature, seen, has)
    return category_probability(reading.feature, seen, has)


def dimension_density(reading: Reduced, explained: Mixture) -> Floats:
    """Density of a reading alone in its shared group; an unscaled one says nothing: 1/x for everything."""
    if reading.unscaled:
        return np.full(len(explained.floor), 1.0 / reading.number)
    return explained.density(reading.number, folded(reading))


def dimension_probability(reading: Reduced, own: DimensionColumn, others: Mapping[str, DimensionColumn]) -> Floats:
    """Density of a measured dimension, or probability of a bound on it, under halves described by ``own``."""
    if reading.value is not None:
        return dimension_density(reading, mixture(reading, own, others))
    known = ~np.isnan(own.centre)
    centre, half_width = np.nan_to_num(own.centre), np.nan_to_num(own.half_width)
    half_width = over_gaps(reading.feature, half_width, reading.spans)
    w = np.maximum(np.hypot(reading.total_u, np.nan_to_num(own.extra_u)), W_MIN)
    below = np.ones(len(centre))
    if reading.at_most is not None:
        below = rectangle_normal_cdf(reading.at_most - centre, half_width, w)
    if reading.at_least is not None:
        below = below - rectangle_normal_cdf(reading.at_least - centre, half_width, w)
    gross = FEATURES[reading.feature].gross_share
    inside = (1 - gross) * np.maximum(below, 0.0) + gross * BOUND_GROSS
    return np.where(known, inside, BOUND_GROSS)


def _of_pairs(slip: Slip, feature: str, columns: Columns) -> list[Slipped]:
    """A dimension of the mated pair, as stated for the first, the second, … mating of each half."""
    column = columns.matings.dimensions.get(slip.instead)
    if column is None:
        return []
    usable = np.flatnonzero(~np.isnan(column.centre))
    usable = usable[np.argsort(columns.matings.half[usable], kind="stable")]
    halves = columns.matings.half[usable]
    number = np.bincount(halves, minlength=len(columns))
    if not len(usable):
        return []
    rank = np.arange(len(halves)) - np.concatenate(([0], np.cumsum(number)))[halves]
    table = np.full((4, int(number.max()), len(columns)), np.nan)
    table[3] = 0.0
    table[:3, rank, halves] = column.centre[usable], column.half_width[usable], column.extra_u[usable]
    table[3, rank, halves] = slip.share / number[halves]
    words = taken_for(slip.instead, feature)
    return [
        Slipped(words=words, share=share, centre=centre, half_width=half_width, entry_u=entry_u)
        for centre, half_width, entry_u, share in table.transpose(1, 0, 2)
    ]
