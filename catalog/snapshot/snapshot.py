"""The snapshot of the whole catalogue for the matcher and the search. Only changed parts are computed again."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

from sqlalchemy.orm import Session

from catalog.db.database import Catalogue
from catalog.records.read_models import HalfRecord, MatingRecord
from catalog.snapshot.incremental import Cache, CachedHalf, read_cache, update_cache
from catalog.snapshot.search import Searchable, SearchIndex
from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.build import assemble_columns
from matcher.columns.columns import Columns


@dataclass(frozen=True, kw_only=True)
class Snapshot:
    """The catalogue at one version.

    ``halves`` are in the order of ``columns``: the listed ones by key, then the inferred variants. ``matings`` are in
    the order in which ``columns.matings`` was built, so the first indices there are those of ``matings``.
    """

    version: int
    halves: Mapping[str, HalfRecord]
    matings: tuple[MatingRecord, ...]
    columns: Columns
    absent: AbsentModel
    search: SearchIndex

    @cached_property
    def matings_both_ways(self) -> tuple[MatingRecord, ...]:
        """The matings in the order of the matcher's mating columns: all as listed, then, turned, those between two
        different halves."""
        turned = (mating for mating in self.matings if mating.mating.half != mating.mating.other)
        return *self.matings, *turned


@dataclass(frozen=True, kw_only=True)
class Build:
    """A snapshot and what it was built from: all halves in its order, and the cache."""

    snapshot: Snapshot
    halves: Sequence[CachedHalf]
    cache: Cache


class SnapshotSource:
    """Provides the current snapshot. It is safe to share between threads; only one of them builds at a time."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self._building = threading.Lock()
        self._latest: Build | None = None

    def current(self) -> Snapshot:
        """The snapshot of the catalogue's present version."""
        latest = self._latest
        if latest is not None and latest.snapshot.version == self._catalogue.version():
            return latest.snapshot
        with self._building:
            # Another thread may have built it while this one waited.
            latest = self._latest
            if latest is None or latest.snapshot.version != self._catalogue.version():
                with self._catalogue.reading() as session:
                    latest = self._latest = build(session, latest)
            return latest.snapshot


def take_snapshot(session: Session) -> Snapshot:
    """The snapshot of the catalogue in this transaction, without an earlier one to start from."""
    return build(session, None).snapshot


def build(session: Session, before: Build | None) -> Build:
    """The snapshot of the catalogue in this transaction. Only what changed since ``before`` is read and computed; the
    result is the same as without it."""
    cache = (before and update_cache(session, before.cache)) or read_cache(session)
    halves = cache.all_halves
    columns, absent = _computed(halves, cache, before)
    snapshot = Snapshot(
        version=cache.version,
        halves=MappingProxyType({cached.record.key: cached.record for cached in halves}),
        matings=tuple(cached.record for cached in cache.matings.values()),
        columns=columns,
        absent=absent,
        search=SearchIndex(_searchable(cache)),
    )
    return Build(snapshot=snapshot, halves=halves, cache=cache)


def _searchable(cache: Cache) -> Iterator[Searchable]:
    yield from (cached.searchable for cached in cache.series.values())
    yield from (cached.searchable for cached in cache.halves.values() if cached.searchable is not None)


def _computed(halves: Sequence[CachedHalf], cache: Cache, before: Build | None) -> tuple[Columns, AbsentModel]:
    """Columns and absent model, which are kept if nothing that can be measured changed."""
    if before is not None and _parts(halves, cache) == _parts(before.halves, before.cache):
        return before.snapshot.columns, before.snapshot.absent
    matings = [cached.prepared for cached in cache.matings.values()]
    columns = assemble_columns([cached.prepared for cached in halves], matings)
    return columns, fit_absent(columns)


def _parts(halves: Sequence[CachedHalf], cache: Cache) -> list[int]:
    """Identities of the parts of the columns: a part stays the same object as long as its content does not change."""
    return [*(id(cached.prepared) for cached in halves), *(id(cached.prepared) for cached in cache.matings.values())]
