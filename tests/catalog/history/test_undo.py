"""Undoing a contributor in one call: what is reverted, what is kept and why, and that a second call finds nothing."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from catalog.accounts import contributors, tokens
from catalog.accounts.access import Scope
from catalog.db.database import Catalogue
from catalog.evidence.statements import Sighting
from catalog.history.acts import operators
from catalog.history.addition import add
from catalog.history.changes import merge, revise
from catalog.history.documents import add_document, get_document, revise_document
from catalog.history.pending import RECORD, submit_withdrawal
from catalog.history.revision import rewrite
from catalog.history.undo import Undone, undo
from catalog.model.entries import Half, Series
from catalog.model.timestamps import now
from catalog.records.queries import mates_of
from catalog.records.read import get_record
from tests.catalog.history.changed_entries import (
    HALF,
    IDA,
    MATE,
    MEMBER,
    PER,
    SERIES,
    WREN,
    by,
    confirm,
    fill,
    longer,
    rows,
    since_ever,
    wider_laws,
)
from tests.catalog.model.entry_examples import half, mating, series

VANDAL = "Cuckoo"
KEEPER = "Mia Dunn"


def undone(session: Session, since: str | None = None) -> Undone:
    return undo(session, by(KEEPER, "a spree", maintainer=True), VANDAL, since or since_ever())


def test_added_entries_are_withdrawn_and_changed_entries_are_reverted(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        add(session, [half(part_number="FAKE-1", order_codes=[], aliases=[])], by(VANDAL))
        revise(session, by(VANDAL), HALF, longer(by_mm=0.1))
        revise(session, by(VANDAL), HALF, longer(by_mm=0.2))
        answer = undone(session)
        record = get_record(session, "half", HALF)
        assert get_record(session, "half", "siskin-works:fake-1").state == "withdrawn"
        last = rows(session, "half", HALF)[-1]
    assert (record.content, record.author, record.revision) == (half(), WREN, 4)
    assert (last.action, last.actor, last.reason) == ("undo", KEEPER, "a spree")
    assert set(answer.taken_back) == {("half", HALF), ("half", "siskin-works:fake-1")}
    assert answer.kept == ()


def test_a_second_undo_finds_nothing(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        add(session, [series(name="FAKE", kinds=[], stack=[])], by(VANDAL))
        revise(session, by(VANDAL), HALF, longer())
        submit_withdrawal(session, by(VANDAL), "half", MEMBER)
        undone(session)
    version = catalogue.version()
    with catalogue.writing() as session:
        assert undone(session) == Undone(taken_back=(), kept=())
    assert catalogue.version() == version


def test_only_changes_since_the_given_time_are_undone(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        revise(session, by(VANDAL), HALF, longer(by_mm=0.1))
        moment = now()
        revise(session, by(VANDAL), HALF, longer(by_mm=0.2))
        undone(session, moment)
        assert get_record(session, "half", HALF).content == longer(by_mm=0.1)


def test_changes_at_exactly_the_given_time_are_undone_too(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        revise(session, by(VANDAL), HALF, longer(by_mm=0.1))
        revise(session, by(VANDAL), HALF, longer(by_mm=0.2))
        *_, before, last = rows(session, "half", HALF)
        assert before.at < last.at
        answer = undone(session, last.at)
        assert get_record(session, "half", HALF).content == longer(by_mm=0.1)
    assert answer.taken_back == (("half", HALF),)


def test_statements_are_withdrawn_and_revised_statements_are_reverted(catalogue: Catalogue) -> None:
    first, second = Sighting(half=HALF, device="Recorder 3"), Sighting(half=HALF, device="Recorder 4")
    with catalogue.writing() as session:
        fill(session)
        revised = add_document(session, by(VANDAL), "sighting", first, of="half", about=HALF)
        moment, revised_key = now(), revised.key
        said = add_document(session, by(VANDAL), "sighting", first, of="half", about=HALF)
        revise_document(session, by(VANDAL), revised, "withdraw", content=second, state="withdrawn", private=True)
        answer = undone(session, moment)
        before, gone = (get_document(session, "sighting", key) for key in (revised_key, said.key))
    assert (before.content["device"], before.state, before.private) == ("Recorder 3", "listed", False)
    assert gone.state == "withdrawn"
    assert set(answer.taken_back) == {("sighting", revised_key), ("sighting", said.key)}


def test_the_last_change_is_undone_first(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        made = [half(part_number=f"FAKE-{n}", order_codes=[], aliases=[]) for n in (2, 3, 1)]
        for each in made:
            add(session, [each], by(VANDAL))
        answer = undone(session)
    assert answer.taken_back == tuple(("half", each.key) for each in reversed(made))


def test_the_order_follows_the_contributors_own_changes_not_later_changes_by_others(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        for number, key in enumerate((HALF, MEMBER, MEMBER, HALF)):
            entry = get_record(session, "half", key).content
            assert isinstance(entry, Half)
            revise(session, by(VANDAL if number < 2 else IDA), key, longer(entry, by_mm=0.01))
        assert [kept.key for kept in undone(session).kept] == [MEMBER, HALF]


def test_a_revision_by_others_is_kept_and_reported(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        revise(session, by(VANDAL), HALF, longer(by_mm=0.1))
        revise(session, by(IDA), HALF, longer(by_mm=0.2))
        answer = undone(session)
        assert get_record(session, "half", HALF).content == longer(by_mm=0.2)
    assert answer.taken_back == ()
    (kept,) = answer.kept
    assert (kept.key, kept.by) == (HALF, (IDA,))


def test_everyone_who_revised_an_entry_afterwards_is_named(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        for number, who in enumerate((VANDAL, IDA, PER, IDA), start=1):
            revise(session, by(who), HALF, longer(by_mm=number / 10))
        (kept,) = undone(session).kept
    assert (kept.key, kept.by) == (HALF, (IDA, PER))


def test_changes_after_a_revision_by_others_are_reverted_to_that_revision(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        revise(session, by(VANDAL), HALF, longer(by_mm=0.1))
        revise(session, by(IDA), HALF, longer(by_mm=0.2))
        revise(session, by(VANDAL), HALF, longer(by_mm=0.3))
        answer = undone(session)
        assert get_record(session, "half", HALF).content == longer(by_mm=0.2)
    assert answer.taken_back == (("half", HALF),)
    assert [kept.by for kept in answer.kept] == [(IDA,)]


def test_changes_confirmed_by_others_are_kept(catalogue: Catalogue) -> None:
    found = half(part_number="SK-TRUE")
    with catalogue.writing() as session:
        add(session, [found], by(VANDAL))
        confirm(session, found, IDA)
        answer = undone(session)
        assert get_record(session, "half", found.key).state == "listed"
    assert [(kept.key, kept.by) for kept in answer.kept if kept.record == "half"] == [(found.key, (IDA,))]


def test_an_added_half_that_others_sighted_or_mated_is_kept(catalogue: Catalogue) -> None:
    seen, mated = half(part_number="SK-SEEN"), half(part_number="SK-MATED")
    with catalogue.writing() as session:
        fill(session)
        add(session, [seen, mated], by(VANDAL))
        sighting = Sighting(half=seen.key, device="Recorder 3")
        add_document(session, by(IDA), "sighting", sighting, of="half", about=seen.key)
        add(session, [mating(half=mated.key)], by(PER))
        kept = {each.key: each.by for each in undone(session).kept}
        assert {get_record(session, "half", key).state for key in (seen.key, mated.key)} == {"listed"}
    assert kept == {seen.key: (IDA,), mated.key: (PER,)}


def test_a_changed_half_that_others_sighted_or_mated_is_reverted(catalogue: Catalogue) -> None:
    """They may have used the half as it was before the change."""
    with catalogue.writing() as session:
        fill(session)
        revise(session, by(VANDAL), HALF, longer())
        add_document(session, by(IDA), "sighting", Sighting(half=HALF, device="Recorder 3"), of="half", about=HALF)
        add(session, [half(part_number="SK-NEW"), mating(other="siskin-works:sk-new")], by(PER))
        answer = undone(session)
        assert get_record(session, "half", HALF).content == half()
    assert (answer.taken_back, answer.kept) == ((("half", HALF),), ())


def test_a_sighting_of_a_half_does_not_keep_a_series_with_the_same_key(catalogue: Catalogue) -> None:
    named = series(maker="Siskin Works", name="SK-7-13", kinds=[], stack=[])
    with catalogue.writing() as session:
        fill(session)
        add(session, [named], by(VANDAL))
        add_document(session, by(IDA), "sighting", Sighting(half=HALF, device="Recorder 3"), of="half", about=HALF)
        answer = undone(session)
        assert get_record(session, "series", HALF).state == "withdrawn"
    assert named.key == HALF
    assert (answer.taken_back, answer.kept) == ((("series", HALF),), ())


def test_a_half_that_they_added_and_merged_is_withdrawn_without_a_successor(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        add(session, [half(part_number="FAKE-1")], by(VANDAL))
        merge(session, by(VANDAL), "siskin-works:fake-1", HALF)
        undone(session)
        record = get_record(session, "half", "siskin-works:fake-1")
    assert (record.state, record.successor) == ("withdrawn", None)


@pytest.mark.parametrize("maker", ["Avocet", "Siskin Works"], ids=["first in the mating's key", "second"])
def test_a_mating_of_a_half_with_a_similar_key_does_not_keep_the_half(catalogue: Catalogue, maker: str) -> None:
    """An underscore matches any character in SQL's LIKE, and a key may contain one."""
    added, alike = half(maker=maker, part_number="SK_7"), half(maker=maker, part_number="SKX7")
    with catalogue.writing() as session:
        fill(session)
        add(session, [alike], by(PER))
        add(session, [added], by(VANDAL))
        add(session, [mating(half=alike.key, other=MATE)], by(PER))
        answer = undone(session)
    assert (answer.taken_back, answer.kept) == ((("half", added.key),), ())


