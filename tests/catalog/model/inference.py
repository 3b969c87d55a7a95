"""Variants inferred from halves and series, and members of a series predicted from the others."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from catalog.model.entries import Half, Series
from catalog.model.inferred_variants import (
    InferredHalf,
    Members,
    by_fitted_laws,
    by_stated_laws,
    unlisted,
)


def inferred_halves(halves: Sequence[Half], series: Sequence[Series]) -> tuple[InferredHalf, ...]:
    """All inferred halves: by the laws of ``series`` where stated, else by laws fitted to ``halves``.

    Keys of listed halves are not used again.
    """
    members: dict[str, list[Half]] = defaultdict(list)
    for half in halves:
        members[half.series_key].append(half)
    laws = {entry.key: entry for entry in series}
    stated = [variant for entry in series for variant in by_stated_laws(entry)]
    fitted = [variant for key, own in members.items() for variant in by_fitted_laws(own, laws.get(key))]
    return tuple(unlisted([*stated, *fitted], {half.key for half in halves}, lambda each: each.half.key))


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A member and its size as predicted from its siblings (None: no prediction)."""

    half: Half
    predicted: Half | None


def leave_one_out(group: Members) -> Iterator[LeftOut]:
    """Predict each member from the others where at least three other sizes remain."""
    for half in group.halves:
        rest = [other for other in group.halves if other.contacts_per_row != half.contacts_per_row]
        siblings = Members.of(rest)
        if siblings is not None:
            yield LeftOut(half=half, predicted=siblings.variant(half.contacts_per_row))
