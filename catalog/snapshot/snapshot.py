"""The snapshot of the whole catalogue for the matcher and the search; only changed parts are rebuilt."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from sqlalchemy.orm import Session

from catalog.db.database import Catalogue
from catalog.records.read_models import HalfRecord, MatingRecord
from catalog.snapshot.incremental import KeptHalf, Stock, read_stock, update_stock
from catalog.snapshot.search import Searchable, SearchIndex
from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.build import assemble_columns
from matcher.columns.columns import Columns


@dataclass(frozen=True, kw_only=True)
class Snapshot:
    """The catalogue at one version.

    ``halves`` are in the order of ``columns``: the listed by key, then the inferred variants. ``matings`` are in the
    order in which ``columns.matings`` was built, so a mating's number there (below their count) is its place here.
    """

    version: int
    halves: Mapping[str, HalfRecord]
    matings: tuple[MatingRecord, ...]
    columns: Columns
    absent: AbsentModel
    search: SearchIndex


@dataclass(frozen=True, kw_only=True)
class Taken:
    """A snapshot and what it was made of: all halves in its order, and the stock behind them."""

    snapshot: Snapshot
    halves: Sequence[KeptHalf]
    stock: Stock


class SnapshotSource:
    """Hands out the current snapshot; safe to share between threads, one build at a time."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self._building = threading.Lock()
        self._latest: Taken | None = None

    def current(self) -> Snapshot:
        """The snapshot of the catalogue's present version."""
        latest = self._latest
        if latest is not None and latest.snapshot.version == self._catalogue.version():
            return latest.snapshot
        with self._building:
            # Whoever waited here may find that another thread has built it meanwhile.
            latest = self._latest
            if latest is None or latest.snapshot.version != self._catalogue.version():
                with self._catalogue.reading() as session:
                    latest = self._latest = take(session, latest)
            return latest.snapshot


def take_snapshot(session: Session) -> Snapshot:
    """Read everything, add the inferred variants, and build columns, absent model and search."""
    return take(session, None).snapshot


def take(session: Session, before: Taken | None) -> Taken:
    """The snapshot of what the transaction sees, for which only what changed since ``before`` is read and worked out.

    It is the same as one that is taken anew.
    """
    stock = (before and update_stock(session, before.stock)) or read_stock(session)
    halves = stock.all_halves
    columns, absent = _computed(halves, stock, before)
    snapshot = Snapshot(
        version=stock.version,
        halves=MappingProxyType({kept.record.key: kept.record for kept in halves}),
        matings=tuple(kept.record for kept in stock.matings.values()),
        columns=columns,
        absent=absent,
        search=SearchIndex(_searchable(stock)),
    )
    return Taken(snapshot=snapshot, halves=halves, stock=stock)


def _searchable(stock: Stock) -> Iterator[Searchable]:
    yield from (kept.searchable for kept in stock.series.values())
    yield from (kept.searchable for kept in stock.halves.values() if kept.searchable is not None)


def _computed(halves: Sequence[KeptHalf], stock: Stock, before: Taken | None) -> tuple[Columns, AbsentModel]:
    """Columns and absent model; those of before where nothing that can be measured changed."""
    if before is not None and _parts(halves, stock) == _parts(before.halves, before.stock):
        return before.snapshot.columns, before.snapshot.absent
    matings = [kept.prepared for kept in stock.matings.values()]
    columns = assemble_columns([kept.prepared for kept in halves], matings)
    return columns, fit_absent(columns)


def _parts(halves: Sequence[KeptHalf], stock: Stock) -> list[int]:
    """Which parts columns are made of: a part stays the same object as long as nothing in it changes."""
    return [*(id(kept.prepared) for kept in halves), *(id(kept.prepared) for kept in stock.matings.values())]
