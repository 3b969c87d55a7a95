"""Incremental snapshots: prepared entries are kept, so that only those affected by a change are prepared again."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from itertools import chain
from typing import Any, TypeVar

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from catalog.db.database import read_version
from catalog.db.engines import chunks
from catalog.db.tables import JournalTable, MatingTable
from catalog.model.entries import Series
from catalog.model.entry_states import ENTRIES
from catalog.model.inferred_variants import InferredHalf, by_fitted_laws, by_series, by_stated_laws, unlisted
from catalog.records.read import load_halves, load_matings, load_series
from catalog.records.read_models import HalfRecord, MatingRecord, SeriesRecord
from catalog.snapshot.matcher_rows import half_row, mating_row
from catalog.snapshot.search import Searchable
from matcher.columns.build import PreparedHalf, PreparedMating

MOST_CHANGED_SHARE = 0.2
"""Share of changed entries above which all are read again: reading all at once is faster than reading by key."""

R = TypeVar("R", HalfRecord, SeriesRecord, MatingRecord)
K = TypeVar("K")


@dataclass(frozen=True, kw_only=True)
class KeptHalf:
    """A half and its part of the matcher's columns; inferred halves are not searched for."""

    record: HalfRecord
    prepared: PreparedHalf
    searchable: Searchable | None


@dataclass(frozen=True, kw_only=True)
class KeptSeries:
    """A series and its texts for the search."""

    record: SeriesRecord
    searchable: Searchable


@dataclass(frozen=True, kw_only=True)
class KeptMating:
    """A mating and its part of the matcher's columns."""

    record: MatingRecord
    prepared: PreparedMating


@dataclass(frozen=True, kw_only=True)
class Stock:
    """All that is listed at one version, by key and in the order of keys.

    ``journal`` is the last row of the journal that is taken into account. ``matings`` are those of listed halves.
    ``stated`` and ``fitted`` hold, by series, what its stated laws and its members make likely, listed or not.
    """

    version: int
    journal: int
    halves: Mapping[str, KeptHalf]
    series: Mapping[str, KeptSeries]
    matings: Mapping[str, KeptMating]
    stated: Mapping[str, tuple[KeptHalf, ...]]
    fitted: Mapping[str, tuple[KeptHalf, ...]]

    @property
    def all_halves(self) -> list[KeptHalf]:
        """The listed halves, then the inferred variants."""
        likely = chain.from_iterable((*self.stated.values(), *self.fitted.values()))
        return [*self.halves.values(), *unlisted(likely, self.halves, lambda kept: kept.record.key)]


@dataclass(frozen=True, kw_only=True)
class _Read:
    """Records read from the tables, whatever their state, and up to where that goes."""

    version: int
    journal: int
    halves: Sequence[HalfRecord]
    series: Sequence[SeriesRecord]
    matings: Sequence[MatingRecord]


def read_stock(session: Session) -> Stock:
    """Read everything."""
    last = session.execute(select(func.max(JournalTable.id))).scalar_one()
    read = _Read(
        version=read_version(session),
        journal=last or 0,
        halves=load_halves(session),
        series=load_series(session),
        matings=load_matings(session),
    )
    return _renewed(Stock(version=0, journal=0, halves={}, series={}, matings={}, stated={}, fitted={}), read)


def update_stock(session: Session, stock: Stock) -> Stock | None:
    """The stock at the present version, for which only what changed is read; it is the same as one read anew.

    None where reading everything is better: very much changed, or the journal does not tell what.
    """
    version = read_version(session)
    rows = _rows_since(session, stock.journal)
    if not 0 < version - stock.version <= len(rows):
        return None  # another catalogue's file, or something was changed without a row
    keys = _entries(rows)
    matings = keys["mating"] | set(_matings_of(session, keys["half"]))
    held = len(stock.series) + len(stock.halves) + len(stock.matings)
    if len(keys["series"]) + len(keys["half"]) + len(matings) > MOST_CHANGED_SHARE * held:
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
        return None  # the journal tells of entries that are not there
    return _renewed(stock, read)


def _rows_since(session: Session, last: int) -> Sequence[Any]:
    table = JournalTable
    statement = select(table.id, table.record, table.key, table.of, table.about).where(table.id > last)
    return session.execute(statement.order_by(table.id)).all()


