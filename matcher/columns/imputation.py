"""Imputation of values that the catalogue does not state, from pitch, positions, rows and siblings.

Along the rows a dimension is pitch × (positions − 1) plus an allowance (mm), and the allowance is predicted. Across the
rows and upwards the logarithm of the dimension is predicted. Both follow a straight line in ln(pitch) and ln(rows),
fitted to stated values and shifted by siblings of the same series.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from matcher.columns.columns import Bools, DimensionColumn, Floats, Ints
from matcher.feature_fields import Beyond
from matcher.features import FEATURES, Feature

FEWEST = 3
"""Fewest stated values for a prediction."""

RIDGE = 1e-3
"""Ridge penalty: keeps the fit defined where all halves have one pitch or row count."""

FLOOR_MM, FLOOR_LOG = 0.03, 0.01
"""Smallest standard deviation of a prediction: mm along the rows, relative otherwise."""

WIDEST_LOG = 0.5
"""Largest relative standard uncertainty: above it a normal density carries no information."""


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Input of predictions: contact span (pitch × (positions − 1), mm), regressors (halves × 3), series."""

    contact_span: Floats
    regressors: Floats
    series: Ints
    pitch: DimensionColumn

    @classmethod
    def of(cls, pitch: DimensionColumn, counts: Mapping[str, Ints], series: Ints) -> Layout:
        """From the stated pitches, counts and series numbers; NaN where pitch or count is not stated."""
        contacts, rows = counts["contact_count"], np.maximum(counts["rows"], 1)
        positions = np.ceil(contacts / rows)
        span = np.where(contacts > 0, pitch.stated * (positions - 1), np.nan)
        ones = np.ones(len(rows))
        regressors = np.stack([ones, np.log(pitch.stated), np.log(rows)], axis=1)
        return cls(contact_span=span, regressors=regressors, series=series, pitch=pitch)

    @property
    def usable(self) -> Bools:
        """Which halves have pitch and count."""
        return ~np.isnan(self.contact_span)


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A fitted line: coefficients, spread around it, and per series the siblings' mean residual (NaN: none)."""

    coefficients: Floats
    spread: float
    within: float
    by_series: Floats


def predict_dimensions(
    stated: Mapping[str, DimensionColumn], layout: Layout, counts: Mapping[str, Ints], kinds: Floats
) -> dict[str, DimensionColumn]:
    """All dimensions of the halves with their missing values predicted; NaN where a half cannot have the dimension."""
    found = {name: predict_dimension(name, column, layout) for name, column in stated.items()}
    for name, column in found.items():
        for beyond in reversed(FEATURES[name].beyond):
            found[name] = column = _beyond(beyond, column, found[beyond.other])
        lacks = _lacks(FEATURES[name], counts, kinds) & np.isnan(column.stated)
        found[name] = replace(column, centre=np.where(lacks, np.nan, column.centre))
    return found


def _beyond(beyond: Beyond, column: DimensionColumn, other: DimensionColumn) -> DimensionColumn:
    wanted = np.isnan(column.stated) & ~np.isnan(other.stated) & (other.stated + beyond.low > 0.0)
    middle, half_width = (beyond.low + beyond.high) / 2, (beyond.high - beyond.low) / 2
    return DimensionColumn(
        stated=column.stated,
        centre=np.where(wanted, other.stated + middle, column.centre),
        half_width=np.where(wanted, half_width, column.half_width),
        broad=column.broad,
        extra_u=np.where(wanted, np.hypot(other.extra_u, other.half_width / math.sqrt(3.0)), column.extra_u),
    )


def _lacks(feature: Feature, counts: Mapping[str, Ints], kinds: Floats) -> Bools:
    """Halves that cannot have a dimension: without what it is measured over, or of a kind that has none."""
    lacks = np.zeros(len(kinds), dtype=np.bool_)
    if feature.needs is not None:
        lacks |= counts[feature.needs] == 0
    if feature.not_of_kind is not None:
        lacks |= kinds[:, list(FEATURES["half_kind"].values).index(feature.not_of_kind)] == 1.0
    return lacks


def predict_dimension(feature: str, column: DimensionColumn, layout: Layout) -> DimensionColumn:
    """The column with its missing values predicted; unchanged where too little is stated."""
    if FEATURES[feature].same_as is not None:
        return _once_or_twice(column, layout.pitch)
    missing = np.isnan(column.stated) & layout.usable
    known = ~np.isnan(column.stated) & layout.usable
    if feature == "pitch" or not np.any(missing) or known.sum() < FEWEST:
        return column
    along = FEATURES[feature].along_rows
    target = _target(column.centre, layout, along)
    fit = _fit(target, known, layout, FLOOR_MM if along else FLOOR_LOG)
    shift = fit.by_series[layout.series]
    has_siblings = ~np.isnan(shift)
    predicted = layout.regressors @ fit.coefficients + np.where(has_siblings, shift, 0.0)
    spread = np.where(has_siblings, fit.within, fit.spread)
    return _filled(column, missing, predicted, spread, layout, along)


