"""Addition of entries: new ones are stored, identical ones are left unchanged, and different ones are refused."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from dataclasses import field as with_default
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from catalog.db.engines import chunks
from catalog.db.tables import HalfTable, SeriesTable
from catalog.history.acts import Act, operators
from catalog.history.journal import Change, append
from catalog.history.revision import rewrite
from catalog.model.entries import AnyEntry, Half, Series, differing, slug
from catalog.model.entry_states import ENTRIES, EntryState
from catalog.model.errors import DuplicateError, EntryError
from catalog.model.series_laws import expand
from catalog.records.read import contents
from catalog.records.write import insert_entries


@dataclass(frozen=True, kw_only=True)
class AddReport:
    """Numbers of entries for each record ("series", "half", "mating"), including those made by laws of series."""

    added: Mapping[str, int]
    unchanged: Mapping[str, int]


@dataclass(frozen=True, kw_only=True)
class _Given:
    """An entry of the batch, with its index there. ``stated`` is False for a series that only its halves name."""

    entry: Any
    index: int
    from_law: bool = False
    stated: bool = True

    @property
    def place(self) -> str:
        return f"entries[{self.index}]"


@dataclass(kw_only=True)
class _Batch:
    from_law: frozenset[str] = frozenset()
    expanded: bool = True
    given: dict[str, dict[str, _Given]] = with_default(default_factory=lambda: {record: {} for record in ENTRIES})

    def add(self, entry: AnyEntry, index: int) -> None:
        self._put(_Given(entry=entry, index=index, from_law=entry.key in self.from_law and entry.record != "series"))
        if isinstance(entry, Series) and self.expanded:
            for member in expand(entry).members:
                self._put(_Given(entry=member, index=index, from_law=True))

    def _put(self, given: _Given) -> None:
        """An entry may be repeated. An entry given directly takes precedence over the same entry made by a law."""
        kept, key = self.given[given.entry.record], given.entry.key
        earlier = kept.setdefault(key, given)
        if earlier.from_law != given.from_law:
            kept[key] = given if earlier.from_law else earlier
            return
        _refuse_difference(earlier.entry, given, f"earlier in the same batch ({earlier.place})")


def add(
    session: Session,
    entries: Sequence[AnyEntry],
    act: Act | None = None,
    *,
    clean: Collection[str] = (),
    from_law: Collection[str] = (),
    expanded: bool = True,
) -> AddReport:
    """Add entries, in any order, in the session's writing transaction.

    Series are expanded, unless ``expanded`` is False. A half or mating that the batch contains takes precedence over
    the one that a law makes. ``act`` is the operator's by default. ``clean`` has the keys of entries in which the
    machine review found nothing, and ``from_law`` the keys of entries made by laws that are not in the batch.

    An entry that is in the catalogue with the same content is left unchanged. Raises DuplicateError if it has other
    content there, and EntryError for laws that cannot be carried out and for matings of unknown halves. After an error
    the transaction must be rolled back, as `Catalogue.writing` does.
    """
    batch = _Batch(from_law=frozenset(from_law), expanded=expanded)
    for index, entry in enumerate(entries):
        try:
            batch.add(entry, index)
        except EntryError as error:
            raise _located(error, entry, index) from error
    _check_spellings(session, [*batch.given["series"].values(), *batch.given["half"].values()])
    new = {record: _new(session, record, batch.given[record]) for record in ENTRIES}
    added = {record: len(found) for record, found in new.items()}
    write = _Writer(session=session, act=act or operators("added"), clean=frozenset(clean))
    write.series(new["series"], new["half"])
    write.entries("half", new["half"])
    _check_halves(session, new["mating"])
    write.entries("mating", new["mating"])
    return AddReport(added=added, unchanged={record: len(batch.given[record]) - added[record] for record in ENTRIES})


def _located(error: EntryError, entry: AnyEntry, index: int) -> EntryError:
    place = f"entries[{index}]"
    return EntryError(
        f"{entry.record} {entry.key}: {error.message}",
        field=f"{place}.{error.field}" if error.field else place,
        value=error.value,
        remedy=error.remedy,
        entry=index,
    )


def _refuse_difference(standing: AnyEntry, given: _Given, where: str) -> None:
    names = differing(standing, given.entry)
    if names:
        raise DuplicateError(
            f"{given.entry.key} exists {where} with another {', '.join(names)}",
            field=f"{given.place}.{names[0]}",
            value=getattr(given.entry, names[0]),
            entry=given.index,
            remedy=f"{names[0]} is {getattr(standing, names[0])!r} there; give the same, or choose another key",
        )


def _new(session: Session, record: str, given: Mapping[str, _Given]) -> list[_Given]:
    """The entries that are new to the catalogue, and series that it does not describe yet. Raises DuplicateError for
    entries that have other content in the catalogue."""
    known = contents(session, record, given)
    if record == "series":
        described = set(_existing(session, SeriesTable.key, known, SeriesTable.stated))
        known = {key: entry for key, entry in known.items() if key in described}
    for key, entry in known.items():
        _refuse_difference(entry, given[key], "in the catalogue")
    return [each for key, each in given.items() if key not in known]


def _existing(session: Session, column: Any, keys: Iterable[str], *wanted: Any) -> Iterator[str]:
    """The given keys that exist in the column."""
    for chunk in chunks(keys):
        yield from session.scalars(select(column).where(column.in_(chunk), *wanted))


def _check_spellings(session: Session, given: Sequence[_Given]) -> None:
    """Refuse a maker or series if the catalogue has another spelling of it."""
    makers = _written(session, SeriesTable.maker, "maker", {slug(each.entry.maker) for each in given})
    series = _written(session, SeriesTable.key, "name", {_series(each.entry).key for each in given})
    for each in given:
        named = _series(each.entry)
        _one_spelling(makers, slug(named.maker), named.maker, each, "maker")
        _one_spelling(series, named.key, named.name, each, "series")


def _written(session: Session, column: Any, name: str, keys: Iterable[str]) -> dict[str, str]:
    """The catalogue's spelling of the makers or series with these keys."""
    spelling = SeriesTable.content[name].as_string()
    found = (session.execute(select(column, spelling).where(column.in_(chunk))) for chunk in chunks(keys))
    return {key: text for rows in found for key, text in rows}


