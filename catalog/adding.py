"""Adding entries to the catalogue: new ones are stored, identical ones left alone, contradicting ones refused."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from dataclasses import field as with_default
from typing import Any

from sqlalchemy import update
from sqlalchemy.orm import Session

from catalog.database import mark_changed
from catalog.entries import AnyEntry, Citation, Entry, Half, Mating, Series, slug
from catalog.errors import DuplicateError, EntryError
from catalog.loading import Ids, load_halves, load_matings, load_series
from catalog.series_laws import expand
from catalog.storing import (
    chunks,
    ids_by_key,
    series_row,
    store_aliases,
    store_citations,
    store_halves,
    store_makers,
    store_matings,
    store_series,
    values_by_key,
)
from catalog.tables import Base, HalfTable, Maker, MatingTable, SeriesTable


@dataclass(frozen=True, kw_only=True)
class AddReport:
    """What `add` did, per record ("series", "half", "mating"); halves and matings of a series' laws are counted too."""

    added: Mapping[str, int]
    unchanged: Mapping[str, int]


@dataclass(frozen=True, kw_only=True)
class _Given:
    """An entry of the batch and where it stands there."""

    entry: Any
    index: int
    from_law: bool = False

    @property
    def place(self) -> str:
        return f"entries[{self.index}]"


@dataclass(kw_only=True)
class _Batch:
    series: dict[str, _Given] = with_default(default_factory=dict)
    halves: dict[str, _Given] = with_default(default_factory=dict)
    matings: dict[str, _Given] = with_default(default_factory=dict)

    def take(self, entry: AnyEntry, index: int) -> None:
        if isinstance(entry, Series):
            self._put(self.series, entry.key, _Given(entry=entry, index=index))
            made = expand(entry)
            for half in made.halves:
                self._put(self.halves, half.key, _Given(entry=half, index=index, from_law=True))
            for mating in made.matings:
                self._put(self.matings, mating.key, _Given(entry=mating, index=index, from_law=True))
        elif isinstance(entry, Half):
            self._put(self.halves, entry.key, _Given(entry=entry, index=index))
        else:
            self._put(self.matings, entry.key, _Given(entry=entry, index=index))

    @staticmethod
    def _put(kept: dict[str, _Given], key: str, given: _Given) -> None:
        earlier = kept.setdefault(key, given)
        _refuse_difference(earlier.entry, given.entry, key, given.index, f"earlier in the same batch ({earlier.place})")


def add(session: Session, entries: Sequence[AnyEntry]) -> AddReport:
    """Add entries, in any order, within the session's writing transaction.

    Series are expanded by their laws. An entry that already stands with the same content is left alone. Raises
    DuplicateError for a key that stands with other content, EntryError for laws that cannot be carried out and matings
    whose halves nobody listed; then nothing of the transaction may be kept (`Catalogue.writing` sees to it).
    """
    batch = _Batch()
    for index, entry in enumerate(entries):
        try:
            batch.take(entry, index)
        except EntryError as error:
            raise _placed(error, entry, index) from error
    _check_makers(session, batch)
    series = _new(session, SeriesTable, batch.series, _stated_series)
    halves = _new(session, HalfTable, batch.halves, _listed_halves)
    matings = _new(session, MatingTable, batch.matings, _listed_matings)
    citations = store_citations(session, _citations([*series, *halves, *matings]))
    series_ids = _store_series(session, series, halves, citations)
    store_halves(session, [(given.entry, given.from_law) for given in halves], series_ids, citations)
    _store_matings(session, matings, citations)
    if series or halves or matings:
        mark_changed(session)
    added = {"series": len(series), "half": len(halves), "mating": len(matings)}
    given = {"series": len(batch.series), "half": len(batch.halves), "mating": len(batch.matings)}
    return AddReport(added=added, unchanged={record: count - added[record] for record, count in given.items()})


def _placed(error: EntryError, entry: AnyEntry, index: int) -> EntryError:
    place = f"entries[{index}]"
    return EntryError(
        f"{entry.record} {entry.key}: {error.message}",
        field=f"{place}.{error.field}" if error.field else place,
        value=error.value,
        remedy=error.remedy,
        entry=index,
    )


def _refuse_difference(standing: Entry, given: Entry, key: str, index: int, where: str) -> None:
    if isinstance(standing, Mating) and isinstance(given, Mating):
        standing, given = standing.faced(), given.faced()
    if standing == given:
        return
    differing = [name for name in type(given).model_fields if getattr(standing, name) != getattr(given, name)]
    name = differing[0]
    raise DuplicateError(
        f"{key} stands {where} with another {', '.join(differing)}",
        field=f"entries[{index}].{name}",
        value=getattr(given, name),
        entry=index,
        remedy=f"There {name} is {getattr(standing, name)!r}; give the same, or another key",
    )


