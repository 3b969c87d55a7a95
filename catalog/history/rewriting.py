"""Rewriting one entry of the tables as a new revision, with its row in the journal: the one place that does."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from catalog.db.record_tables import JournalTable
from catalog.db.tables import (
    Base,
    HalfCategory,
    HalfCount,
    HalfDimension,
    HalfSite,
    HalfTable,
    HalfText,
    MatingContact,
    MatingDimension,
    MatingTable,
    SeriesAlias,
    SeriesTable,
)
from catalog.evidence.assessment import Assessed
from catalog.history.acts import Act
from catalog.history.journal import Change, append
from catalog.history.states import Stood, stood, substance
from catalog.model.entries import AnyEntry, Citation, Half, Mating, slug
from catalog.model.errors import EntryError, NotFoundError
from catalog.records.read import load_halves, load_matings, load_series
from catalog.records.read_models import HalfRecord, MatingRecord, SeriesRecord
from catalog.records.write import (
    Row,
    chunks,
    half_row,
    ids_by_key,
    mating_row,
    series_row,
    store_aliases,
    store_citations,
    store_half_parts,
    store_makers,
    store_mating_parts,
)

AnyRecord = SeriesRecord | HalfRecord | MatingRecord

TABLES: Mapping[str, type[Base]] = {"series": SeriesTable, "half": HalfTable, "mating": MatingTable}
"""The table of each kind of entry."""

_LOAD: Mapping[str, Callable[[Session, Sequence[int]], Sequence[AnyRecord]]] = {
    "series": load_series,
    "half": load_halves,
    "mating": load_matings,
}
_PARTS: Mapping[str, tuple[str, tuple[type[Base], ...]]] = {
    "series": ("series_id", (SeriesAlias,)),
    "half": ("half_id", (HalfDimension, HalfCount, HalfCategory, HalfText, HalfSite)),
    "mating": ("mating_id", (MatingDimension, MatingContact)),
}


def get_record(session: Session, record: str, key: str) -> AnyRecord:
    """An entry as it is now, whatever its state; raises NotFoundError."""
    table = TABLES[record].__table__
    id_: int | None = session.execute(select(table.c.id).where(table.c.key == key)).scalar_one_or_none()
    if id_ is None:
        raise NotFoundError(
            f"no {record} has the key {key!r}", field="key", value=key, remedy="Search for it by a part of its name"
        )
    return _LOAD[record](session, [id_])[0]


def get_records(session: Session, record: str, keys: Iterable[str]) -> dict[str, AnyRecord]:
    """Those of the entries that the catalogue holds, by key, whatever their state."""
    ids = ids_by_key(session, TABLES[record], keys)
    return {each.content.key: each for chunk in chunks(ids.values()) for each in _LOAD[record](session, chunk)}


def stood_of(record: AnyRecord) -> Stood:
    """An entry's state, as the journal keeps it."""
    return Stood(
        content=record.content,
        state=record.state,
        successor=record.successor,
        from_law=not isinstance(record, SeriesRecord) and record.from_law,
        stated=not isinstance(record, SeriesRecord) or record.stated,
        clean=record.clean,
    )


def assessed_of(record: AnyRecord) -> Assessed:
    """An entry, as far as its standing depends on it."""
    return Assessed(
        key=record.content.key,
        content=record.content,
        revision=record.revision,
        substance_revision=record.substance_revision,
        author=record.author,
        clean=record.clean,
        state=record.state,
        successor=record.successor,
    )


def rewrite(
    session: Session,
    act: Act,
    action: str,
    after: Stood,
    *,
    before: AnyRecord | None = None,
    citations: Mapping[Citation, int] | None = None,
) -> int:
    """Make ``after`` the entry's next revision, and journal it; returns the revision's number.

    Nothing happens where the entry stands so already. ``before``: the entry as it is now, where the caller read it in
    this transaction; ``citations``: row numbers of documents, where they are known. Raises NotFoundError.
    """
    entry = after.content
    before = before or get_record(session, entry.record, entry.key)
    was = stood_of(before)
    if was == after:
        return before.revision
    documents = store_citations(session, [_citation(entry)]) if citations is None else citations
    revision = before.revision + 1
    since, author = before.substance_revision, before.author
    if substance(was.content) != substance(entry):
        since, author = _first_with(session, entry) or (revision, act.actor)
    standing = {
        "revision": revision,
        "substance_revision": since,
        "author": author,
        "changed_at": act.at,
        "clean": after.clean,
        "state": after.state,
        "successor": after.successor,
    }
    _write(session, after, documents, standing)
    change = Change(record=entry.record, key=entry.key, revision=revision, old=was.written(), new=after.written())
    append(session, act, action, [change])
    return revision


def _first_with(session: Session, entry: AnyEntry) -> tuple[int, str] | None:
    """Revision and author that first gave the entry this substance: going back to it brings back what stood for it."""
    rows = session.execute(
        select(JournalTable.revision, JournalTable.actor, JournalTable.new)
        .where(JournalTable.record == entry.record, JournalTable.key == entry.key)
        .order_by(JournalTable.revision)
    )
    wanted = substance(entry)
    return next(((revision, actor) for revision, actor, new in rows if substance(stood(new).content) == wanted), None)


def _citation(entry: AnyEntry) -> Citation | None:
    return entry.citation if isinstance(entry, Mating) else entry.datasheet


def _write(session: Session, after: Stood, documents: Mapping[Citation, int], standing: Row) -> None:
    entry = after.content
    table = TABLES[entry.record].__table__
    id_ = session.execute(select(table.c.id).where(table.c.key == entry.key)).scalar_one()
    row = _row(session, after, documents) | standing
    session.execute(update(table).where(table.c.id == id_).values(**row))  # type: ignore[arg-type]
    owner, parts = _PARTS[entry.record]
    for part in parts:
        session.execute(delete(part).where(part.__table__.c[owner] == id_))
    if isinstance(entry, Half):
        store_half_parts(session, [(id_, entry)])
    elif isinstance(entry, Mating):
        store_mating_parts(session, [(id_, entry)])
    else:
        store_aliases(session, id_, entry.aliases)


def _row(session: Session, after: Stood, documents: Mapping[Citation, int]) -> Row:
    entry = after.content
    if isinstance(entry, Half):
        series_id = _series_id(session, entry)
        return half_row(entry, from_law=after.from_law, series_id=series_id, citations=documents)
    if isinstance(entry, Mating):
        half_ids = ids_by_key(session, HalfTable, [entry.half, entry.other])
        return mating_row(entry, from_law=after.from_law, half_ids=half_ids, citations=documents)
    makers = store_makers(session, {slug(entry.maker): entry.maker})
    return series_row(entry, stated=after.stated, maker_id=makers[slug(entry.maker)], citations=documents)


def _series_id(session: Session, half: Half) -> int:
    ids = ids_by_key(session, SeriesTable, [half.series_key])
    if not ids:
        raise EntryError(
            f"no series is called {half.series!r}",
            field="series",
            value=half.series,
            remedy="Add the series first; its laws may be left out",
        )
    return ids[half.series_key]
