"""The neighbours of an entry: other halves and laws that the review compares it with."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from catalog.model.entries import AnyEntry, Half, Mating, Series
from catalog.model.text_fields import comparable
from catalog.review.dimensions import pitch_of
from catalog.review.names import one_slip_apart, share_name, stem

SAME_PITCH = 0.02
"""Pitches closer than this may be the same, mm; 1.25 and 1.27 still count as different."""


@dataclass(frozen=True, kw_only=True)
class Neighbours:
    """Halves and laws that an entry is compared with; the entry itself is not among them.

    ``siblings``: listed halves of its series (of a half: of its rows and kind). ``series``: its stated laws. ``alike``:
    halves with the same contacts and rows and a similar pitch. ``namesakes``: halves whose names may mean the same
    part. ``mates``: a mating's halves by key. Extra halves do no harm.
    """

    siblings: tuple[Half, ...] = ()
    series: Series | None = None
    alike: tuple[Half, ...] = ()
    namesakes: tuple[Half, ...] = ()
    mates: Mapping[str, Half] = field(default_factory=lambda: MappingProxyType({}))


def among(entry: AnyEntry, halves: Iterable[Half], series: Series | None = None) -> Neighbours:
    """The halves among these that are neighbours of the entry; the halves of a series are looked up one by one."""
    known = list(halves)
    if isinstance(entry, Mating):
        mates = {half.key: half for half in known if half.key in (entry.half, entry.other)}
        return Neighbours(mates=MappingProxyType(mates))
    others = [half for half in known if half.key != entry.key]
    if isinstance(entry, Series):
        own = tuple(half for half in others if half.series_key == entry.key)
        return Neighbours(siblings=own, alike=tuple(others), namesakes=tuple(others))
    return Neighbours(
        siblings=tuple(half for half in others if _sibling(entry, half)),
        series=series,
        alike=tuple(half for half in others if alike(entry, half)),
        namesakes=tuple(half for half in others if may_be_named_alike(entry, half)),
    )


def _sibling(entry: Half, half: Half) -> bool:
    kinds = {entry.half_kind, half.half_kind} - {None}
    return entry.series_key == half.series_key and entry.rows == half.rows and len(kinds) < 2


def alike(entry: Half, half: Half) -> bool:
    """Whether two halves have the same contacts and rows, and pitches that may be the same."""
    if (entry.contact_count, entry.rows) != (half.contact_count, half.rows):
        return False
    own, other = pitch_of(entry), pitch_of(half)
    return own is not None and other is not None and abs(own - other) <= SAME_PITCH


def may_be_named_alike(entry: Half, half: Half) -> bool:
    """Whether the two have the same name apart from signs, case, packing words or one typing error."""
    names = comparable(entry.part_number), comparable(half.part_number)
    return share_name(entry, half, stem) or one_slip_apart(*names)
