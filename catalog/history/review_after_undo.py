"""Reviewing others' entries anew after an undo: what the review thought of them because of what is gone falls too."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from catalog.db.tables import ENTRY_TABLES
from catalog.history.acts import OPERATOR, Act
from catalog.history.changes import members_standing
from catalog.history.revision import rewrite
from catalog.model.entries import AnyEntry, Half, Mating, Series
from catalog.model.entry_states import Place
from catalog.records.read import get_records
from catalog.records.read_models import AnyRecord, state_of
from catalog.review import Neighbours, among, is_clean, read_neighbours, review

REVIEWED = "review"
"""The journal's word for another outcome of the machine review."""


def review_anew(session: Session, act: Act, gone: Sequence[AnyEntry], since: str) -> tuple[Place, ...]:
    """Let entries changed since a moment, in which the review found something only because of what is ``gone``, be
    clean from now on. ``gone`` are contents that stand no more.

    What it finds now and did not then, it may find because of others' later entries: that is not held against them.
    """
    around = _Gone(gone)
    reviewed: list[Place] = []
    for record in ("series", "half", "mating"):
        for each in _doubted(session, record, since):
            if around.were_near(each.content) and _rested_on(session, each.content, around):
                reviewed += _clear(session, act, each)
    return tuple(reviewed)


class _Gone:
    """Contents that stand no more, as far as they stood around others."""

    def __init__(self, contents: Sequence[AnyEntry]) -> None:
        self.halves = [each for each in contents if isinstance(each, Half)]
        self.laws = {each.key: each for each in contents if isinstance(each, Series) and each.kinds}
        self._series = {*self.laws, *(half.series_key for half in self.halves)}

    def were_near(self, entry: AnyEntry) -> bool:
        """Whether any of them may have stood around an entry."""
        if not isinstance(entry, Mating):
            series = entry.series_key if isinstance(entry, Half) else entry.key
            if series in self._series:
                return True
        around = among(entry, self.halves)
        return bool(around.siblings or around.alike or around.namesakes or around.mates)

    def instead(self, standing: Neighbours, entry: AnyEntry) -> Neighbours:
        """What stood around an entry with them: in place of what now stands under their keys."""
        gone = among(entry, self.halves)
        keys = {half.key for half in self.halves}

        def both(now: tuple[Half, ...], then: tuple[Half, ...]) -> tuple[Half, ...]:
            return (*(half for half in now if half.key not in keys), *then)

        return replace(
            standing,
            siblings=both(standing.siblings, gone.siblings),
            series=self.laws.get(entry.series_key, standing.series) if isinstance(entry, Half) else standing.series,
            alike=both(standing.alike, gone.alike),
            namesakes=both(standing.namesakes, gone.namesakes),
            mates={**standing.mates, **gone.mates},
        )


def _doubted(session: Session, record: str, since: str) -> Iterator[AnyRecord]:
    """Listed entries changed since that the review did not find clean. Those that a series' laws made are reviewed with
    it; the operator's come from files, which nobody reviewed."""
    columns = ENTRY_TABLES[record].__table__.c
    changed = select(columns.key).where(
        columns.state == "listed", columns.changed_at >= since, ~columns.clean, columns.author != OPERATOR
    )
    changed = changed.where(columns.stated if record == "series" else ~columns.from_law)
    yield from get_records(session, record, session.scalars(changed).all()).values()


def _rested_on(session: Session, entry: AnyEntry, gone: _Gone) -> bool:
    """Whether nothing is found as things stand, but something with what is gone in its place."""
    standing = read_neighbours(session, entry)
    return is_clean(review(entry, standing)) and not is_clean(review(entry, gone.instead(standing, entry)))


def _clear(session: Session, act: Act, found: AnyRecord) -> Iterator[Place]:
    """The entry, and what follows its laws."""
    entry = found.content
    followers = members_standing(session, entry).values() if isinstance(entry, Series) else ()
    for each in (found, *followers):
        standing = state_of(each)
        follows = each is found or (standing.from_law and standing.state == "listed")
        if follows and not standing.clean:
            rewrite(session, act, REVIEWED, replace(standing, clean=True), before=each)
            yield each.content.record, each.content.key