def _one_spelling(kept: dict[str, str], key: str, name: str, given: _Given, field: str) -> None:
    known = kept.setdefault(key, name)
    if known != name:
        raise DuplicateError(
            f"{name!r} is spelt {known!r} elsewhere",
            field=f"{given.place}.{field}",
            value=name,
            remedy=f"Write {known!r}",
            entry=given.index,
        )


def _series(entry: Series | Half) -> Series:
    """The series itself, or the one that a half names."""
    return entry if isinstance(entry, Series) else Series(maker=entry.maker, name=entry.series)


def _check_halves(session: Session, given: Sequence[_Given]) -> None:
    ends = {key for each in given for key in (each.entry.half, each.entry.other)}
    known = set(_existing(session, HalfTable.key, ends))
    for each in given:
        for name in ("half", "other"):
            key = getattr(each.entry, name)
            if key not in known:
                raise EntryError(
                    f"no half in the catalogue or in this batch has the key {key!r}",
                    field=f"{each.place}.{name}",
                    value=key,
                    remedy="Add the half first, or correct the key (maker:part-number, in lower case)",
                    entry=each.index,
                )


@dataclass(frozen=True, kw_only=True)
class _Writer:
    """Writes new entries, and their rows in the journal."""

    session: Session
    act: Act
    clean: frozenset[str]

    def series(self, described: Sequence[_Given], halves: Sequence[_Given]) -> None:
        """Write the described series, and series without laws for those that only halves name."""
        wanted = {each.entry.key: each for each in described}
        for each in halves:
            named = _Given(entry=_series(each.entry), index=each.index, stated=False)
            wanted.setdefault(named.entry.key, named)
        known = set(_existing(self.session, SeriesTable.key, wanted))
        for key in known:
            if wanted[key].stated:  # so far only halves named it
                rewrite(self.session, self.act, "describe", self._state(wanted[key]))
        self.entries("series", [each for key, each in wanted.items() if key not in known])

    def entries(self, record: str, given: Sequence[_Given]) -> None:
        """Write entries of one kind."""
        states = [self._state(each) for each in given]
        first = {"revision": 1, "substance_revision": 1, "author": self.act.actor, "changed_at": self.act.at}
        insert_entries(self.session, record, [(each, first) for each in states])
        changes = (Change(record=record, key=each.content.key, revision=1, new=each.written()) for each in states)
        append(self.session, self.act, "add", changes)

    def _state(self, given: _Given) -> EntryState:
        entry = given.entry
        return EntryState(content=entry, from_law=given.from_law, stated=given.stated, clean=entry.key in self.clean)
