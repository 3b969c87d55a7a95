"""Reading of entries: every read of whole entries goes through here."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any, NamedTuple, TypeVar

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import Row, Select, Text, cast, func, select
from sqlalchemy.orm import Session, aliased

from catalog.db.engines import chunks
from catalog.db.tables import ENTRY_TABLES, HalfTable, MatingTable
from catalog.evidence.assessment import Assessed, Assessment
from catalog.evidence.retrieval import assessments
from catalog.model.entries import Half, Mating, Series
from catalog.model.entry_states import ENTRIES, Place
from catalog.model.errors import NotFoundError, UnavailableError
from catalog.records.read_models import AnyRecord, BetterKnown, HalfRecord, MatingRecord, SeriesRecord, assessed

R = TypeVar("R")
Keys = Iterable[str] | None
"""Keys of the entries to read, in any state; None: all listed entries."""

_STANDING = ("revision", "substance_revision", "author", "changed_at", "clean", "state", "successor")
_OWN = {"series": ("stated",), "half": ("series", "from_law"), "mating": ("from_law",)}

# Documents are validated in one call for all, which takes a third of the time.
_READERS: Mapping[str, TypeAdapter[list[Any]]] = {
    "series": TypeAdapter(list[Series]),
    "half": TypeAdapter(list[Half]),
    "mating": TypeAdapter(list[Mating]),
}


class _Read(NamedTuple):
    """An entry as read: its row, its content and the assessment of its evidence."""

    row: Row[Any]
    content: Any
    assessment: Assessment

    @property
    def standing(self) -> dict[str, Any]:
        return {name: getattr(self.row, name) for name in _STANDING} | {"standing": self.assessment.standing}

    @property
    def better_known(self) -> dict[str, BetterKnown]:
        return {
            name: BetterKnown(
                value=dim.value,
                tolerance=dim.tolerance,
                u=dim.extra_u,
                people=self.assessment.estimates[name].measured.people,
                explanation=self.assessment.estimates[name].explanation,
            )
            for name, dim in self.assessment.better.items()
        }


def load_halves(session: Session, keys: Keys = None) -> list[HalfRecord]:
    """Halves in the order of their keys."""
    return [
        HalfRecord(
            key=read.row.key,
            origin="listed",
            half=read.content,
            series_key=read.row.series,
            from_law=read.row.from_law,
            better_known=read.better_known,
            **read.standing,
        )
        for read in _read(session, "half", keys)
    ]


def load_series(session: Session, keys: Keys = None) -> list[SeriesRecord]:
    """Series in the order of their keys."""
    found = _read(session, "series", keys)
    counted = select(HalfTable.series, func.count()).where(HalfTable.state == "listed").group_by(HalfTable.series)
    if keys is not None:
        counted = counted.where(HalfTable.series.in_([read.row.key for read in found]))
    members: dict[str, int] = {row[0]: row[1] for row in session.execute(counted)}
    return [
        SeriesRecord(
            key=read.row.key,
            series=read.content,
            stated=read.row.stated,
            half_count=members.get(read.row.key, 0),
            **read.standing,
        )
        for read in found
    ]


def load_matings(session: Session, keys: Keys = None) -> list[MatingRecord]:
    """Matings in the order of their keys. ``keys`` None: only those whose halves are both listed."""
    return [
        MatingRecord(
            id=read.row.key,
            mating=read.content,
            from_law=read.row.from_law,
            better_known=read.better_known,
            **read.standing,
        )
        for read in _read(session, "mating", keys)
    ]


_LOADERS: Mapping[str, Callable[[Session, Keys], Sequence[AnyRecord]]] = {
    "series": load_series,
    "half": load_halves,
    "mating": load_matings,
}


def get_records(session: Session, record: str, keys: Iterable[str]) -> dict[str, AnyRecord]:
    """The existing entries among these, by key, in any state."""
    return {each.content.key: each for each in _LOADERS[record](session, keys)}


def records_at(session: Session, places: Collection[Place]) -> dict[Place, AnyRecord]:
    """The existing entries among these, by record and key, in any state."""
    wanted = {record: [key for kind, key in places if kind == record] for record in ENTRIES}
    return {
        (record, key): found
        for record, keys in wanted.items()
        for key, found in (get_records(session, record, keys) if keys else {}).items()
    }


def get_record(session: Session, record: str, key: str) -> AnyRecord:
    """An entry as it is now, in any state; raises NotFoundError."""
    return only(_LOADERS[record](session, [key]), record, key)


def get_entry(session: Session, record: str, key: str) -> Assessed:
    """An entry as `get_record` finds it, without the evidence, which takes most of the time; raises NotFoundError."""
    rows = _rows(session, record, [key], _STANDING)
    return assessed(key, only(_documents(record, rows), record, key), rows[0])


def only(found: Sequence[R], record: str, key: str) -> R:
    """The record found under a key; raises NotFoundError if there is none."""
    if not found:
        raise NotFoundError(
            f"no {record} has the key {key!r}", field="key", value=key, remedy="Search for it by a part of its name"
        )
    return found[0]


def contents(session: Session, record: str, keys: Iterable[str]) -> dict[str, Any]:
    """The content of the existing entries among these, by key, without their state and evidence."""
    rows = _rows(session, record, keys, ())
    return dict(zip((row.key for row in rows), _documents(record, rows), strict=True))


def _read(session: Session, record: str, keys: Keys) -> list[_Read]:
    """Entries with their evidence, which is read for all of them at once."""
    rows = _rows(session, record, keys, (*_STANDING, *_OWN[record]))
    documents = _documents(record, rows)
    entries = [assessed(row.key, content, row) for row, content in zip(rows, documents, strict=True)]
    evidence = assessments(session, entries)
    return [_Read(row, content, evidence[row.key]) for row, content in zip(rows, documents, strict=True)]


def _rows(session: Session, record: str, keys: Keys, names: Iterable[str]) -> list[Row[Any]]:
    """Key, content as JSON text, and the named columns. Mapped objects would take several times as long to read."""
    columns = ENTRY_TABLES[record].__table__.c
    wanted = [columns.key, cast(columns.content, Text).label("content"), *(columns[name] for name in names)]
    statement: Select[Any] = select(*wanted).order_by(columns.key)
    if keys is not None:
        found = (session.execute(statement.where(columns.key.in_(chunk))) for chunk in chunks(sorted(set(keys))))
        return [row for rows in found for row in rows]
    statement = statement.where(columns.state == "listed")
    if record == "mating":
        for end in (MatingTable.half, MatingTable.other):
            half = aliased(HalfTable)
            statement = statement.join(half, end == half.key).where(half.state == "listed")
    return list(session.execute(statement))


def _documents(record: str, rows: Sequence[Row[Any]]) -> list[Any]:
    try:
        return _READERS[record].validate_json(f"[{','.join(row.content for row in rows)}]")
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        place, *field = fault["loc"]
        raise UnavailableError(
            f"the stored {record} {rows[int(place)].key} cannot be read: {fault['msg']}",
            field=".".join(map(str, field)) or None,
            value=fault["input"],
            remedy="It was changed outside this program; restore the database from a copy",
        ) from error
