"""The cache behind snapshots: prepared entries are kept, so that only those affected by a change are prepared again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from itertools import chain
from typing import Any, TypeVar

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from catalog.db.database import read_version
from catalog.db.engines import chunks
from catalog.db.tables import JournalTable, MatingTable
from catalog.model.entries import Half, Series
from catalog.model.entry_states import ENTRIES
from catalog.model.inferred_variants import InferredHalf, by_fitted_laws, by_stated_laws, unlisted
from catalog.records.read import load_halves, load_matings, load_series
from catalog.records.read_models import HalfRecord, MatingRecord, SeriesRecord
from catalog.snapshot.matcher_rows import half_row, mating_row
from catalog.snapshot.search import Searchable
from matcher.columns.build import PreparedHalf, PreparedMating

MOST_CHANGED_SHARE = 0.2
"""If more than this share of the entries changed, all are read again: that is faster than reading many by their keys.
"""

R = TypeVar("R", HalfRecord, SeriesRecord, MatingRecord)
K = TypeVar("K")


@dataclass(frozen=True, kw_only=True)
class CachedHalf:
    """A half, its part of the matcher's columns, and its texts for the search; inferred halves have none."""

    record: HalfRecord
    prepared: PreparedHalf
    searchable: Searchable | None


@dataclass(frozen=True, kw_only=True)
class CachedSeries:
    """A series and its texts for the search."""

    record: SeriesRecord
    searchable: Searchable


@dataclass(frozen=True, kw_only=True)
class CachedMating:
    """A mating and its part of the matcher's columns."""

    record: MatingRecord
    prepared: PreparedMating


@dataclass(frozen=True, kw_only=True)
class Cache:
    """All listed entries at one version of the catalogue, by key and in the order of keys.

    ``journal`` is the number of the last row of the journal that is included. ``matings`` are those of listed halves.
    ``stated`` and ``fitted`` are the inferred variants by stated and by fitted laws, by series, including any that are
    listed.
    """

    version: int
    journal: int
    halves: Mapping[str, CachedHalf]
    series: Mapping[str, CachedSeries]
    matings: Mapping[str, CachedMating]
    stated: Mapping[str, tuple[CachedHalf, ...]]
    fitted: Mapping[str, tuple[CachedHalf, ...]]

    @property
    def all_halves(self) -> list[CachedHalf]:
        """The listed halves, then the inferred variants that are not listed."""
        variants = chain.from_iterable((*self.stated.values(), *self.fitted.values()))
        return [*self.halves.values(), *unlisted(variants, self.halves, lambda cached: cached.record.key)]


@dataclass(frozen=True, kw_only=True)
class _Read:
    """Records as read, in any state, and the version and journal row at which they were read."""

    version: int
    journal: int
    halves: Sequence[HalfRecord]
    series: Sequence[SeriesRecord]
    matings: Sequence[MatingRecord]


def read_cache(session: Session) -> Cache:
    """A new cache with all entries."""
    last = session.execute(select(func.max(JournalTable.id))).scalar_one()
    read = _Read(
        version=read_version(session),
        journal=last or 0,
        halves=load_halves(session),
        series=load_series(session),
        matings=load_matings(session),
    )
    return _updated(Cache(version=0, journal=0, halves={}, series={}, matings={}, stated={}, fitted={}), read)


def update_cache(session: Session, cache: Cache) -> Cache | None:
    """The cache at the present version, equal to a new one; only entries that changed are read.

    None if a new cache is better: too many entries changed, or the journal does not say which.
    """
    version = read_version(session)
    rows = _rows_since(session, cache.journal)
    if not 0 < version - cache.version <= len(rows):
        return None  # this is another catalogue's file, or there was a change without a row
    keys = _changed_entries(rows)
    matings = keys["mating"] | set(_matings_of(session, keys["half"]))
    cached = len(cache.series) + len(cache.halves) + len(cache.matings)
    if len(keys["series"]) + len(keys["half"]) + len(matings) > MOST_CHANGED_SHARE * cached:
        return None
    read = _Read(
        version=version,
        journal=rows[-1].id,
        halves=load_halves(session, keys["half"]),
        series=load_series(session, keys["series"]),
        matings=load_matings(session, matings),
    )
    if (len(read.series), len(read.halves), len(read.matings)) != (
        len(keys["series"]),
        len(keys["half"]),
        len(matings),
    ):
        return None  # the journal has rows about entries that do not exist
    return _updated(cache, read)


def _rows_since(session: Session, last: int) -> Sequence[Any]:
    table = JournalTable
    statement = select(table.id, table.record, table.key, table.of, table.about).where(table.id > last)
    return session.execute(statement.order_by(table.id)).all()


