"""Adding entries to the catalogue: new ones are stored, identical ones left alone, contradicting ones refused."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from dataclasses import field as with_default
from typing import Any

from sqlalchemy.orm import Session

from catalog.db.tables import Base, HalfTable, Maker, MatingTable, SeriesTable
from catalog.history.acts import Act, operators
from catalog.history.journal import Change, append
from catalog.history.rewriting import rewrite
from catalog.history.states import Stood
from catalog.model.entries import AnyEntry, Citation, Entry, Half, Mating, Series, slug
from catalog.model.errors import DuplicateError, EntryError
from catalog.model.series_laws import Expansion, expand
from catalog.records.read import Ids, load_halves, load_matings, load_series
from catalog.records.write import (
    Row,
    chunks,
    half_row,
    ids_by_key,
    insert_rows,
    mating_row,
    new_standing,
    series_row,
    store_aliases,
    store_citations,
    store_half_parts,
    store_makers,
    store_mating_parts,
    values_by_key,
)


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
    from_law: frozenset[str] = frozenset()
    expanded: bool = True
    series: dict[str, _Given] = with_default(default_factory=dict)
    halves: dict[str, _Given] = with_default(default_factory=dict)
    matings: dict[str, _Given] = with_default(default_factory=dict)

    def take(self, entry: AnyEntry, index: int) -> None:
        if isinstance(entry, Series):
            self._put(self.series, entry.key, _Given(entry=entry, index=index))
            made = expand(entry) if self.expanded else Expansion(halves=(), matings=())
            for half in made.halves:
                self._put(self.halves, half.key, _Given(entry=half, index=index, from_law=True))
            for mating in made.matings:
                self._put(self.matings, mating.key, _Given(entry=mating, index=index, from_law=True))
        elif isinstance(entry, Half):
            self._put(self.halves, entry.key, self._given(entry, index))
        else:
            self._put(self.matings, entry.key, self._given(entry, index))

    def _given(self, entry: Half | Mating, index: int) -> _Given:
        return _Given(entry=entry, index=index, from_law=entry.key in self.from_law)

    @staticmethod
    def _put(kept: dict[str, _Given], key: str, given: _Given) -> None:
        """Two may say the same; one given by itself goes before what its series' law says of it, as when exported."""
        earlier = kept.setdefault(key, given)
        if earlier.from_law != given.from_law:
            kept[key] = given if earlier.from_law else earlier
            return
        _refuse_difference(earlier.entry, given.entry, key, given.index, f"earlier in the same batch ({earlier.place})")


def add(
    session: Session,
    entries: Sequence[AnyEntry],
    act: Act | None = None,
    *,
    clean: Collection[str] = (),
    from_law: Collection[str] = (),
    expanded: bool = True,
) -> AddReport:
    """Add entries, in any order, within the session's writing transaction.

    ``act`` says whose they are (default: the operator's); ``clean`` are the keys of those in which the machine review
    found nothing, ``from_law`` of those that laws make which are not in the batch. ``expanded`` False: series come
    without the halves and matings that their laws make.

    Series are expanded by their laws; what a batch also gives by itself goes before the law. An entry that already
    stands with the same content is left alone. Raises DuplicateError for a key that stands with other content,
    EntryError for laws that cannot be carried out and matings whose halves nobody listed; then nothing of the
    transaction may be kept (`Catalogue.writing` sees to it).
    """
    batch = _Batch(from_law=frozenset(from_law), expanded=expanded)
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
    writer = _Writer(session=session, act=act or operators("added"), clean=frozenset(clean), citations=citations)
    series_ids = writer.series(series, halves)
    writer.halves(halves, series_ids)
    writer.matings(matings)
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


@dataclass(frozen=True, kw_only=True)
class _Writer:
    """Writes new entries and the journal's rows of them."""

    session: Session
    act: Act
    clean: frozenset[str]
    citations: Mapping[Citation, int]

    def series(self, stated: Sequence[_Given], halves: Sequence[_Given]) -> dict[str, int]:
        """Row numbers of all series that the new entries need; those that halves only name are made without laws."""
        described: dict[str, Series] = {each.entry.key: each.entry for each in stated}
        wanted = dict(described)
        for each in halves:
            wanted.setdefault(each.entry.series_key, Series(maker=each.entry.maker, name=each.entry.series))
        known = ids_by_key(self.session, SeriesTable, wanted)
        for key in described.keys() & known.keys():  # named by halves so far, described now
            rewrite(self.session, self.act, "describe", self._stood(described[key]), citations=self.citations)
        new = {key: series for key, series in wanted.items() if key not in known}
        makers = store_makers(self.session, {slug(series.maker): series.maker for series in new.values()})
        rows = [
            series_row(series, stated=key in described, maker_id=makers[slug(series.maker)], citations=self.citations)
            for key, series in new.items()
        ]
        ids = self._insert(SeriesTable, rows)
        for id_, series in zip(ids, new.values(), strict=True):
            store_aliases(self.session, id_, series.aliases)
        self._journal([self._stood(series, stated=key in described) for key, series in new.items()])
        return known | dict(zip(new, ids, strict=True))

    def halves(self, given: Sequence[_Given], series_ids: Mapping[str, int]) -> None:
        rows = [
            half_row(
                each.entry,
                from_law=each.from_law,
                series_id=series_ids[each.entry.series_key],
                citations=self.citations,
            )
            for each in given
        ]
        ids = self._insert(HalfTable, rows)
        store_half_parts(self.session, list(zip(ids, (each.entry for each in given), strict=True)))
        self._journal([self._stood(each.entry, from_law=each.from_law) for each in given])

    def matings(self, given: Sequence[_Given]) -> None:
        named = [key for each in given for key in (each.entry.half, each.entry.other)]
        half_ids = ids_by_key(self.session, HalfTable, named)
        for each in given:
            _check_halves(each, half_ids)
        rows = [
            mating_row(each.entry, from_law=each.from_law, half_ids=half_ids, citations=self.citations)
            for each in given
        ]
        ids = self._insert(MatingTable, rows)
        store_mating_parts(self.session, list(zip(ids, (each.entry for each in given), strict=True)))
        self._journal([self._stood(each.entry, from_law=each.from_law) for each in given])

    def _insert(self, table: type[Base], rows: Sequence[Row]) -> list[int]:
        return insert_rows(
            self.session, table, [row | new_standing(self.act, clean=row["key"] in self.clean) for row in rows]
        )

    def _stood(self, entry: AnyEntry, *, from_law: bool = False, stated: bool = True) -> Stood:
        return Stood(content=entry, from_law=from_law, stated=stated, clean=entry.key in self.clean)

    def _journal(self, added: Sequence[Stood]) -> None:
        changes = (
            Change(record=each.content.record, key=each.content.key, revision=1, new=each.written()) for each in added
        )
        append(self.session, self.act, "add", changes)


def _check_halves(given: _Given, half_ids: Mapping[str, int]) -> None:
    for name in ("half", "other"):
        key = getattr(given.entry, name)
        if key not in half_ids:
            raise EntryError(
                f"no half of the catalogue or of this batch has the key {key!r}",
                field=f"{given.place}.{name}",
                value=key,
                remedy="Add the half first, or correct the key: maker:part-number in lower case",
                entry=given.index,
            )
