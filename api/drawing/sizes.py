"""The sizes a half is drawn from: what is stated, measured or predicted, and where nothing is, plain proportions.

Lengths are millimetres. Every length says where it comes from; an assumed one shapes the drawing and is never shown as
a figure.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

from api.drawing.geometry import DrawingError
from api.drawing.proportions import Given, proportions
from catalog.model.entries import Half
from matcher.features import DIMENSIONS, PAIR_DIMENSIONS
from matcher.observations import Of, Reduced

MOST_CONTACTS = 20_000
"""Contact sites up to which a half is drawn: 20 rows of 1,000, the largest half that an entry can describe."""

LONGEST_MM = 1000.0
"""Longest dimension that an entry can hold, mm."""

DEFAULT_ROWS, DEFAULT_POSITIONS = 2, 12
"""Rows and contacts per row that are drawn where nobody has counted: enough to see a row, few enough to see a contact.
Common practice, no source."""


class Source(StrEnum):
    """Where a length comes from."""

    STATED = "stated"
    MEASURED = "measured"
    PREDICTED = "predicted"
    ASSUMED = "assumed"


@dataclass(frozen=True, kw_only=True)
class Length:
    """A dimension, mm: ``tolerance`` is a half-width (of a measured one, its standard uncertainty), ``bound`` as the
    source's drawing prints it: nominal, max, min or reference."""

    value: float
    source: Source
    tolerance: float | None = None
    bound: str = "nominal"

    @property
    def known(self) -> bool:
        """Whether it may be shown as a figure."""
        return self.source is not Source.ASSUMED


@dataclass(frozen=True, kw_only=True)
class Sizes:
    """Everything a drawing of one half needs.

    Attributes
    ----------
    name: what it is called, as text of unknown origin.
    half_kind: None where unknown; it is then drawn as a receptacle, dashed.
    row_contacts: contact sites per row, blocked ones included, from the row drawn uppermost.
    blocked: sites left out, (row, position) from 1.
    lengths: every dimension of a half that it can have; assumed where nothing is known.
    counts: bank_count, power_contact_count, hold_down_count where known.
    categories: the values each category may have; a category not there is unknown.
    counted: whether rows and contacts were counted (else they are assumed).
    """

    name: str
    half_kind: str | None
    row_contacts: tuple[int, ...]
    lengths: Mapping[str, Length]
    blocked: frozenset[tuple[int, int]] = frozenset()
    counts: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    categories: Mapping[str, frozenset[str]] = field(default_factory=lambda: MappingProxyType({}))
    counted: bool = True

    @property
    def rows(self) -> int:
        """Rows of contacts."""
        return len(self.row_contacts)

    @property
    def positions(self) -> int:
        """Contact sites of the longest row."""
        return max(self.row_contacts)

    @property
    def banks(self) -> int:
        """Groups of contacts along the rows, at least one."""
        return bank_number(self.counts, self.lengths["bank_gap"].known, self.positions)

    def mm(self, feature: str) -> float:
        """A length's value, mm."""
        return self.lengths[feature].value

    def known(self, *features: str) -> bool:
        """Whether none of these lengths is assumed."""
        return all(self.lengths[feature].known for feature in features)

    def only(self, category: str, *values: str) -> bool:
        """Whether the category is known and can only have these values."""
        return category in self.categories and self.categories[category] <= set(values)

    def form(self, category: str, default: str) -> str:
        """The category's value where there is only one, else ``default``."""
        values = self.categories.get(category, frozenset())
        return next(iter(values)) if len(values) == 1 else default


def bank_number(counts: Mapping[str, int], gap_known: bool, positions: int) -> int:
    """Groups of contacts along the rows: as counted; two where only a gap between them is known."""
    return max(1, min(counts.get("bank_count", 2 if gap_known else 1), positions))


def sizes_of(half: Half) -> Sizes:
    """Sizes of an entry, which need not stand in the catalogue."""
    known = {
        name: Length(value=stated.value, source=Source.STATED, tolerance=stated.tolerance, bound=stated.bound)
        for name, stated in half.dimensions.items()
    }
    return make_sizes(
        name=half.part_number,
        half_kind=half.half_kind,
        row_contacts=_sites(half),
        blocked=frozenset((site.row, site.position) for site in half.blocked),
        lengths=known,
        counts=half.counts,
        categories={name: frozenset(values) for name, values in half.categories.items()},
    )


def _sites(half: Half) -> Sequence[int]:
    """Contact sites per row, blocked ones included."""
    if half.blocked or (half.positions is not None and not half.row_contacts):
        return (half.contacts_per_row,) * half.rows
    return half.row_contacts or _split(half.contact_count, half.rows)


