"""Undo of all changes that one contributor made since a time, as new revisions, in one transaction."""

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
from catalog.history.review_after_undo import review_again
from catalog.history.revision import rewrite
from catalog.model.entries import AnyEntry, Series
from catalog.model.entry_states import ENTRIES, EntryState, Place, entry_state, substance
from catalog.records.read import records_at
from catalog.records.read_models import AnyRecord, SeriesRecord, assessed_of, state_of

UNDO = "undo"
"""Action in the journal for undoing another person's changes."""

OF_PEOPLE = ("contributor", "token")
"""Records of people. They are not undone: a maintainer decides about each of them."""


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A record that was not undone, and why; ``by`` are the people who revised, confirmed or used it."""

    record: str
    key: str
    why: str
    by: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Undone:
    """Result of an undo: the records that were undone, and those that were kept.

    ``reviewed``: entries of others that are clean now, because the machine review only objected to undone changes.
    """

    taken_back: tuple[Place, ...]
    kept: tuple[Kept, ...]
    reviewed: tuple[Place, ...] = ()


def undo(session: Session, act: Act, contributor: str, since: str) -> Undone:
    """Undo a contributor's changes since a time, the latest first. The journal keeps the changes and their undoing.

    A record that others revised afterwards, or whose new content others confirmed or used, is kept and reported.
    """
    undone: list[Place] = []
    kept: list[Kept] = []
    contents: list[AnyEntry] = []
    changed = _changed_by(session, contributor, since)
    entries = _Entries(session, changed)
    for place, rows in changed.items():
        run, others = _last_run(rows, contributor, since)
        if not run:
            if others:
                kept.append(_kept(place, "others revised it afterwards", others))
            continue
        relying = _relying_on(session, entries, place, run[0], contributor)
        if relying:
            kept.append(_kept(place, "others confirmed or used it", relying))
            continue
        if _undo_record(session, act, entries, place, run[0]):
            undone.append(place)
            contents += [entry_state(row.new).content for row in run if row.record in ENTRIES]
        if others:
            kept.append(_kept(place, "others revised an earlier change of it", others))
    reviewed = review_again(session, act, contents, since) if contents else ()
    return Undone(taken_back=tuple(undone), kept=tuple(kept), reviewed=reviewed)


class _Entries:
    """The changed entries with their evidence, all read before anything is undone."""

    def __init__(self, session: Session, places: Collection[Place]) -> None:
        self.records = records_at(session, places)
        self.assessments: dict[Place, Assessment] = {}
        for record in ENTRIES:
            found = [assessed_of(each) for (kind, _), each in self.records.items() if kind == record]
            self.assessments |= {(record, key): each for key, each in assessments(session, found).items()}


def _kept(place: Place, why: str, by: Sequence[str]) -> Kept:
    return Kept(record=place[0], key=place[1], why=why, by=tuple(dict.fromkeys(by)))


def _changed_by(session: Session, contributor: str, since: str) -> dict[Place, list[JournalEntry]]:
    """All rows of the records that the contributor changed; the record that they changed last comes first."""
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


def _last_run(rows: Sequence[JournalEntry], contributor: str, since: str) -> tuple[list[JournalEntry], list[str]]:
    """The contributor's last changes without changes by others in between, oldest first, and who made changes after
    their earlier ones. Rows before an undo are ignored.
    """
    run: list[JournalEntry] = []
    others: list[str] = []
    for row in rows:
        if row.action == UNDO:
            run, others = [], []
        elif row.actor == contributor and row.at >= since:
            run.append(row)
        elif run or others:
            run = []
            others.append(row.actor)
    return run, others


def _relying_on(session: Session, entries: _Entries, place: Place, first: JournalEntry, contributor: str) -> list[str]:
    """Others who confirmed the present content; for an added half, also others who sighted it or added a mating.

    Nobody confirms an entry that is no longer listed.
    """
    record, key = place
    if record not in ENTRIES:
        return []
    now = entries.records[place]
    if now.state != "listed":
        return []
    before = None if first.old is None else entry_state(first.old).content
    using = _using(session, key, first, contributor) if record == "half" and before is None else []
    return [*_confirming(now, entries.assessments[place], before, contributor), *using]


def _confirming(now: AnyRecord, assessment: Assessment, before: AnyEntry | None, contributor: str) -> list[str]:
    """Others who confirm the change of an entry, or the whole entry if it was added (``before`` None).

    The change is not confirmed if measurements of as many people, including earlier ones, support the content before.
    """
    if before is not None and substance(before) == substance(now.content):
        return []
    assessed = assessed_of(now)
    others = [each for each in assessment.confirmations if each.author != contributor]
    agreeing = [each.author for each in others if each.counts and each.agrees and _supports(each, assessed, before)]
    if before is None:
        return agreeing
    was = replace(assessed, content=before)
    against = {each.author for each in others if (each.counts or each.stale) and _measures(each, was, now.content)}
    return agreeing if len(set(agreeing)) > len(against) else []


def _supports(each: JudgedConfirmation, entry: Assessed, rather_than: AnyEntry | None) -> bool:
    """Whether it supports these figures rather than the others; a measurement that fits both supports neither."""
    return rather_than is None or each.confirmation.basis != "measured" or _measures(each, entry, rather_than)


def _measures(each: JudgedConfirmation, entry: Assessed, rather_than: AnyEntry) -> bool:
    """Whether one of its measured values fits the entry but not the other figures."""
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
    """Condition for matings of a half: a mating's key contains both halves' keys."""
    return or_(
        JournalTable.key.startswith(f"{key}~", autoescape=True), JournalTable.key.contains(f"~{key}~", autoescape=True)
    )


def _undo_record(session: Session, act: Act, entries: _Entries, place: Place, first: JournalEntry) -> bool:
    """Undo the changes of one record since its ``first`` row; returns whether there was anything to undo."""
    record, key = place
    if record in ENTRIES:
        return _undo_entry(session, act, entries.records[place], first)
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


def _undo_entry(session: Session, act: Act, now: AnyRecord, first: JournalEntry) -> bool:
    if first.old is not None:
        before = entry_state(first.old)
    elif isinstance(now, SeriesRecord) and _others_halves(session, now.key, first.actor):
        # Halves of others belong to it, so its name is kept, without its laws and everything else.
        before = EntryState(content=Series(maker=now.series.maker, name=now.series.name), stated=False)
    else:
        before = replace(state_of(now), state="withdrawn", successor=None)
    return rewrite(session, act, UNDO, before, before=now) != now.revision


def _others_halves(session: Session, series: str, contributor: str) -> bool:
    others = select(HalfTable.key).where(
        HalfTable.series == series, HalfTable.state == "listed", HalfTable.author != contributor
    )
    return session.execute(others.limit(1)).first() is not None
