"""Conversion of records to the matcher's plain rows."""

from __future__ import annotations

from collections.abc import Mapping

from catalog.model.entry_parts import Dimension
from catalog.records.read_models import BetterKnown, HalfRecord, MatingRecord
from matcher.columns.columns import Dim, HalfRow, MatingRow


def half_row(record: HalfRecord) -> HalfRow:
    """The matcher's row of a half."""
    half = record.half
    return HalfRow(
        key=record.key,
        series=record.series_key,
        dimensions={**_dims(half.dimensions), **_measured(record.better_known)},
        counts=half.all_counts,
        categories=half.all_categories,
        texts=(*half.markings, half.part_number, *half.order_codes, *half.aliases),
        inferred=record.origin == "inferred",
    )


def mating_row(record: MatingRecord) -> MatingRow:
    """The matcher's row of a mating."""
    mating = record.mating
    return MatingRow(
        half=mating.half, other=mating.other, dimensions={**_dims(mating.dimensions), **_measured(record.better_known)}
    )


def _dims(dimensions: Mapping[str, Dimension]) -> dict[str, Dim]:
    return {name: each.dim for name, each in dimensions.items()}


def _measured(better_known: Mapping[str, BetterKnown]) -> dict[str, Dim]:
    """Dimensions that measurements give more precisely than the entry; the ranking uses them instead."""
    return {
        name: Dim(value=each.value, tolerance=each.tolerance, extra_u=each.u) for name, each in better_known.items()
    }