def make_sizes(
    *,
    name: str = "",
    half_kind: str | None = None,
    row_contacts: Sequence[int] | None = None,
    blocked: Iterable[tuple[int, int]] = (),
    lengths: Mapping[str, Length] | None = None,
    counts: Mapping[str, int] | None = None,
    categories: Mapping[str, frozenset[str]] | None = None,
    counted: bool = True,
) -> Sizes:
    """Sizes from whatever is known, the rest from proportions; raises DrawingError for what cannot be drawn.

    ``counted`` False: ``row_contacts`` is a guess (only the rows were counted).
    """
    known = dict(lengths or {})
    for feature, length in known.items():
        _check_length(feature, length.value)
    rows = _checked_rows(row_contacts or (DEFAULT_POSITIONS,) * DEFAULT_ROWS)
    assumed = {
        feature: Length(value=value, source=Source.ASSUMED)
        for feature, value in proportions(_given(half_kind, rows, known, counts or {}, categories or {})).items()
        if feature not in known
    }
    return Sizes(
        name=name,
        half_kind=half_kind,
        row_contacts=tuple(rows),
        blocked=frozenset(blocked),
        lengths=MappingProxyType(known | assumed),
        counts=MappingProxyType(dict(counts or {})),
        categories=MappingProxyType(dict(categories or {})),
        counted=counted and row_contacts is not None,
    )


def _given(
    half_kind: str | None,
    rows: Sequence[int],
    known: Mapping[str, Length],
    counts: Mapping[str, int],
    categories: Mapping[str, frozenset[str]],
) -> Given:
    return Given(
        half_kind=half_kind or "receptacle",
        rows=len(rows),
        positions=max(rows),
        banks=bank_number(counts, "bank_gap" in known, max(rows)),
        tails=_only(categories, "tail_form"),
        hold_downs=_only(categories, "hold_down_form"),
        orientation=_only(categories, "orientation"),
        lengths={feature: length.value for feature, length in known.items()},
    )


def sizes_of_observed(observations: Sequence[Reduced], *, of: Of = Of.THIS) -> Sizes:
    """Sizes from what a person has entered of one half so far; everything else from proportions.

    Bounds and readings in pixels without a scale shape nothing; of several readings of a feature the last counts.
    """
    own = [seen for seen in observations if seen.of is of]
    lengths = {
        seen.feature: Length(value=seen.value, source=Source.MEASURED, tolerance=seen.total_u or None)
        for seen in own
        if seen.value is not None and seen.feature in DIMENSIONS and not _unscaled(seen)
    }
    counts = {seen.feature: seen.count for seen in own if seen.count is not None}
    categories = {seen.feature: frozenset(seen.values) for seen in own if seen.values}
    kinds = categories.pop("half_kind", frozenset())
    contacts = counts.pop("contact_count", None)
    return make_sizes(
        half_kind=next(iter(kinds)) if len(kinds) == 1 else None,
        row_contacts=_counted_rows(contacts, counts.pop("rows", None)),
        counted=contacts is not None,
        lengths=lengths,
        counts=counts,
        categories=categories,
    )


def pair_lengths(observations: Sequence[Reduced]) -> dict[str, Length]:
    """The pair's measured dimensions by feature."""
    return {
        seen.feature: Length(value=seen.value, source=Source.MEASURED, tolerance=seen.total_u or None)
        for seen in observations
        if seen.of is Of.PAIR and seen.value is not None and seen.feature in PAIR_DIMENSIONS and not _unscaled(seen)
    }


def _unscaled(seen: Reduced) -> bool:
    return seen.unscaled


def _counted_rows(contacts: int | None, rows: int | None) -> tuple[int, ...] | None:
    if contacts is None:
        return None if rows is None else (DEFAULT_POSITIONS,) * rows
    return _split(contacts, min(rows or DEFAULT_ROWS, contacts))


def _split(contacts: int, rows: int) -> tuple[int, ...]:
    return tuple(contacts // rows + (row < contacts % rows) for row in range(rows))


def _only(categories: Mapping[str, frozenset[str]], name: str) -> str | None:
    values = categories.get(name, frozenset())
    return next(iter(values)) if len(values) == 1 else None


def _check_length(feature: str, value: float) -> None:
    if feature not in DIMENSIONS:
        raise DrawingError(
            f"{feature!r} is no dimension of a half", field=feature, value=value, remedy="name one of the features"
        )
    if not (math.isfinite(value) and 0 < value <= LONGEST_MM):
        raise DrawingError(
            f"{feature} = {value} mm cannot be drawn",
            field=feature,
            value=value,
            remedy=f"give a number above 0 and up to {LONGEST_MM:.0f} mm, or leave it out",
        )


def _checked_rows(rows: Sequence[int]) -> Sequence[int]:
    if min(rows) < 0 or max(rows) < 1 or sum(rows) > MOST_CONTACTS:
        raise DrawingError(
            f"rows of {list(rows)[:3]} contacts cannot be drawn",
            field="contact_count",
            value=sum(rows),
            remedy=f"give 1 to {MOST_CONTACTS} contacts",
        )
    return rows