def test_evidence_and_proposals_of_the_contributor_no_longer_count(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        confirm(session, half(), VANDAL)
        confirm(session, half(), IDA)
        assert get_record(session, "half", HALF).standing == "confirmed"
        pending = submit_withdrawal(session, by(VANDAL), "half", MEMBER).pending
        undone(session)
        assert get_record(session, "half", HALF).standing != "confirmed"
        assert pending is not None
        assert get_document(session, RECORD, pending.key).state == "stopped"


def test_proposals_by_others_to_withdraw_an_entry_do_not_keep_it(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        add(session, [half(part_number="FAKE-1")], by(VANDAL))
        submit_withdrawal(session, by(IDA), "half", "siskin-works:fake-1")
        assert undone(session).taken_back == (("half", "siskin-works:fake-1"),)


def test_laws_and_all_members_are_reverted_together(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        before = get_record(session, "half", MEMBER).content
        revise(session, by(VANDAL), SERIES, wider_laws())
        undone(session)
        assert get_record(session, "series", SERIES).content == series()
        assert get_record(session, "half", MEMBER).content == before
        assert get_record(session, "half", "dunnock-sons:dn40pa-030").state == "withdrawn"
        assert get_record(session, "half", "dunnock-sons:dn40pa-040").model_dump()["from_law"]


def test_undoing_a_merge_returns_the_matings_it_moved(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        add(session, [half(part_number="OTHER")], by(PER))
        merge(session, by(VANDAL), HALF, "siskin-works:other")
        undone(session)
        assert get_record(session, "half", HALF).state == "listed"
        assert [each.key for _, each in mates_of(session, HALF)] == [MEMBER]
        assert mates_of(session, "siskin-works:other") == []


def test_a_series_in_which_others_listed_halves_keeps_its_name_and_loses_its_laws(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        add(session, [series()], by(VANDAL))
        own = half(maker="Dunnock & Sons", series="DN40", part_number="DN40X")
        add(session, [own], by(IDA))
        undone(session)
        record = get_record(session, "series", SERIES)
        assert get_record(session, "half", own.key).state == "listed"
    assert (record.state, record.model_dump()["stated"]) == ("listed", False)
    assert record.content == Series(maker="Dunnock & Sons", name="DN40")


def test_people_and_tokens_are_not_undone(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        contributors.add(session, operators(), VANDAL)
        tokens.create(session, operators(), VANDAL, scopes=[Scope.CONTRIBUTE], expires=None)
        contributors.add(session, by(VANDAL), "Sockpuppet")
        assert undone(session) == Undone(taken_back=(), kept=())


def test_an_undo_is_one_transaction(catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    with catalogue.writing() as session:
        fill(session)
        add(session, [half(part_number=f"FAKE-{number}") for number in range(3)], by(VANDAL))
    calls = []

    def failing(*given: object, **more: object) -> int:
        calls.append(given)
        if len(calls) == 2:
            raise RuntimeError("the power failed")
        return real(*given, **more)  # type: ignore[arg-type]

    real = rewrite
    monkeypatch.setattr("catalog.history.undo.rewrite", failing)
    with pytest.raises(RuntimeError), catalogue.writing() as session:
        undone(session)
    with catalogue.reading() as session:
        states = {get_record(session, "half", f"siskin-works:fake-{number}").state for number in range(3)}
    assert states == {"listed"}