def _entries(rows: Iterable[Any]) -> dict[str, set[str]]:
    """Keys, by record, of the entries that rows tell of: changed themselves, or spoken of by a document."""
    keys: dict[str, set[str]] = {record: set() for record in ENTRIES}
    for row in rows:
        record, key = (row.record, row.key) if row.record in ENTRIES else (row.of, row.about)
        if record in ENTRIES:
            keys[record].add(key)
    return keys


def _matings_of(session: Session, halves: Iterable[str]) -> Iterator[str]:
    """Keys of the halves' matings, which are withdrawn and restored with them."""
    for chunk in chunks(halves):
        of_these = or_(MatingTable.half.in_(chunk), MatingTable.other.in_(chunk))
        yield from session.scalars(select(MatingTable.key).where(of_these))


def _renewed(stock: Stock, read: _Read) -> Stock:
    """The stock with the entries that were read in place of their old state."""
    halves = _replaced(stock.halves, {record.key: record for record in read.halves}, _kept_half)
    series = _replaced(stock.series, {record.key: record for record in read.series}, _kept_series)
    matings = _replaced(stock.matings, {record.id: record for record in read.matings}, _kept_mating)
    laws = {key: kept.record.series for key, kept in series.items() if kept.record.stated}
    relaid = {record.key for record in read.series if _laws(stock, record.key) != laws.get(record.key)}
    moved = relaid | _moved(stock.halves, halves, read)
    members = by_series((kept.record for kept in halves.values()), lambda record: record.series_key)

    def stated(key: str) -> Iterator[InferredHalf]:
        return by_stated_laws(laws[key]) if key in laws else iter(())

    def fitted(key: str) -> Iterator[InferredHalf]:
        return by_fitted_laws([record.half for record in members.get(key, [])], laws.get(key))

    return Stock(
        version=read.version,
        journal=read.journal,
        halves=halves,
        series=series,
        matings={key: kept for key, kept in matings.items() if _ends(kept) <= halves.keys()},
        stated=_inferred_anew(stock.stated, relaid, stated),
        fitted=_inferred_anew(stock.fitted, moved, fitted),
    )


def _ends(kept: KeptMating) -> set[str]:
    return {kept.record.mating.half, kept.record.mating.other}


def _replaced(held: Mapping[str, K], read: Mapping[str, R], keep: Callable[[R, K | None], K]) -> dict[str, K]:
    """What is held, with what was read instead where it is listed, in the order of keys."""
    found = {key: kept for key, kept in held.items() if key not in read}
    found |= {key: keep(record, held.get(key)) for key, record in read.items() if record.state == "listed"}
    return dict(sorted(found.items()))


def _kept_half(record: HalfRecord, before: KeptHalf | None) -> KeptHalf:
    row = half_row(record)
    same = before is not None and before.prepared.row == row
    return KeptHalf(
        record=record,
        prepared=before.prepared if before is not None and same else PreparedHalf.of(row),
        searchable=Searchable.of(record) if record.origin == "listed" else None,
    )


def _kept_series(record: SeriesRecord, _before: KeptSeries | None) -> KeptSeries:
    return KeptSeries(record=record, searchable=Searchable.of(record))


def _kept_mating(record: MatingRecord, before: KeptMating | None) -> KeptMating:
    row = mating_row(record)
    same = before is not None and before.prepared.row == row
    return KeptMating(
        record=record, prepared=before.prepared if before is not None and same else PreparedMating.of(row)
    )


def _laws(stock: Stock, key: str) -> Series | None:
    kept = stock.series.get(key)
    return kept.record.series if kept is not None and kept.record.stated else None


def _moved(before: Mapping[str, KeptHalf], after: Mapping[str, KeptHalf], read: _Read) -> set[str]:
    """Series with other members than before."""
    moved: set[str] = set()
    for record in read.halves:
        was, now = before.get(record.key), after.get(record.key)
        if (was and was.record.half) != (now and now.record.half):
            moved |= {kept.record.series_key for kept in (was, now) if kept is not None}
    return moved


def _inferred_anew(
    held: Mapping[str, tuple[KeptHalf, ...]], touched: Set[str], infer: Callable[[str], Iterator[InferredHalf]]
) -> dict[str, tuple[KeptHalf, ...]]:
    """Inferred variants of each series, inferred again for changed series, in the order of their keys."""
    found = {key: variants for key, variants in held.items() if key not in touched}
    found |= {key: tuple(_kept_half(_inferred_record(each), None) for each in infer(key)) for key in touched}
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
