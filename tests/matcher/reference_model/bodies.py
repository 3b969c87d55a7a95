"""What is known of one body: a half of the catalogue, or an unlisted mate of a half."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from matcher.columns.columns import Columns, DimensionColumn
from matcher.features import FEATURES
from tests.matcher.reference_model.intervals import NOTHING_KNOWN, Interval

KNOWN_KIND = 0.999
"""Probability from which the kind of a half counts as known."""


def interval_of(columns: Mapping[str, DimensionColumn], feature: str, position: int) -> Interval:
    """Return one cell of the dimension columns; nothing is known of a feature without a column."""
    if feature not in columns:
        return NOTHING_KNOWN
    column = columns[feature]
    return Interval(
        centre=float(column.centre[position]),
        half=float(column.half_width[position]),
        extra=float(column.extra_u[position]),
        broad=float(column.broad[position]),
    )


def matings_of(columns: Columns, half: int) -> list[int]:
    """Return the positions of the matings listed for a half."""
    return [m for m in range(len(columns.matings.half)) if int(columns.matings.half[m]) == half]


def stated_count(columns: Columns, feature: str, half: int) -> int:
    """Return a stated count, −1 where none is stated."""
    return int(columns.counts[feature][half]) if feature in columns.counts else -1


def _relative(values: list[int]) -> dict[int, float]:
    return {value: values.count(value) / len(values) for value in sorted(set(values))}


def catalogue_frequency(columns: Columns, feature: str) -> dict[int, float]:
    """Return the relative frequency of each stated count over all halves, unweighted and including inferred halves."""
    found = [stated_count(columns, feature, half) for half in range(len(columns))]
    return _relative([value for value in found if value >= 0])


def frequency(columns: Columns, feature: str, half: int) -> dict[int, float]:
    """Return the frequency of stated counts in the half's series, else in the catalogue, else nothing."""
    series = int(columns.series[half])
    siblings = [other for other in range(len(columns)) if int(columns.series[other]) == series]
    found = [stated_count(columns, feature, other) for other in siblings]
    return _relative([value for value in found if value >= 0]) or catalogue_frequency(columns, feature)


def known_kind(columns: Columns, half: int) -> str | None:
    """Return the kind of a half if the catalogue is sure of it."""
    row = [float(a) for a in columns.categories["half_kind"][half]]
    best = max(range(len(row)), key=lambda v: row[v])
    return list(FEATURES["half_kind"].values)[best] if row[best] >= KNOWN_KIND else None


class Body(Protocol):
    """Everything that observations of one body are compared with."""

    def interval(self, feature: str) -> Interval:
        """Return where a dimension lies."""

    def states(self, feature: str) -> bool:
        """Return whether a dimension is stated and not predicted."""

    def stack_heights(self) -> list[Interval]:
        """Return the known stack heights of the listed matings."""

    def possible_counts(self, feature: str) -> dict[int, float]:
        """Return each count the body may have with its probability; empty if nothing is known."""

    def known_count(self, feature: str) -> int:
        """Return the stated count, −1 where none is."""

    def category(self, feature: str) -> list[float]:
        """Return the probability of each value, or of each label by itself."""


@dataclass(frozen=True)
class ListedHalf:
    """A half of the catalogue."""

    columns: Columns
    half: int

    def interval(self, feature: str) -> Interval:
        """Return the column's cell."""
        return interval_of(self.columns.dimensions, feature, self.half)

    def states(self, feature: str) -> bool:
        """Return whether the column's cell has a stated value."""
        return not math.isnan(float(self.columns.dimensions[feature].stated[self.half]))

    def stack_heights(self) -> list[Interval]:
        """Return the finite stack heights of the half's matings."""
        cells = [
            interval_of(self.columns.matings.dimensions, "stack_height", m) for m in matings_of(self.columns, self.half)
        ]
        return [cell for cell in cells if cell.known]

    def known_count(self, feature: str) -> int:
        """Return the stated count, −1 where none is."""
        return stated_count(self.columns, feature, self.half)

    def possible_counts(self, feature: str) -> dict[int, float]:
        """Return the stated count, or the frequencies in the series or catalogue."""
        stated = self.known_count(feature)
        return {stated: 1.0} if stated >= 0 else frequency(self.columns, feature, self.half)

    def category(self, feature: str) -> list[float]:
        """Return the column's row."""
        return [float(a) for a in self.columns.categories[feature][self.half]]


@dataclass(frozen=True)
class UnlistedMate:
    """An unlisted mate of a half.

    Readings chosen where the text leaves a choice: its height's slip to a stack height is unresolved, since it has no
    listed mating; contact count and rows follow the half's own possible values, by series, where none is stated.
    """

    columns: Columns
    mate_of: int

    def interval(self, feature: str) -> Interval:
        """Return the predicted dimension."""
        return interval_of(self.columns.unlisted_mate, feature, self.mate_of)

    def states(self, feature: str) -> bool:
        """Return that nothing is stated."""
        return False

    def stack_heights(self) -> list[Interval]:
        """Return nothing: no mating is listed."""
        return []

    def known_count(self, feature: str) -> int:
        """Return the half's own contact count or rows; no other count is stated."""
        own = feature in ("contact_count", "rows")
        return stated_count(self.columns, feature, self.mate_of) if own else -1

    def possible_counts(self, feature: str) -> dict[int, float]:
        """Return the half's own possible contacts and rows, and the catalogue's frequencies for other counts."""
        if feature in ("contact_count", "rows"):
            return ListedHalf(self.columns, self.mate_of).possible_counts(feature)
        return catalogue_frequency(self.columns, feature)

    def category(self, feature: str) -> list[float]:
        """Return the half's kind with plug and receptacle swapped, or the catalogue's mean of any other category."""
        table = self.columns.categories[feature]
        names = list(FEATURES[feature].values)
        if feature == "half_kind":
            opposite = {"plug": "receptacle", "receptacle": "plug", "hermaphroditic": "hermaphroditic"}
            return [float(table[self.mate_of][names.index(opposite[name])]) for name in names]
        return [math.fsum(float(a) for a in table[:, v]) / len(self.columns) for v in range(len(names))]