def _changed_entries(rows: Iterable[Any]) -> dict[str, set[str]]:
    """Keys, by record, of the entries that rows are about: they changed, or a document about them did."""
    keys: dict[str, set[str]] = {record: set() for record in ENTRIES}
    for row in rows:
        record, key = (row.record, row.key) if row.record in ENTRIES else (row.of, row.about)
        if record in ENTRIES:
            keys[record].add(key)
    return keys


def _matings_of(session: Session, halves: Iterable[str]) -> Iterator[str]:
    """Keys of the matings of halves, which are only listed together with them."""
    for chunk in chunks(halves):
        of_these = or_(MatingTable.half.in_(chunk), MatingTable.other.in_(chunk))
        yield from session.scalars(select(MatingTable.key).where(of_these))


def _updated(cache: Cache, read: _Read) -> Cache:
    """The cache with the records that were read instead of their old state."""
    halves = _replaced(cache.halves, {record.key: record for record in read.halves}, _cached_half)
    series = _replaced(cache.series, {record.key: record for record in read.series}, _cached_series)
    matings = _replaced(cache.matings, {record.id: record for record in read.matings}, _cached_mating)
    laws = {key: cached.record.series for key, cached in series.items() if cached.record.stated}
    new_laws = {record.key for record in read.series if _laws(cache, record.key) != laws.get(record.key)}
    new_members = _with_new_members(cache.halves, halves, read)
    members: dict[str, list[Half]] = defaultdict(list)
    for cached in halves.values():
        members[cached.record.series_key].append(cached.record.half)

    def stated(key: str) -> Iterator[InferredHalf]:
        return by_stated_laws(laws[key]) if key in laws else iter(())

    def fitted(key: str) -> Iterator[InferredHalf]:
        return by_fitted_laws(members[key], laws.get(key))

    return Cache(
        version=read.version,
        journal=read.journal,
        halves=halves,
        series=series,
        matings={key: cached for key, cached in matings.items() if _ends(cached) <= halves.keys()},
        stated=_with_variants(cache.stated, new_laws, stated),
        fitted=_with_variants(cache.fitted, new_laws | new_members, fitted),
    )


def _ends(cached: CachedMating) -> set[str]:
    return {cached.record.mating.half, cached.record.mating.other}


def _replaced(before: Mapping[str, K], read: Mapping[str, R], prepare: Callable[[R, K | None], K]) -> dict[str, K]:
    """The cached records, with those that were read and are listed instead of their old state, in the order of keys."""
    found = {key: cached for key, cached in before.items() if key not in read}
    found |= {key: prepare(record, before.get(key)) for key, record in read.items() if record.state == "listed"}
    return dict(sorted(found.items()))


def _cached_half(record: HalfRecord, before: CachedHalf | None) -> CachedHalf:
    row = half_row(record)
    return CachedHalf(
        record=record,
        prepared=before.prepared if before is not None and before.prepared.row == row else PreparedHalf.of(row),
        searchable=Searchable.of(record) if record.origin == "listed" else None,
    )


def _cached_series(record: SeriesRecord, _before: CachedSeries | None) -> CachedSeries:
    return CachedSeries(record=record, searchable=Searchable.of(record))


def _cached_mating(record: MatingRecord, before: CachedMating | None) -> CachedMating:
    row = mating_row(record)
    return CachedMating(
        record=record,
        prepared=before.prepared if before is not None and before.prepared.row == row else PreparedMating.of(row),
    )


def _laws(cache: Cache, key: str) -> Series | None:
    cached = cache.series.get(key)
    return cached.record.series if cached is not None and cached.record.stated else None


def _with_new_members(before: Mapping[str, CachedHalf], after: Mapping[str, CachedHalf], read: _Read) -> set[str]:
    """Keys of series whose members changed."""
    found: set[str] = set()
    for record in read.halves:
        was, now = before.get(record.key), after.get(record.key)
        if (was and was.record.half) != (now and now.record.half):
            found |= {cached.record.series_key for cached in (was, now) if cached is not None}
    return found


def _with_variants(
    before: Mapping[str, tuple[CachedHalf, ...]], changed: Set[str], infer: Callable[[str], Iterator[InferredHalf]]
) -> dict[str, tuple[CachedHalf, ...]]:
    """The inferred variants of each series, in the order of its keys; those of changed series are inferred again."""
    found = {key: variants for key, variants in before.items() if key not in changed}
    found |= {key: tuple(_cached_half(_inferred_record(each), None) for each in infer(key)) for key in changed}
    return dict(sorted(found.items()))


def _inferred_record(inferred: InferredHalf) -> HalfRecord:
    return HalfRecord(
        key=inferred.half.key,
        origin="inferred",
        revision=0,
        half=inferred.half,
        series_key=inferred.half.series_key,
        inferred_by=inferred.basis,
        siblings=inferred.siblings,
    )
