"""Taking a whole catalogue into an empty one: the same entries, the same evidence, the same history."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import func, insert, select, text, update
from sqlalchemy.orm import Session

from catalog.db.database import mark_changed
from catalog.db.record_tables import ContributorTable, DocumentTable, JournalTable
from catalog.db.tables import Base, CatalogueState, HalfTable, MatingTable, SeriesTable
from catalog.exchange.states import Told, states
from catalog.exchange.whole import Row, read_heading, read_rows
from catalog.history.rewriting import TABLES
from catalog.model.entries import Citation, Half, Mating, Series, slug
from catalog.model.errors import EntryError
from catalog.records.write import Row as Columns
from catalog.records.write import (
    chunks,
    half_row,
    insert_rows,
    mating_row,
    series_row,
    store_aliases,
    store_citations,
    store_half_parts,
    store_makers,
    store_mating_parts,
)

Progress = Callable[[int, int], None]

OF_ACCOUNTS = ("contributor", "token")
"""Records of people: contributors come along without their tokens, which nobody can read out."""


def _quietly(done: int, total: int) -> None:
    """No progress is shown."""


def take_whole(session: Session, path: Path, progress: Progress = _quietly) -> Mapping[str, int]:
    """Take a whole catalogue into an empty one; returns how many records of each kind came.

    Raises EntryError where the catalogue holds anything, FileError for a file that is damaged or contradicts itself.
    """
    _require_empty(session)
    heading = read_heading(path)
    rows = list(read_rows(path))
    found = states(rows, str(path))
    _store_journal(session, rows, progress)
    _store_entries(session, [told for told in found.values() if told.stood is not None])
    documents = [told for (record, _), told in found.items() if told.stood is None and record not in OF_ACCOUNTS]
    _store(session, DocumentTable, (_document(told) for told in documents))
    people = [told for (record, _), told in found.items() if record == "contributor"]
    _store(session, ContributorTable, (_contributor(told) for told in people))
    # The version goes on from where it was; this transaction moves it by one.
    session.execute(update(CatalogueState).values(version=max(heading.version - 1, 0)))
    mark_changed(session)
    counts: dict[str, int] = {}
    for record, _ in found:
        counts[record] = counts.get(record, 0) + 1
    return counts


def _require_empty(session: Session) -> None:
    tables: tuple[type[Base], ...] = (JournalTable, *TABLES.values())
    for table in tables:
        if session.execute(select(func.count()).select_from(table)).scalar_one():
            raise EntryError(
                "a whole catalogue can only be taken into an empty one",
                field="database",
                remedy="Choose another database, or merge what was published into this one: otherhalf merge",
            )


def _store_journal(session: Session, rows: Sequence[Row], progress: Progress) -> None:
    done = 0
    for chunk in chunks(rows):
        written = [row.model_dump(exclude={"line"}) for row in chunk]
        session.execute(insert(JournalTable), written)
        done += len(chunk)
        progress(done, len(rows))
    if session.get_bind().dialect.name == "postgresql":  # numbers that were given do not move its counter
        session.execute(text("SELECT setval(pg_get_serial_sequence('journal', 'id'), (SELECT max(id) FROM journal))"))


def _store(session: Session, table: Any, rows: Iterable[Columns]) -> None:
    for chunk in chunks(rows):
        session.execute(insert(table), chunk)


def _document(told: Told) -> Columns:
    last = told.last
    return {
        "record": last.record,
        "key": last.key,
        "of": last.of,
        "about": last.about,
        "state": last.new["state"],
        "private": last.new["private"],
        "revision": last.revision,
        "author": told.first.actor,
        "added_at": told.first.at,
        "changed_at": last.at,
        "content": last.new["content"],
    }


def _contributor(told: Told) -> Columns:
    return {"key": told.last.key, "added_at": told.first.at, **told.last.new}


def _store_entries(session: Session, entries: Sequence[Told]) -> None:
    contents = [told.stood.content for told in entries if told.stood is not None]
    citations = store_citations(
        session, (each.citation if isinstance(each, Mating) else each.datasheet for each in contents)
    )
    series = _store_series(session, list(_of(entries, Series)), citations)
    halves = _store_halves(session, list(_of(entries, Half)), series, citations)
    _store_matings(session, list(_of(entries, Mating)), halves, citations)


def _of(entries: Iterable[Told], kind: type[Any]) -> Iterator[tuple[Told, Any]]:
    for told in entries:
        if told.stood is not None and isinstance(told.stood.content, kind):
            yield told, told.stood.content


def _store_series(
    session: Session, given: Sequence[tuple[Told, Series]], citations: Mapping[Citation, int]
) -> dict[str, int]:
    makers = store_makers(session, {slug(series.maker): series.maker for _, series in given})
    rows = [
        series_row(series, stated=_stated(told), maker_id=makers[slug(series.maker)], citations=citations)
        | _standing(told)
        for told, series in given
    ]
    ids = insert_rows(session, SeriesTable, rows)
    for id_, (_, series) in zip(ids, given, strict=True):
        store_aliases(session, id_, series.aliases)
    return {series.key: id_ for id_, (_, series) in zip(ids, given, strict=True)}


def _store_halves(
    session: Session,
    given: Sequence[tuple[Told, Half]],
    series: Mapping[str, int],
    citations: Mapping[Citation, int],
) -> dict[str, int]:
    rows = [
        half_row(half, from_law=_from_law(told), series_id=series[half.series_key], citations=citations)
        | _standing(told)
        for told, half in given
    ]
    ids = insert_rows(session, HalfTable, rows)
    store_half_parts(session, [(id_, half) for id_, (_, half) in zip(ids, given, strict=True)])
    return {half.key: id_ for id_, (_, half) in zip(ids, given, strict=True)}


def _store_matings(
    session: Session,
    given: Sequence[tuple[Told, Mating]],
    halves: Mapping[str, int],
    citations: Mapping[Citation, int],
) -> None:
    rows = [
        mating_row(mating, from_law=_from_law(told), half_ids=halves, citations=citations) | _standing(told)
        for told, mating in given
    ]
    ids = insert_rows(session, MatingTable, rows)
    store_mating_parts(session, [(id_, mating) for id_, (_, mating) in zip(ids, given, strict=True)])


def _stated(told: Told) -> bool:
    return told.stood is not None and told.stood.stated


def _from_law(told: Told) -> bool:
    return told.stood is not None and told.stood.from_law


def _standing(told: Told) -> Columns:
    if told.stood is None:
        raise TypeError("only entries have a standing")
    revision, author = told.substance
    return {
        "key": told.last.key,
        "revision": told.last.revision,
        "substance_revision": revision,
        "author": author,
        "changed_at": told.last.at,
        "clean": told.stood.clean,
        "state": told.stood.state,
        "successor": told.stood.successor,
    }
