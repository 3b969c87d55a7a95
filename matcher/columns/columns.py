"""The catalogue in the matcher's form: one array per feature, one position per half.

Values are millimetres. The catalogue (or a test, or a script) makes plain rows; `matcher.columns.build.build_columns`
turns them into these arrays.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from matcher.errors import UnknownHalfError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Dim:
    """A dimension as its source gives it, mm.

    ``bound`` is the kind of number that the drawing prints: nominal, max, min or reference. ``tolerance`` is the
    drawing's half-width (None: not stated). ``extra_u`` is a standard uncertainty of the entry itself, for example of
    a fitted law's prediction or a doubtful outline.
    """

    value: float
    tolerance: float | None = None
    bound: str = "nominal"
    extra_u: float = 0.0


@dataclass(frozen=True, kw_only=True)
class HalfRow:
    """One half for `build_columns`. ``counts`` always has contact_count and rows; ``categories`` maps a feature to the
    set of its possible values."""

    key: str
    series: str
    dimensions: Mapping[str, Dim]
    counts: Mapping[str, int]
    categories: Mapping[str, frozenset[str]]
    texts: tuple[str, ...] = ()
    inferred: bool = False


@dataclass(frozen=True, kw_only=True)
class MatingRow:
    """Two halves that mate, by key, and the dimensions of the pair."""

    half: str
    other: str
    dimensions: Mapping[str, Dim]


@dataclass(frozen=True, kw_only=True)
class DimensionColumn:
    """One dimension over all halves: the process interval centre ± half_width, and an extra uncertainty.

    ``broad`` is the half-width for the parts that keep less closely to a recommended dimension; 0 where all keep to it.
    ``stated`` is the catalogue's value, also one that is equal to another dimension (NaN: not stated). Where a value is
    not stated, ``centre`` is predicted: from pitch, positions and siblings, with both half-widths 0 and the standard
    uncertainty ``extra_u``, or from another dimension, anywhere within ± ``half_width``. NaN in ``centre`` means that
    there is no prediction either, or that the half cannot have the dimension.
    """

    stated: Floats
    centre: Floats
    half_width: Floats
    broad: Floats
    extra_u: Floats

    def filled_from(self, other: DimensionColumn) -> DimensionColumn:
        """The column with the predictions of ``other`` where it has no value."""
        missing = np.isnan(self.centre)
        return DimensionColumn(
            stated=self.stated,
            centre=np.where(missing, other.centre, self.centre),
            half_width=np.where(missing, other.half_width, self.half_width),
            broad=np.where(missing, other.broad, self.broad),
            extra_u=np.where(missing, other.extra_u, self.extra_u),
        )

    def take(self, rows: Ints) -> DimensionColumn:
        """The column at the given rows only."""
        return DimensionColumn(
            stated=self.stated[rows],
            centre=self.centre[rows],
            half_width=self.half_width[rows],
            broad=self.broad[rows],
            extra_u=self.extra_u[rows],
        )


@dataclass(frozen=True, kw_only=True)
class MatingColumns:
    """Matings, each listed once per direction: ``half[i]`` mates with ``other[i]``."""

    half: Ints
    other: Ints
    dimensions: Mapping[str, DimensionColumn]

    def stating(self, feature: str, half: int) -> Ints:
        """Matings of a half that state a dimension of the pair."""
        column = self.dimensions.get(feature)
        if column is None:
            return np.zeros(0, dtype=np.int64)
        return np.flatnonzero((self.half == half) & ~np.isnan(column.stated))


@dataclass(frozen=True, kw_only=True, eq=False)
class Columns:
    """The whole catalogue in columns; two are equal only if they are the same object.

    Attributes
    ----------
    keys: identifier of each half.
    series: series number of each half.
    geometry: geometry number; no measurement can distinguish halves with the same number.
    prior_weight: relative prior of each half (1 listed, 0.1 inferred).
    dimensions: by feature, see `DimensionColumn`.
    counts: by feature, −1 where not stated (contact_count and rows always are).
    categories: by feature, (halves × values) probabilities that the half has the value: rows of stated
        halves are 0/1 (shared equally where a set is stated), the others are predicted. For `keying` (labels)
        each entry is the probability that its label is present.
    texts: texts that may be read on the half: markings, part number, order codes, aliases.
    unlisted_mate: dimensions predicted for an unlisted mate, those of the other half and of the pair.
    """

    keys: tuple[str, ...]
    series: Ints
    geometry: Ints
    inferred: Bools
    prior_weight: Floats
    dimensions: Mapping[str, DimensionColumn]
    counts: Mapping[str, Ints]
    categories: Mapping[str, Floats]
    texts: tuple[tuple[str, ...], ...]
    matings: MatingColumns
    unlisted_mate: Mapping[str, DimensionColumn]

    def __len__(self) -> int:
        return len(self.keys)

    @cached_property
    def log_prior(self) -> Floats:
        """Log of each half's share of the prior; the shares add up to 1."""
        return np.asarray(np.log(self.prior_weight) - np.log(self.prior_weight.sum()))

    def position(self, key: str) -> int:
        """Position of a half. Raises UnknownHalfError."""
        if key not in self._positions:
            raise UnknownHalfError(key)
        return self._positions[key]

    @cached_property
    def _positions(self) -> dict[str, int]:
        return {key: position for position, key in enumerate(self.keys)}

    def only(self, half: int) -> Columns:
        """The columns of one half, with its matings, for questions about it alone."""
        at = np.array([half])
        mine = np.flatnonzero(self.matings.half == half)
        pairs = {name: column.take(mine) for name, column in self.matings.dimensions.items()}
        return replace(
            self,
            keys=(self.keys[half],),
            series=np.zeros(1, dtype=np.int64),
            geometry=np.zeros(1, dtype=np.int64),
            inferred=self.inferred[at],
            prior_weight=self.prior_weight[at],
            dimensions={name: column.take(at) for name, column in self.dimensions.items()},
            counts={name: numbers[at] for name, numbers in self.counts.items()},
            categories={name: has[at] for name, has in self.categories.items()},
            texts=(self.texts[half],),
            matings=MatingColumns(half=np.zeros_like(mine), other=self.matings.other[mine], dimensions=pairs),
            unlisted_mate={name: column.take(at) for name, column in self.unlisted_mate.items()},
        )