def _once_or_twice(column: DimensionColumn, pitch: DimensionColumn) -> DimensionColumn:
    """Where the tails may leave alternately and no pitch at the board is stated: mean and spread of one pitch and two,
    as probable."""
    missing = np.isnan(column.stated) & ~np.isnan(pitch.stated)
    return DimensionColumn(
        stated=column.stated,
        centre=np.where(missing, 1.5 * pitch.stated, column.centre),
        half_width=column.half_width,
        broad=column.broad,
        extra_u=np.where(missing, 0.5 * pitch.stated, column.extra_u),
    )


def predict_unlisted_mate(feature: str, column: DimensionColumn, layout: Layout, kinds: Floats) -> DimensionColumn:
    """Dimension of an unlisted mate: a pitch is the half's own; else the fitted line of halves of the opposite kind."""
    if FEATURES[feature].is_pitch:
        return layout.pitch
    empty = _empty(len(column.stated))
    known = ~np.isnan(column.stated) & layout.usable
    if known.sum() < FEWEST:
        return empty
    along = FEATURES[feature].along_rows
    target = _target(column.centre, layout, along)
    plugs = kinds[:, list(FEATURES["half_kind"].values).index("plug")] > 0.5
    filled = empty
    for own_is_plug in (True, False):
        of_mates = known & (plugs != own_is_plug)
        used = of_mates if of_mates.sum() >= FEWEST else known
        fit = _fit(target, used, layout, FLOOR_MM if along else FLOOR_LOG)
        predicted = layout.regressors @ fit.coefficients
        wanted = layout.usable & (plugs == own_is_plug)
        filled = _filled(filled, wanted, predicted, np.full(len(wanted), fit.spread), layout, along)
    return filled


def predict_pair_dimension(column: DimensionColumn, halves: Ints, layout: Layout) -> DimensionColumn:
    """Dimension of the pair with an unlisted mate, for every half: the line fitted to all listed matings."""
    size = len(layout.series)
    known = ~np.isnan(column.stated) & layout.usable[halves]
    if known.sum() < FEWEST:
        return _empty(size)
    target, regressors = np.log(column.centre[known]), layout.regressors[halves[known]]
    coefficients = _solve(regressors, target)
    spread = max(_spread(target - regressors @ coefficients), FLOOR_LOG)
    predicted = layout.regressors @ coefficients
    return _filled(_empty(size), layout.usable, predicted, np.full(size, spread), layout, along=False)


def _empty(size: int) -> DimensionColumn:
    nothing, zero = np.full(size, np.nan), np.zeros(size)
    return DimensionColumn(stated=nothing, centre=nothing, half_width=zero, broad=zero, extra_u=zero)


def _target(values: Floats, layout: Layout, along: bool) -> Floats:
    with np.errstate(invalid="ignore"):
        return values - layout.contact_span if along else np.log(values)


def _filled(
    column: DimensionColumn, wanted: Bools, predicted: Floats, spread: Floats, layout: Layout, along: bool
) -> DimensionColumn:
    with np.errstate(invalid="ignore", over="ignore"):
        centre = predicted + layout.contact_span if along else np.exp(predicted)
        extra_u = spread if along else centre * np.minimum(spread, WIDEST_LOG)
    wanted = wanted & (centre > 0)
    return DimensionColumn(
        stated=column.stated,
        centre=np.where(wanted, centre, column.centre),
        half_width=np.where(wanted, 0.0, column.half_width),
        broad=np.where(wanted, 0.0, column.broad),
        extra_u=np.where(wanted, extra_u, column.extra_u),
    )


def _solve(regressors: Floats, target: Floats) -> Floats:
    penalty = RIDGE * len(target) * np.eye(regressors.shape[1])
    penalty[0, 0] = 0.0
    return np.asarray(np.linalg.solve(regressors.T @ regressors + penalty, regressors.T @ target))


def _spread(residuals: Floats) -> float:
    return float(np.sqrt(np.mean(residuals**2)))


def _fit(target: Floats, known: Bools, layout: Layout, floor: float) -> Fit:
    regressors, series = layout.regressors[known], layout.series[known]
    coefficients = _solve(regressors, target[known])
    residuals = target[known] - regressors @ coefficients
    groups = int(layout.series.max()) + 1
    members = np.bincount(series, minlength=groups)
    means = np.bincount(series, weights=residuals, minlength=groups) / np.maximum(members, 1)
    inner = residuals - means[series]
    freedom = max(int(len(inner) - np.count_nonzero(members)), 1)
    return Fit(
        coefficients=coefficients,
        spread=max(_spread(residuals), floor),
        within=max(float(np.sqrt(np.sum(inner**2) / freedom)), floor),
        by_series=np.where(members > 0, means, np.nan),
    )
