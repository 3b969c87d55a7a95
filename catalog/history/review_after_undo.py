"""Review of other people's entries after an undo: findings that were only due to the undone changes disappear."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from catalog.db.tables import ENTRY_TABLES
from catalog.history.acts import OPERATOR, Act
from catalog.history.changes import members
from catalog.history.revision import rewrite
from catalog.model.entries import AnyEntry, Half, Mating, Series
from catalog.model.entry_states import ENTRIES, Place
from catalog.records.read import get_records, records_at
from catalog.records.read_models import AnyRecord, state_of
from catalog.review import Neighbours, among, is_clean, read_neighbours, review

REVIEWED = "review"
"""Action in the journal for a new outcome of the machine review."""


def review_again(session: Session, act: Act, undone: Sequence[AnyEntry], since: str) -> tuple[Place, ...]:
    """Mark entries as clean that changed since a time and had findings only because of ``undone`` content.

    No entry loses its mark: new findings may be due to entries that others added later.
    """
    earlier = _Undone(undone)
    reviewed: list[Place] = []
    for record in ENTRIES:
        for each in _with_findings(session, record, since):
            if earlier.is_near(each.content) and _is_due_to(session, each.content, earlier):
                reviewed += _mark_clean(session, act, each)
    return tuple(reviewed)


class _Undone:
    """The content that was undone, as neighbours of other entries."""

    def __init__(self, contents: Sequence[AnyEntry]) -> None:
        self.halves = [each for each in contents if isinstance(each, Half)]
        self.laws = {each.key: each for each in contents if isinstance(each, Series) and each.kinds}
        self._series = {*self.laws, *(half.series_key for half in self.halves)}

    def is_near(self, entry: AnyEntry) -> bool:
        """Whether any of it may have been a neighbour of an entry."""
        if not isinstance(entry, Mating):
            series = entry.series_key if isinstance(entry, Half) else entry.key
            if series in self._series:
                return True
        around = among(entry, self.halves)
        return bool(around.siblings or around.alike or around.namesakes or around.mates)

    def added_to(self, present: Neighbours, entry: AnyEntry) -> Neighbours:
        """The neighbours of an entry with the undone content in place of what now has its keys."""
        undone = among(entry, self.halves)
        keys = {half.key for half in self.halves}

        def both(now: tuple[Half, ...], then: tuple[Half, ...]) -> tuple[Half, ...]:
            return (*(half for half in now if half.key not in keys), *then)

        return replace(
            present,
            siblings=both(present.siblings, undone.siblings),
            series=self.laws.get(entry.series_key, present.series) if isinstance(entry, Half) else present.series,
            alike=both(present.alike, undone.alike),
            namesakes=both(present.namesakes, undone.namesakes),
            mates={**present.mates, **undone.mates},
        )


def _with_findings(session: Session, record: str, since: str) -> Iterator[AnyRecord]:
    """Listed entries that changed since and are not clean. Members of a series are reviewed with it, and entries by the
    operator come from files, which are not reviewed."""
    columns = ENTRY_TABLES[record].__table__.c
    changed = select(columns.key).where(
        columns.state == "listed", columns.changed_at >= since, ~columns.clean, columns.author != OPERATOR
    )
    changed = changed.where(columns.stated if record == "series" else ~columns.from_law)
    yield from get_records(session, record, session.scalars(changed).all()).values()


def _is_due_to(session: Session, entry: AnyEntry, earlier: _Undone) -> bool:
    """Whether the review finds nothing now, but would find something with the undone content."""
    present = read_neighbours(session, entry)
    return is_clean(review(entry, present)) and not is_clean(review(entry, earlier.added_to(present, entry)))


def _mark_clean(session: Session, act: Act, found: AnyRecord) -> Iterator[Place]:
    """Mark the entry, and listed members that follow its laws, as clean."""
    entry = found.content
    followers = records_at(session, members(entry)).values() if isinstance(entry, Series) else ()
    for each in (found, *followers):
        state = state_of(each)
        follows = each is found or (state.from_law and state.state == "listed")
        if follows and not state.clean:
            rewrite(session, act, REVIEWED, replace(state, clean=True), before=each)
            yield each.content.record, each.content.key
