"""A half or mating worked out by itself, as far as that goes: its part of the columns that `matcher.columns.build`
puts together.

A catalogue that keeps these pays, after a change, only for the halves that changed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Bools, Dim, Floats, HalfRow, Ints, MatingRow
from matcher.columns.process_tolerance import process_interval
from matcher.features import CATEGORIES, COUNTS, DIMENSIONS, FEATURES, PAIR_DIMENSIONS, Kind

VALUES = {name: tuple(FEATURES[name].values) for name in CATEGORIES}
"""The values of each category, in the order of their columns."""

_NOT_STATED = (np.nan, np.nan, np.nan, np.nan)
_START = dict(zip(VALUES, np.cumsum([0, *map(len, VALUES.values())]).tolist(), strict=False))
_PLACES = {(name, value): _START[name] + n for name, values in VALUES.items() for n, value in enumerate(values)}


@dataclass(frozen=True, kw_only=True)
class PreparedHalf:
    """One half's part of the columns.

    ``dimensions`` (features of a half × stated, centre, half-width, extra_u; NaN: not stated), ``counts`` (−1: not
    stated), ``has`` (all values of all categories, one category after the other) and ``known`` (by category: stated).
    ``signature`` is equal for halves that nothing measured can tell apart.
    """

    row: HalfRow
    dimensions: Floats
    counts: Ints
    has: Floats
    known: Bools
    signature: str

    @classmethod
    def of(cls, row: HalfRow) -> PreparedHalf:
        """Work a half out."""
        return cls(
            row=row,
            dimensions=_dimension_table(row.dimensions, DIMENSIONS, row.dimensions.get("pitch")),
            counts=np.array([row.counts.get(name, -1) for name in COUNTS], dtype=np.int64),
            has=_has(row.categories),
            known=np.array([name in row.categories for name in CATEGORIES], dtype=bool),
            signature=_signature(row),
        )


@dataclass(frozen=True, kw_only=True)
class PreparedMating:
    """One mating's part of the columns; ``dimensions`` as a half has them, of the pair."""

    row: MatingRow
    dimensions: Floats

    @classmethod
    def of(cls, row: MatingRow) -> PreparedMating:
        """Work a mating out; how closely a pair is held does not depend on the pitch."""
        return cls(row=row, dimensions=_dimension_table(row.dimensions, PAIR_DIMENSIONS, None))


def part_of(has: Floats, feature: str) -> Floats:
    """The columns of one category out of all halves' ``has``."""
    start = _START[feature]
    return has[:, start : start + len(VALUES[feature])]


def _dimension_table(dimensions: Mapping[str, Dim], names: Sequence[str], pitch: Dim | None) -> Floats:
    """Of each named dimension the stated value, the process's centre and half-width, and the extra uncertainty, mm."""
    at = None if pitch is None else pitch.value
    found = {name: (dim.value, *process_interval(name, dim, at), dim.extra_u) for name, dim in dimensions.items()}
    return np.array([found.get(name, _NOT_STATED) for name in names])


def _has(categories: Mapping[str, frozenset[str]]) -> Floats:
    has = np.zeros(len(_PLACES))
    for name, values in categories.items():
        share = 1.0 if FEATURES[name].kind is Kind.LABELS else 1.0 / len(values)
        for value in values:
            has[_PLACES[name, value]] = share
    return has


def _signature(row: HalfRow) -> str:
    # A text, since texts keep their hash: halves are numbered by it each time that columns are built.
    dims = sorted(
        (name, round(dim.value / FEATURES[name].same_within), dim.bound) for name, dim in row.dimensions.items()
    )
    categories = sorted((name, sorted(values)) for name, values in row.categories.items())
    return repr((dims, sorted(row.counts.items()), categories, row.inferred))
