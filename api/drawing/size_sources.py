"""The sizes of a half from an entry or observations, and usual proportions for the rest."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from api.drawing.geometry import DrawingError
from api.drawing.proportions import proportions
from api.drawing.sizes import Length, Sizes, Source
from catalog.model.contact_names import blocked_places, first_contact, row_lengths, split
from catalog.model.entries import Half
from catalog.model.numbering import Place
from matcher.features import DIMENSIONS, PAIR_DIMENSIONS
from matcher.observations import Of, Reduced

MOST_CONTACTS = 20_000
"""Contact sites up to which a half is drawn: 20 rows of 1,000, the largest half that an entry can describe."""

LONGEST_MM = 1000.0
"""Longest dimension that an entry can hold, mm."""

DEFAULT_ROWS, DEFAULT_POSITIONS = 2, 12
"""Rows and contacts per row that are drawn if they were not counted: enough for a row to show, few enough for a contact
to show. Common practice, no source."""


def sizes_of(half: Half) -> Sizes:
    """Sizes of an entry, in the catalogue or not."""
    known = {
        name: Length(value=stated.value, source=Source.STATED, tolerance=stated.tolerance, bound=stated.bound)
        for name, stated in half.dimensions.items()
    }
    return make_sizes(
        name=half.part_number,
        half_kind=half.half_kind,
        row_contacts=row_lengths(half),
        blocked=blocked_places(half),
        first=first_contact(half),
        lengths=known,
        counts=half.counts,
        categories={name: frozenset(values) for name, values in half.categories.items()},
    )


def make_sizes(
    *,
    name: str = "",
    half_kind: str | None = None,
    row_contacts: Sequence[int] | None = None,
    blocked: Iterable[Place] = (),
    first: Place | None = None,
    lengths: Mapping[str, Length] | None = None,
    counts: Mapping[str, int] | None = None,
    categories: Mapping[str, frozenset[str]] | None = None,
    counted: bool = True,
) -> Sizes:
    """Sizes from known values, the rest from proportions; raises DrawingError for sizes that cannot be drawn.

    ``counted`` False: ``row_contacts`` is a guess (only the rows were counted).
    """
    known = dict(lengths or {})
    for feature, length in known.items():
        _check_length(feature, length.value)
    sizes = Sizes(
        name=name,
        half_kind=half_kind,
        row_contacts=tuple(_checked_rows(row_contacts or (DEFAULT_POSITIONS,) * DEFAULT_ROWS)),
        blocked=frozenset(blocked),
        first=first,
        lengths=known,
        counts=MappingProxyType(dict(counts or {})),
        categories=MappingProxyType(dict(categories or {})),
        counted=counted and row_contacts is not None,
    )
    assumed = {name: Length(value=value, source=Source.ASSUMED) for name, value in proportions(sizes).items()}
    return replace(sizes, lengths=MappingProxyType(assumed | known))


def sizes_of_observed(observations: Sequence[Reduced], *, of: Of = Of.THIS) -> Sizes:
    """Sizes from what a person has entered of one half so far; everything else from proportions.

    Bounds and pixels without a scale have no influence on the drawing. Of several readings of a feature the last
    counts.
    """
    own = [seen for seen in observations if seen.of is of]
    lengths = {
        seen.feature: Length(value=seen.value, source=Source.MEASURED, tolerance=seen.total_u or None)
        for seen in own
        if seen.value is not None and seen.feature in DIMENSIONS and not seen.unscaled
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
        if seen.of is Of.PAIR and seen.value is not None and seen.feature in PAIR_DIMENSIONS and not seen.unscaled
    }


def _counted_rows(contacts: int | None, rows: int | None) -> tuple[int, ...] | None:
    if contacts is None:
        return None if rows is None else (DEFAULT_POSITIONS,) * rows
    return split(contacts, min(rows or DEFAULT_ROWS, contacts))


def _check_length(feature: str, value: float) -> None:
    if feature not in DIMENSIONS:
        raise DrawingError(
            f"{feature!r} is not a dimension of a half", field=feature, value=value, remedy="name one of the features"
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
