"""Revision of an entry: the only place that writes a new revision, with its row in the journal."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from catalog.db.tables import HalfTable, JournalTable, SeriesTable
from catalog.history.acts import Act
from catalog.history.journal import Change, append
from catalog.model.entries import AnyEntry, Half, Series, differing, slug
from catalog.model.entry_states import EntryState, entry_state, substance
from catalog.model.errors import EntryError
from catalog.records.read import contents, get_record, get_records
from catalog.records.read_models import AnyRecord, state_of
from catalog.records.write import update_entry


def rewrite(session: Session, act: Act, action: str, after: EntryState, *, before: AnyRecord | None = None) -> int:
    """Make ``after`` the next revision of the entry, with its row in the journal; returns the number of the revision.

    Nothing is written if the entry is already in this state. Maker and series get the catalogue's spelling; if a series
    gets another spelling, its halves get it too. ``before`` is the entry as it is now, if the caller has read it in
    this transaction. Raises NotFoundError, and EntryError for a half of an unknown series.
    """
    after = replace(after, content=spelt(session, after.content))
    entry = after.content
    before = before or get_record(session, entry.record, entry.key)
    was = state_of(before)
    if was == after:
        return before.revision
    revision = before.revision + 1
    since, author = before.substance_revision, before.author
    if substance(was.content) != substance(entry):
        since, author = _first_with(session, entry) or (revision, act.actor)
    standing = {"revision": revision, "substance_revision": since, "author": author, "changed_at": act.at}
    update_entry(session, entry.key, after, standing)
    change = Change(record=entry.record, key=entry.key, revision=revision, old=was.written(), new=after.written())
    append(session, act, action, [change])
    if isinstance(entry, Series) and {"maker", "name"} & set(differing(entry, was.content)):
        _respell_halves(session, act, entry.key)
    return revision


def _first_with(session: Session, entry: AnyEntry) -> tuple[int, str] | None:
    """The first revision with these figures and its author; so restoring figures also restores their evidence."""
    rows = session.execute(
        select(JournalTable.revision, JournalTable.actor, JournalTable.new)
        .where(JournalTable.record == entry.record, JournalTable.key == entry.key)
        .order_by(JournalTable.revision)
    )
    wanted = substance(entry)
    return next(
        ((revision, actor) for revision, actor, new in rows if substance(entry_state(new).content) == wanted), None
    )


def spelt(session: Session, entry: AnyEntry) -> AnyEntry:
    """The entry with the catalogue's spelling of its maker and series: that of its series for a half, that of the
    maker's other series for a series. Raises EntryError for a half of an unknown series."""
    if isinstance(entry, Half):
        series = contents(session, "series", [entry.series_key]).get(entry.series_key)
        if series is None:
            raise EntryError(
                f"there is no series {entry.series!r}",
                field="series",
                value=entry.series,
                remedy="Add the series first; it needs no laws",
            )
        return entry.model_copy(update={"maker": series.maker, "series": series.name})
    if isinstance(entry, Series):
        others = select(SeriesTable.content["maker"].as_string())
        others = others.where(SeriesTable.maker == slug(entry.maker), SeriesTable.key != entry.key)
        maker = session.scalars(others.limit(1)).first()
        return entry if maker is None else entry.model_copy(update={"maker": maker})
    return entry


def _respell_halves(session: Session, act: Act, series: str) -> None:
    keys = session.scalars(select(HalfTable.key).where(HalfTable.series == series)).all()
    for half in get_records(session, "half", keys).values():
        rewrite(session, act, "follow", state_of(half), before=half)
