"""Building the matcher's columns from plain rows: process intervals, imputed values, geometry numbers.

Each half or mating is prepared by itself as far as possible. A catalogue that keeps the prepared parts only prepares
the halves that changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import (
    Bools,
    Columns,
    Dim,
    DimensionColumn,
    Floats,
    HalfRow,
    Ints,
    MatingColumns,
    MatingRow,
)
from matcher.columns.imputation import Layout, predict_dimensions, predict_pair_dimension, predict_unlisted_mate
from matcher.columns.process_tolerance import broad_half_width, process_interval
from matcher.features import CATEGORIES, COUNTS, DIMENSIONS, FEATURES, PAIR_DIMENSIONS, Kind

VALUES = {name: tuple(FEATURES[name].values) for name in CATEGORIES}
"""The values of each category, in the order of their columns."""

_NOT_STATED = (np.nan, np.nan, 0.0, 0.0, 0.0)
_START = dict(zip(VALUES, np.cumsum([0, *map(len, VALUES.values())]).tolist(), strict=False))
_PLACES = {(name, value): _START[name] + n for name, values in VALUES.items() for n, value in enumerate(values)}


_SAME_AS = {name: rule for name in DIMENSIONS if (rule := FEATURES[name].same_as) is not None}


@dataclass(frozen=True, kw_only=True)
class PreparedHalf:
    """One half's part of the columns.

    ``dimensions`` is (features of a half × fields of `DimensionColumn`; NaN: not stated), ``counts`` has −1 where not
    stated, ``has`` holds all values of all categories, one category after the other, and ``known`` whether a category
    is stated. Halves that no measurement can distinguish have equal ``signature``.
    """

    row: HalfRow
    dimensions: Floats
    counts: Ints
    has: Floats
    known: Bools
    signature: str

    @classmethod
    def of(cls, row: HalfRow) -> PreparedHalf:
        """Prepare a half."""
        dimensions = {**row.dimensions, **dict(_implied(row))}
        return cls(
            row=row,
            dimensions=_dimension_table(dimensions, DIMENSIONS, dimensions.get("pitch")),
            counts=np.array([row.counts.get(name, -1) for name in COUNTS], dtype=np.int64),
            has=_has(row.categories),
            known=np.array([name in row.categories for name in CATEGORIES], dtype=bool),
            signature=_signature(row, dimensions),
        )


@dataclass(frozen=True, kw_only=True)
class PreparedMating:
    """One mating's part of the columns; ``dimensions`` are those of the pair, laid out as for a half."""

    row: MatingRow
    dimensions: Floats

    @classmethod
    def of(cls, row: MatingRow) -> PreparedMating:
        """Prepare a mating; tolerances of a pair do not depend on the pitch."""
        return cls(row=row, dimensions=_dimension_table(row.dimensions, PAIR_DIMENSIONS, None))


def _implied(row: HalfRow) -> Iterator[tuple[str, Dim]]:
    """Dimensions that an entry need not state, since they are equal to another one."""
    for name, rule in _SAME_AS.items():
        may_be_twice = rule.value in row.categories.get(rule.or_twice_where, ())
        if name not in row.dimensions and rule.of in row.dimensions and not may_be_twice:
            yield name, row.dimensions[rule.of]


def part_of(has: Floats, feature: str) -> Floats:
    """The columns of one category, from ``has`` of all halves."""
    start = _START[feature]
    return has[:, start : start + len(VALUES[feature])]


def _dimension_table(dimensions: Mapping[str, Dim], names: Sequence[str], pitch: Dim | None) -> Floats:
    """The fields of `DimensionColumn` for each named dimension, mm."""
    at = None if pitch is None else pitch.value
    found = {
        name: (dim.value, *process_interval(name, dim, at), broad_half_width(name, dim), dim.extra_u)
        for name, dim in dimensions.items()
    }
    return np.array([found.get(name, _NOT_STATED) for name in names])


def _has(categories: Mapping[str, frozenset[str]]) -> Floats:
    has = np.zeros(len(_PLACES))
    for name, values in categories.items():
        share = 1.0 if FEATURES[name].kind is Kind.LABELS else 1.0 / len(values)
        for value in values:
            has[_PLACES[name, value]] = share
    return has


def _signature(row: HalfRow, dimensions: Mapping[str, Dim]) -> str:
    # A string, since strings cache their hash: halves are numbered by it each time that columns are built.
    dims = sorted((name, round(dim.value / FEATURES[name].same_within), dim.bound) for name, dim in dimensions.items())
    categories = sorted((name, sorted(values)) for name, values in row.categories.items())
    return repr((dims, sorted(row.counts.items()), categories, row.inferred))


INFERRED_PRIOR = 0.1
"""Prior of an inferred variant, which is not listed, relative to a listed half. Common practice, no source."""

