"""Undo of all changes of one contributor since a moment, as new revisions, in one transaction."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from sqlalchemy import ColumnElement, and_, or_, select
from sqlalchemy.orm import Session

from catalog.db.tables import HalfTable, JournalTable
from catalog.evidence.agreement import Verdict, agreement, stated
from catalog.evidence.assessment import Assessed, Assessment, JudgedConfirmation
from catalog.evidence.retrieval import assessments
from catalog.history.acts import Act
from catalog.history.documents import get_document, revise_document
from catalog.history.journal import JournalEntry
from catalog.history.pending import RECORD as PENDING
from catalog.history.review_after_undo import review_anew
from catalog.history.revision import rewrite
from catalog.model.entries import AnyEntry, Series
from catalog.model.entry_states import ENTRIES, EntryState, Place, entry_state, substance
from catalog.records.read import get_records
from catalog.records.read_models import AnyRecord, SeriesRecord, assessed_of, state_of

UNDO = "undo"
"""Action in the journal for a change that undoes another person's."""

OF_PEOPLE = ("contributor", "token")
"""Records of people: who may do what is a maintainer's to decide, one by one."""


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A record that could not be undone, and why; ``by`` are the people who built on it."""

    record: str
    key: str
    why: str
    by: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Undone:
    """Result of an undo: the records undone, and the records kept because others built on them.

    ``reviewed``: others' entries in which the machine review finds nothing any more, now that this is gone.
    """

    taken_back: tuple[Place, ...]
    kept: tuple[Kept, ...]
    reviewed: tuple[Place, ...] = ()


def undo(session: Session, act: Act, contributor: str, since: str) -> Undone:
    """Undo a contributor's changes since a moment, the latest first. The journal keeps both.

    A record that others revised afterwards, or whose new content others bear out, is kept and reported.
    """
    taken: list[Place] = []
    kept: list[Kept] = []
    gone: list[AnyEntry] = []
    changed = _changed_by(session, contributor, since)
    entries = _Entries(session, changed)
    for place, rows in changed.items():
        run, others = _own_run(rows, contributor, since)
        if not run:
            if others:
                kept.append(_kept(place, "others revised it afterwards", others))
            continue
        built = _built_on(session, entries, place, run[0], contributor)
        if built:
            kept.append(_kept(place, "others bear it out, or built on it", built))
            continue
        if _take_back(session, act, entries, place, run[0]):
            taken.append(place)
            gone += [entry_state(row.new).content for row in run if row.record in ENTRIES]
        if others:
            kept.append(_kept(place, "an earlier change of theirs, which others revised", others))
    reviewed = review_anew(session, act, gone, since) if gone else ()
    return Undone(taken_back=tuple(taken), kept=tuple(kept), reviewed=reviewed)


class _Entries:
    """The entries among the places and their evidence, all read at once before anything is changed."""

    def __init__(self, session: Session, places: Collection[Place]) -> None:
        self.records: dict[Place, AnyRecord] = {}
        self.assessments: dict[Place, Assessment] = {}
        for record in ENTRIES:
            found = get_records(session, record, [key for of, key in places if of == record])
            self.records |= {(record, key): each for key, each in found.items()}
            assessed = assessments(session, [assessed_of(each) for each in found.values()])
            self.assessments |= {(record, key): each for key, each in assessed.items()}


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


def _built_on(session: Session, entries: _Entries, place: Place, first: JournalEntry, contributor: str) -> list[str]:
    """Others who measured or read the same as the entry now says; of an added half also who sighted or mated it.

    Nobody bears out that an entry was taken off the lists.
    """
    record, key = place
    if record not in ENTRIES:
        return []
    now = entries.records[place]
    if now.state != "listed":
        return []
    before = None if first.old is None else entry_state(first.old).content
    using = _using(session, key, first, contributor) if record == "half" and before is None else []
    return [*_bearing_out(now, entries.assessments[place], before, contributor), *using]


def _bearing_out(now: AnyRecord, assessment: Assessment, before: AnyEntry | None, contributor: str) -> list[str]:
    """Others who agree with what was changed of an entry, or with all of it where it was added (``before`` None).

    Nobody where as many people's measurements, earlier ones too, speak for what stood before.
    """
    if before is not None and substance(before) == substance(now.content):
        return []
    assessed = assessed_of(now)
    others = [each for each in assessment.confirmations if each.author != contributor]
    agreeing = [each.author for each in others if each.counts and each.agrees and _speaks_for(each, assessed, before)]
    if before is None:
        return agreeing
    was = replace(assessed, content=before)
    against = {each.author for each in others if (each.counts or each.stale) and _measures(each, was, now.content)}
    return agreeing if len(set(agreeing)) > len(against) else []


def _speaks_for(each: JudgedConfirmation, entry: Assessed, rather_than: AnyEntry | None) -> bool:
    """Whether it supports these figures rather than the others: a measurement that fits both supports neither."""
    return rather_than is None or each.confirmation.basis != "measured" or _measures(each, entry, rather_than)


def _measures(each: JudgedConfirmation, entry: Assessed, rather_than: AnyEntry) -> bool:
    """Whether one of its measured values fits the entry, and not the other figures."""
    if entry.figures is None or isinstance(rather_than, Series):
        return False
    own, other = entry.figures, stated(rather_than)
    return any(
        agreement(value, own).verdict is Verdict.FITS and agreement(value, other).verdict is not Verdict.FITS
        for value in each.confirmation.values
    )


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


def _take_back(session: Session, act: Act, entries: _Entries, place: Place, first: JournalEntry) -> bool:
    """Undo the changes of one record; returns whether anything was left to undo."""
    record, key = place
    if record in ENTRIES:
        return _take_entry_back(session, act, entries.records[place], first)
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


def _take_entry_back(session: Session, act: Act, now: AnyRecord, first: JournalEntry) -> bool:
    if first.old is not None:
        before = entry_state(first.old)
    elif isinstance(now, SeriesRecord) and _others_halves(session, now.key, first.actor):
        # Others' halves belong to it: its name stays, without anything that was said of it.
        before = EntryState(content=Series(maker=now.series.maker, name=now.series.name), stated=False)
    else:
        before = replace(state_of(now), state="withdrawn", successor=None)
    return rewrite(session, act, UNDO, before, before=now) != now.revision


def _others_halves(session: Session, series: str, contributor: str) -> bool:
    others = select(HalfTable.key).where(
        HalfTable.series == series, HalfTable.state == "listed", HalfTable.author != contributor
    )
    return session.execute(others.limit(1)).first() is not None