def _new(
    session: Session, table: type[Base], given: Mapping[str, _Given], standing: Callable[[Session, Ids], dict[str, Any]]
) -> list[_Given]:
    """Those that the catalogue does not hold; raises DuplicateError for those it holds with other content."""
    ids = ids_by_key(session, table, given)
    known: set[str] = set()
    for chunk in chunks(ids.values()):
        for key, entry in standing(session, chunk).items():
            known.add(key)
            _refuse_difference(entry, given[key].entry, key, given[key].index, "in the catalogue")
    return [each for key, each in given.items() if key not in known]


def _stated_series(session: Session, ids: Ids) -> dict[str, Any]:
    return {record.key: record.series for record in load_series(session, ids) if record.stated}


def _listed_halves(session: Session, ids: Ids) -> dict[str, Any]:
    return {record.key: record.half for record in load_halves(session, ids)}


def _listed_matings(session: Session, ids: Ids) -> dict[str, Any]:
    return {record.id: record.mating for record in load_matings(session, ids)}


def _check_makers(session: Session, batch: _Batch) -> None:
    """One maker, and one series, is written in one way; another spelling of the same key is refused."""
    given = [*batch.series.values(), *batch.halves.values()]
    names = values_by_key(session, Maker, "name", [slug(each.entry.maker) for each in given])
    series = values_by_key(session, SeriesTable, "name", [_series_key(each.entry) for each in given])
    for each in given:
        _one_spelling(names, slug(each.entry.maker), each.entry.maker, each, "maker")
        _one_spelling(series, _series_key(each.entry), _series_name(each.entry), each, "series")


def _one_spelling(kept: dict[str, str], key: str, name: str, given: _Given, field: str) -> None:
    known = kept.setdefault(key, name)
    if known != name:
        raise DuplicateError(
            f"{name!r} is written {known!r} elsewhere",
            field=f"{given.place}.{field}",
            value=name,
            remedy=f"Write it {known!r}",
            entry=given.index,
        )


def _series_key(entry: Series | Half) -> str:
    return entry.key if isinstance(entry, Series) else entry.series_key


def _series_name(entry: Series | Half) -> str:
    return entry.name if isinstance(entry, Series) else entry.series


def _citations(given: Iterable[_Given]) -> list[Citation | None]:
    entries = [each.entry for each in given]
    return [entry.citation if isinstance(entry, Mating) else entry.datasheet for entry in entries]


def _store_series(
    session: Session, stated: Sequence[_Given], halves: Sequence[_Given], citations: Mapping[Citation, int]
) -> dict[str, int]:
    """Row numbers of all series that the new entries need; those that halves only name are made without laws."""
    described: dict[str, Series] = {each.entry.key: each.entry for each in stated}
    wanted = dict(described)
    for each in halves:
        wanted.setdefault(each.entry.series_key, Series(maker=each.entry.maker, name=each.entry.series))
    known = ids_by_key(session, SeriesTable, wanted)
    makers = store_makers(session, {slug(series.maker): series.maker for series in wanted.values()})
    rows = {
        key: series_row(series, stated=key in described, maker_id=makers[slug(series.maker)], citations=citations)
        for key, series in wanted.items()
        if key in described or key not in known
    }
    for key in rows.keys() & known.keys():  # named by halves so far, described now
        statement = update(SeriesTable).where(SeriesTable.id == known[key])
        session.execute(statement.values(**rows[key], revision=SeriesTable.revision + 1))
        store_aliases(session, known[key], wanted[key].aliases)
    new = [key for key in rows if key not in known]
    return known | store_series(session, [rows[key] for key in new], [wanted[key].aliases for key in new])


def _store_matings(session: Session, matings: Sequence[_Given], citations: Mapping[Citation, int]) -> None:
    ids = ids_by_key(session, HalfTable, [key for each in matings for key in (each.entry.half, each.entry.other)])
    for each in matings:
        for name in ("half", "other"):
            key = getattr(each.entry, name)
            if key not in ids:
                raise EntryError(
                    f"no half of the catalogue or of this batch has the key {key!r}",
                    field=f"{each.place}.{name}",
                    value=key,
                    remedy="Add the half first, or correct the key: maker:part-number in lower case",
                    entry=each.index,
                )
    store_matings(session, [(each.entry, each.from_law) for each in matings], ids, citations)