PSEUDO_SIBLINGS = 1.0
"""Weight of the whole catalogue's frequencies, in siblings, where a category is predicted from a series."""


def build_columns(rows: Iterable[HalfRow], matings: Sequence[MatingRow]) -> Columns:
    """Columns of the catalogue. Matings that name an unknown half raise KeyError."""
    halves = [PreparedHalf.of(row) for row in rows]
    return assemble_columns(halves, [PreparedMating.of(row) for row in matings])


def assemble_columns(halves: Sequence[PreparedHalf], matings: Sequence[PreparedMating]) -> Columns:
    """Columns from prepared halves and matings. Matings that name an unknown half raise KeyError."""
    rows = [half.row for half in halves]
    series = _numbers([row.series for row in rows])
    counts = _counts(halves)
    stated = _stated([half.dimensions for half in halves], DIMENSIONS)
    layout = Layout.of(stated["pitch"], counts, series)
    categories = _categories(halves, series)
    pairs = _pair_columns(rows, matings)
    kinds = categories["half_kind"]
    dimensions = predict_dimensions(stated, layout, counts, kinds)
    unlisted = {name: predict_unlisted_mate(name, column, layout, kinds) for name, column in stated.items()}
    unlisted |= {name: predict_pair_dimension(column, pairs.half, layout) for name, column in pairs.dimensions.items()}
    inferred = np.array([row.inferred for row in rows], dtype=bool)
    return Columns(
        keys=tuple(row.key for row in rows),
        series=series,
        geometry=_numbers([half.signature for half in halves]),
        inferred=inferred,
        prior_weight=np.where(inferred, INFERRED_PRIOR, 1.0),
        dimensions=dimensions,
        counts=counts,
        categories=categories,
        texts=tuple(row.texts for row in rows),
        matings=pairs,
        unlisted_mate=unlisted,
    )


def _numbers(names: Sequence[str]) -> Ints:
    order: dict[str, int] = {}
    return np.array([order.setdefault(name, len(order)) for name in names], dtype=np.int64)


def _stacked(parts: Sequence[np.ndarray], shape: tuple[int, ...], kind: type = np.float64) -> np.ndarray:
    return np.array(parts, dtype=kind).reshape(len(parts), *shape)  # the shape matters where there are no parts


def _counts(halves: Sequence[PreparedHalf]) -> dict[str, Ints]:
    table = np.ascontiguousarray(_stacked([half.counts for half in halves], (len(COUNTS),), np.int64).T)
    return dict(zip(COUNTS, table, strict=True))


def _stated(parts: Sequence[Floats], names: Sequence[str]) -> dict[str, DimensionColumn]:
    """Columns of dimensions from each row's table (dimensions × the fields of `DimensionColumn`)."""
    table = np.ascontiguousarray(_stacked(parts, (len(names), len(_NOT_STATED))).transpose(1, 2, 0))
    return {
        name: DimensionColumn(stated=stated, centre=centre, half_width=half_width, broad=broad, extra_u=extra_u)
        for name, (stated, centre, half_width, broad, extra_u) in zip(names, table, strict=True)
    }


def _categories(halves: Sequence[PreparedHalf], series: Ints) -> dict[str, Floats]:
    width = sum(len(values) for values in VALUES.values())
    has = _stacked([half.has for half in halves], (width,))
    known = _stacked([half.known for half in halves], (len(CATEGORIES),), np.bool_)
    return {
        name: _predicted_category(np.ascontiguousarray(part_of(has, name)), stated, series)
        for name, stated in zip(CATEGORIES, known.T, strict=True)
    }


def _predicted_category(has: Floats, known: np.ndarray, series: Ints) -> Floats:
    if np.all(known) or not len(has):
        return has
    overall = has[known].mean(axis=0) if np.any(known) else np.full(has.shape[1], 1.0 / has.shape[1])
    groups = int(series.max()) + 1
    total = np.stack([np.bincount(series[known], weights=column[known], minlength=groups) for column in has.T], axis=1)
    members = np.bincount(series[known], minlength=groups)[:, None]
    by_series = (total + PSEUDO_SIBLINGS * overall) / (members + PSEUDO_SIBLINGS)
    return np.where(known[:, None], has, by_series[series])


def _pair_columns(rows: Sequence[HalfRow], matings: Sequence[PreparedMating]) -> MatingColumns:
    """Each mating in both directions; only once for a half that mates with itself."""
    positions = {row.key: position for position, row in enumerate(rows)}
    both = [(positions[m.row.half], positions[m.row.other], m.dimensions) for m in matings]
    both += [(other, half, dims) for half, other, dims in both if half != other]
    return MatingColumns(
        half=np.array([half for half, _, _ in both], dtype=np.int64),
        other=np.array([other for _, other, _ in both], dtype=np.int64),
        dimensions=_stated([dims for _, _, dims in both], PAIR_DIMENSIONS),
    )
