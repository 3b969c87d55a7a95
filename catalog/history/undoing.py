"""Taking back all of one contributor's changes since a moment, as new revisions, in one transaction."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlalchemy import ColumnElement, and_, or_, select
from sqlalchemy.orm import Session

from catalog.entries import Series
from catalog.evidence.reading import assessment_of
from catalog.history.acts import Act
from catalog.history.documents import get_document, revise_document
from catalog.history.journal import JournalEntry
from catalog.history.pending import RECORD as PENDING
from catalog.history.rewriting import assessed_of, get_record, rewrite, stood_of
from catalog.history.states import ENTRIES, Stood, stood
from catalog.record_tables import JournalTable
from catalog.records import SeriesRecord
from catalog.tables import HalfTable, SeriesTable

UNDO = "undo"
"""The journal's word for a change that takes back another's."""

OF_PEOPLE = ("contributor", "token")
"""Records of people: who may do what is a maintainer's to decide, one by one."""

Place = tuple[str, str]
"""Record and key."""


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What could not be taken back, and why in words; ``by`` are those who built on it."""

    record: str
    key: str
    why: str
    by: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Undone:
    """What an undo did: the records taken back, and what others' work on it kept."""

    taken_back: tuple[Place, ...]
    kept: tuple[Kept, ...]


def undo(session: Session, act: Act, contributor: str, since: str) -> Undone:
    """Take back what a contributor changed since a moment, the latest first. The journal keeps both.

    A record that others revised afterwards, or whose new content others bear out, is kept and reported.
    """
    taken: list[Place] = []
    kept: list[Kept] = []
    for place, rows in _changed_by(session, contributor, since).items():
        run, others = _own_run(rows, contributor, since)
        if not run:
            if others:
                kept.append(_kept(place, "others revised it afterwards", others))
            continue
        built = _built_on(session, place, run[0], contributor)
        if built:
            kept.append(_kept(place, "others bear it out, or built on it", built))
            continue
        if _take_back(session, act, place, run[0]):
            taken.append(place)
        if others:
            kept.append(_kept(place, "an earlier change of theirs, which others revised", others))
    return Undone(taken_back=tuple(taken), kept=tuple(kept))


def _kept(place: Place, why: str, by: Sequence[str]) -> Kept:
    return Kept(record=place[0], key=place[1], why=why, by=tuple(dict.fromkeys(by)))


def _changed_by(session: Session, contributor: str, since: str) -> dict[Place, list[JournalEntry]]:
    """All rows of the records that the contributor changed, the records changed last first."""
    theirs = select(JournalTable.record, JournalTable.key).where(
        JournalTable.actor == contributor, JournalTable.at >= since, JournalTable.record.not_in(OF_PEOPLE)
    )
    places = theirs.distinct().subquery()
    rows = session.execute(
        select(JournalTable)
        .join(places, and_(JournalTable.record == places.c.record, JournalTable.key == places.c.key))
        .order_by(JournalTable.id)
    ).scalars()
    found: dict[Place, list[JournalEntry]] = defaultdict(list)
    for row in rows:
        found[row.record, row.key].append(JournalEntry.model_validate(row))
    return dict(sorted(found.items(), key=lambda item: -max(row.id for row in item[1] if row.actor == contributor)))


def _own_run(rows: Sequence[JournalEntry], contributor: str, since: str) -> tuple[list[JournalEntry], list[str]]:
    """The contributor's last unbroken run of changes, oldest first, and who changed the record between their runs.

    What an undo took back already counts for nothing.
    """
    run: list[JournalEntry] = []
    others: list[str] = []
    seen_theirs = False
    for row in rows:
        if row.action == UNDO:
            run, others, seen_theirs = [], [], False
        elif row.actor == contributor and row.at >= since:
            run.append(row)
            seen_theirs = True
        elif seen_theirs:
            run = []
            others.append(row.actor)
    return run, others


def _built_on(session: Session, place: Place, first: JournalEntry, contributor: str) -> list[str]:
    """Others who measured or read the same as the entry now says; of an added half also who sighted or mated it."""
    record, key = place
    if record not in ENTRIES:
        return []
    assessed = assessment_of(session, assessed_of(get_record(session, record, key)))
    agreeing = [each.author for each in assessed.confirmations if each.counts and each.agrees]
    using = _using(session, key, first, contributor) if record == "half" and first.old is None else []
    return [name for name in (*agreeing, *using) if name != contributor]


def _using(session: Session, key: str, first: JournalEntry, contributor: str) -> list[str]:
    sighted = and_(JournalTable.record == "sighting", JournalTable.of == "half", JournalTable.about == key)
    mated = and_(JournalTable.record == "mating", _names(key))
    statement = select(JournalTable.actor).where(
        or_(sighted, mated),
        JournalTable.action == "add",
        JournalTable.id > first.id,
        JournalTable.actor != contributor,
    )
    return list(session.execute(statement).scalars())


def _names(key: str) -> ColumnElement[bool]:
    """Matings of a half: a mating's key is made of both halves' keys."""
    return or_(
        JournalTable.key.startswith(f"{key}~", autoescape=True), JournalTable.key.contains(f"~{key}~", autoescape=True)
    )


def _take_back(session: Session, act: Act, place: Place, first: JournalEntry) -> bool:
    """Whether anything was left to take back."""
    record, key = place
    if record in ENTRIES:
        return _take_entry_back(session, act, record, key, first)
    document = get_document(session, record, key)
    if first.old is None:
        revise_document(session, act, document, UNDO, state="stopped" if record == PENDING else "withdrawn")
    else:
        revise_document(
            session,
            act,
            document,
            UNDO,
            content=first.old["content"],
            state=first.old["state"],
            private=first.old["private"],
        )
    return True


def _take_entry_back(session: Session, act: Act, record: str, key: str, first: JournalEntry) -> bool:
    now = get_record(session, record, key)
    if first.old is not None:
        before = stood(first.old)
    elif isinstance(now, SeriesRecord) and _others_halves(session, key, first.actor):
        # Others' halves belong to it: its name stays, without anything that was said of it.
        before = Stood(content=Series(maker=now.series.maker, name=now.series.name), stated=False)
    else:
        before = replace(stood_of(now), state="withdrawn", successor=None)
    return rewrite(session, act, UNDO, before) != now.revision


def _others_halves(session: Session, series: str, contributor: str) -> bool:
    statement = select(HalfTable.id).join(SeriesTable, HalfTable.series_id == SeriesTable.id)
    others = statement.where(SeriesTable.key == series, HalfTable.state == "listed", HalfTable.author != contributor)
    return session.execute(others.limit(1)).first() is not None
