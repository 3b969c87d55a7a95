"""The columns of one half alone: for what is asked of the leader only, a catalogue's length is wasted work."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from matcher.columns import Columns, DimensionColumn, Ints, MatingColumns


def only(columns: Columns, half: int) -> Columns:
    """The columns of one half, with its matings."""
    at = np.array([half])
    mine = np.flatnonzero(columns.matings.half == half)
    pairs = {name: _rows(column, mine) for name, column in columns.matings.dimensions.items()}
    return replace(
        columns,
        keys=(columns.keys[half],),
        series=np.zeros(1, dtype=np.int64),
        geometry=np.zeros(1, dtype=np.int64),
        inferred=columns.inferred[at],
        prior_weight=columns.prior_weight[at],
        dimensions={name: _rows(column, at) for name, column in columns.dimensions.items()},
        counts={name: numbers[at] for name, numbers in columns.counts.items()},
        categories={name: has[at] for name, has in columns.categories.items()},
        texts=(columns.texts[half],),
        matings=MatingColumns(half=np.zeros_like(mine), other=columns.matings.other[mine], dimensions=pairs),
        unlisted_mate={name: _rows(column, at) for name, column in columns.unlisted_mate.items()},
    )


def _rows(column: DimensionColumn, rows: Ints) -> DimensionColumn:
    return DimensionColumn(
        stated=column.stated[rows],
        centre=column.centre[rows],
        half_width=column.half_width[rows],
        extra_u=column.extra_u[rows],
    )
