"""From plain rows to the matcher's columns: process intervals, predictions of what is not stated, geometry numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from matcher.columns import (
    Columns,
    Dim,
    DimensionColumn,
    Floats,
    HalfRow,
    Ints,
    MatingColumns,
    MatingRow,
)
from matcher.features import CATEGORIES, COUNTS, DIMENSIONS, FEATURES, PAIR_DIMENSIONS, Kind
from matcher.missing import Layout, predict_dimension, predict_pair_dimension, predict_unlisted_mate
from matcher.tolerances import process_interval

INFERRED_PRIOR = 0.1
"""Prior of a variant that nobody listed, relative to a listed half. Common practice, no source."""

SAME_GEOMETRY = {"pitch": 0.01}
SAME_GEOMETRY_DEFAULT = 0.02
"""Entries whose stated dimensions round to equal multiples of this, mm, are one geometry: no process holds less."""

PSEUDO_SIBLINGS = 1.0
"""Weight of the whole catalogue's frequencies, in siblings, where a category is predicted from a series."""


def build_columns(rows: Sequence[HalfRow], matings: Sequence[MatingRow]) -> Columns:
    """Columns of the catalogue. Matings that name an unknown half raise KeyError."""
    positions = {row.key: position for position, row in enumerate(rows)}
    series = _numbers([row.series for row in rows])
    counts = {name: np.array([row.counts.get(name, -1) for row in rows], dtype=np.int64) for name in COUNTS}
    stated = {name: _stated(name, [row.dimensions.get(name) for row in rows], _pitches(rows)) for name in DIMENSIONS}
    layout = Layout.of(stated["pitch"], counts, series)
    kinds = _category("half_kind", rows, series)
    dimensions = {name: predict_dimension(name, column, layout) for name, column in stated.items()}
    pairs = _pair_columns(rows, matings, positions)
    unlisted = {name: predict_unlisted_mate(name, column, layout, kinds) for name, column in stated.items()}
    unlisted |= {name: predict_pair_dimension(column, pairs.half, layout) for name, column in pairs.dimensions.items()}
    categories = {name: kinds if name == "half_kind" else _category(name, rows, series) for name in CATEGORIES}
    inferred = np.array([row.inferred for row in rows], dtype=bool)
    return Columns(
        keys=tuple(row.key for row in rows),
        series=series,
        geometry=_geometry(rows),
        inferred=inferred,
        prior_weight=np.where(inferred, INFERRED_PRIOR, 1.0),
        dimensions=dimensions,
        counts=counts,
        categories=categories,
        texts=tuple(row.texts for row in rows),
        matings=pairs,
        unlisted_mate=unlisted,
    )


def _pitches(rows: Sequence[HalfRow]) -> list[float | None]:
    return [row.dimensions["pitch"].value if "pitch" in row.dimensions else None for row in rows]


def _numbers(names: Sequence[object]) -> Ints:
    order: dict[object, int] = {}
    return np.array([order.setdefault(name, len(order)) for name in names], dtype=np.int64)


def _stated(feature: str, dims: Sequence[Dim | None], pitches: Sequence[float | None]) -> DimensionColumn:
    table = np.full((4, len(dims)), np.nan)
    for position, (dim, pitch) in enumerate(zip(dims, pitches, strict=True)):
        if dim is not None:
            centre, half_width = process_interval(feature, dim, pitch)
            table[:, position] = dim.value, centre, half_width, dim.extra_u
    return DimensionColumn(stated=table[0], centre=table[1], half_width=table[2], extra_u=table[3])


def _category(feature: str, rows: Sequence[HalfRow], series: Ints) -> Floats:
    names = list(FEATURES[feature].values)
    labels = FEATURES[feature].kind is Kind.LABELS
    has = np.zeros((len(rows), len(names)))
    for position, row in enumerate(rows):
        values = row.categories.get(feature, frozenset())
        for value in values:
            has[position, names.index(value)] = 1.0 if labels else 1.0 / len(values)
    known = np.array([feature in row.categories for row in rows], dtype=bool)
    return _predicted_category(has, known, series)


def _predicted_category(has: Floats, known: np.ndarray, series: Ints) -> Floats:
    if np.all(known) or not len(has):
        return has
    overall = has[known].mean(axis=0) if np.any(known) else np.full(has.shape[1], 1.0 / has.shape[1])
    groups = int(series.max()) + 1
    total = np.stack([np.bincount(series[known], weights=column[known], minlength=groups) for column in has.T], axis=1)
    members = np.bincount(series[known], minlength=groups)[:, None]
    by_series = (total + PSEUDO_SIBLINGS * overall) / (members + PSEUDO_SIBLINGS)
    return np.where(known[:, None], has, by_series[series])


def _pair_columns(rows: Sequence[HalfRow], matings: Sequence[MatingRow], positions: Mapping[str, int]) -> MatingColumns:
    """Each mating in both directions; a half that mates with itself once."""
    pitches = _pitches(rows)
    both = [(positions[m.half], positions[m.other], m.dimensions) for m in matings]
    both += [(other, half, dims) for half, other, dims in both if half != other]
    return MatingColumns(
        half=np.array([half for half, _, _ in both], dtype=np.int64),
        other=np.array([other for _, other, _ in both], dtype=np.int64),
        dimensions={
            name: _stated(name, [dims.get(name) for _, _, dims in both], [pitches[half] for half, _, _ in both])
            for name in PAIR_DIMENSIONS
        },
    )


def _geometry(rows: Sequence[HalfRow]) -> Ints:
    def signature(row: HalfRow) -> tuple[object, ...]:
        dims = tuple(
            sorted(
                (name, round(dim.value / SAME_GEOMETRY.get(name, SAME_GEOMETRY_DEFAULT)), dim.bound)
                for name, dim in row.dimensions.items()
            )
        )
        categories = tuple(sorted((name, tuple(sorted(values))) for name, values in row.categories.items()))
        return dims, tuple(sorted(row.counts.items())), categories, row.inferred

    return _numbers([signature(row) for row in rows])
