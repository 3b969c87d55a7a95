"""Destructive changes wait: which ones, when they take effect, and what hastens, stops or lapses them."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from catalog.accounts import contributors
from catalog.db.database import Catalogue
from catalog.history.addition import add
from catalog.history.changes import revise
from catalog.history.documents import DocumentRecord, get_document
from catalog.history.journal import page
from catalog.history.pending import (
    DELAY,
    RECORD,
    Submitted,
    carry_out_due,
    hasten,
    stop,
    submit_merge,
    submit_revert,
    submit_revision,
    submit_withdrawal,
)
from catalog.model.errors import EntryError, NotFoundError
from catalog.model.timestamps import now, read, written
from catalog.records.read import get_record
from tests.catalog.history.changed_entries import (
    HALF,
    IDA,
    MEMBER,
    PER,
    SERIES,
    WREN,
    by,
    confirm,
    fill,
    longer,
    rows,
    wider_laws,
)
from tests.catalog.model.entry_examples import half


def in_(delay: timedelta) -> str:
    return written(read(now(), field="at") + delay)


def waiting(submitted: Submitted) -> DocumentRecord:
    assert submitted.changed is None
    assert submitted.pending is not None
    assert submitted.pending.state == "waiting"
    return submitted.pending


def test_a_withdrawal_waits_and_takes_effect_when_it_is_due(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        pending = waiting(submit_withdrawal(session, by(IDA, "no such part"), "half", HALF))
        assert get_record(session, "half", HALF).state == "listed"
    with catalogue.writing() as session:
        assert carry_out_due(session, in_(DELAY - timedelta(minutes=1))) == []
        assert get_record(session, "half", HALF).state == "listed"
        (done,) = carry_out_due(session, in_(DELAY + timedelta(minutes=1)))
        assert get_record(session, "half", HALF).state == "withdrawn"
        assert carry_out_due(session, in_(DELAY + timedelta(minutes=1))) == []
        last = rows(session, "half", HALF)[-1]
    assert (done.key, done.state) == (pending.key, "done")
    assert (last.actor, last.reason, last.batch) == (IDA, "no such part", pending.key)


def test_a_merge_waits(catalogue: Catalogue) -> None:
    twin = half(part_number="SK-7/13-OLD")
    with catalogue.writing() as session:
        fill(session)
        add(session, [twin], by(IDA))
        waiting(submit_merge(session, by(PER), twin.key, HALF, delay=timedelta(hours=1)))
        assert get_record(session, "half", twin.key).state == "listed"
        carry_out_due(session, in_(timedelta(hours=2)))
        assert get_record(session, "half", twin.key).successor == HALF


def test_checking_a_pending_change_leaves_no_trace(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        submit_withdrawal(session, by(IDA), "half", HALF)
        assert [each.action for each in rows(session, "half", HALF)] == ["add"]
        assert get_record(session, "half", HALF).revision == 1


def test_a_reported_entry_is_revised_at_once(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        submitted = submit_revision(session, by(IDA), HALF, longer(), clean=True)
    assert submitted.pending is None
    assert submitted.changed is not None


def test_new_values_of_a_confirmed_entry_wait_but_a_note_does_not(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        confirm(session, half(), IDA, PER)
        assert get_record(session, "half", HALF).standing == "confirmed"
        assert submit_revision(session, by(WREN), HALF, half(note="also in white"), clean=True).changed is not None
        pending = waiting(submit_revision(session, by(WREN), HALF, longer(), clean=True))
        assert get_record(session, "half", HALF).content == half(note="also in white")
        carry_out_due(session, in_(DELAY * 2))
        assert get_record(session, "half", HALF).content == longer()
        assert get_document(session, RECORD, pending.key).state == "done"


def test_laws_that_change_a_confirmed_half_wait_with_all_their_changes(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        member = get_record(session, "half", MEMBER).content
        confirm(session, member, IDA, PER)
        waiting(submit_revision(session, by(WREN), SERIES, wider_laws(), clean=True))
        assert get_record(session, "half", MEMBER).content == member
        assert get_record(session, "series", SERIES).revision == 1


def test_reverting_to_before_a_confirmation_waits(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        revise(session, by(WREN), HALF, longer())
        confirm(session, longer(), IDA, PER, revision=2)
        pending = waiting(submit_revert(session, by(WREN, "slip"), "half", HALF, 1))
        assert get_record(session, "half", HALF).content == longer()
        hasten(session, by("Mia Dunn", "agreed"), pending.key)
        assert get_record(session, "half", HALF).content == half()


def test_an_impossible_change_is_refused_at_once(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        with pytest.raises(NotFoundError):
            submit_withdrawal(session, by(IDA), "half", "no:such")
        with pytest.raises(EntryError):
            submit_merge(session, by(IDA), HALF, HALF)
        assert [each.record for each in page(session, limit=500) if each.record == RECORD] == []


def test_only_one_withdrawal_of_an_entry_waits_at_a_time(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        submit_withdrawal(session, by(IDA), "half", HALF)
        with pytest.raises(EntryError) as caught:
            submit_withdrawal(session, by(PER), "half", HALF)
    assert "is already waiting" in caught.value.message


def test_a_hastened_change_names_its_author_and_the_maintainer_who_decided(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        pending = waiting(submit_withdrawal(session, by(IDA, "no such part"), "half", HALF))
        done = hasten(session, by(PER, "seen by three", maintainer=True), pending.key)
        assert get_record(session, "half", HALF).state == "withdrawn"
        assert rows(session, "half", HALF)[-1].actor == IDA
        last = rows(session, RECORD, pending.key)[-1]
    assert (done.content["decided_by"], done.content["decision"]) == (PER, "seen by three")
    assert (last.action, last.actor) == ("hasten", PER)


def test_a_stopped_change_never_happens(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        pending = waiting(submit_withdrawal(session, by(IDA), "half", HALF))
        stopped = stop(session, by(PER, "it does exist"), pending.key)
        assert stopped.state == "stopped"
        assert carry_out_due(session, in_(DELAY * 2)) == []
        assert get_record(session, "half", HALF).state == "listed"
        for decide in (hasten, stop):
            with pytest.raises(EntryError):
                decide(session, by(PER), pending.key)


def test_a_change_lapses_if_the_entry_changed_meanwhile(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        submit_withdrawal(session, by(IDA), "half", HALF)
        revise(session, by(PER), HALF, longer())
        (lapsed,) = carry_out_due(session, in_(DELAY * 2))
        assert get_record(session, "half", HALF).state == "listed"
    assert (lapsed.state, lapsed.content["decision"]) == ("lapsed", "the entry was changed in the meantime")


def test_a_merge_lapses_if_its_successor_is_withdrawn(catalogue: Catalogue) -> None:
    twin = half(part_number="SK-7/13-OLD")
    with catalogue.writing() as session:
        fill(session)
        add(session, [twin], by(IDA))
        submit_merge(session, by(IDA), twin.key, HALF)
        hasten(session, by(PER), waiting(submit_withdrawal(session, by(IDA), "half", HALF)).key)
        (lapsed,) = carry_out_due(session, in_(DELAY * 2))
        assert get_record(session, "half", twin.key).state == "listed"
    assert lapsed.state == "lapsed"
    assert "withdrawn" in lapsed.content["decision"]


def test_changes_of_a_suspended_contributor_keep_waiting(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        contributors.add(session, by(PER), IDA)
        submit_withdrawal(session, by(IDA), "half", HALF)
        contributors.suspend(session, by(PER, "spree"), IDA)
        assert carry_out_due(session, in_(DELAY * 2)) == []
        contributors.lift(session, by(PER), IDA)
        assert [each.state for each in carry_out_due(session, in_(DELAY * 2))] == ["done"]


def test_looking_for_due_changes_does_not_change_the_version(catalogue: Catalogue) -> None:
    def look(session: Session) -> list[DocumentRecord]:
        return carry_out_due(session, in_(DELAY * 2))

    with catalogue.writing() as session:
        fill(session)
    version = catalogue.version()
    with catalogue.writing() as session:
        assert look(session) == []
    assert catalogue.version() == version
