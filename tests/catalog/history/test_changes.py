"""Changing entries: revisions, series and their members, withdrawing, restoring, merging, reverting."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from catalog.db.database import Catalogue
from catalog.history.addition import add
from catalog.history.changes import merge, restore, revert, revise, withdraw
from catalog.history.journal import revision_of
from catalog.model.entries import Half, Mating, Series
from catalog.model.entry_states import entry_state
from catalog.model.errors import CatalogueError, DuplicateError, EntryError, NotFoundError
from catalog.records.queries import halves_page, mates_of
from catalog.records.read import get_record
from catalog.records.read_models import HalfRecord, MatingRecord
from tests.catalog.history.changed_entries import (
    HALF,
    IDA,
    MATE,
    MEMBER,
    PER,
    SERIES,
    WREN,
    by,
    fill,
    longer,
    rows,
    wider_laws,
)
from tests.catalog.model.entry_examples import half, mating, series


def of_half(session: Session, key: str) -> HalfRecord:
    record = get_record(session, "half", key)
    assert isinstance(record, HalfRecord)
    return record


def test_a_revision_stores_the_new_content_and_its_author_and_keeps_the_old_in_the_journal(
    catalogue: Catalogue,
) -> None:
    with catalogue.writing() as session:
        fill(session)
        changed = revise(session, by(IDA, "measured on the drawing"), HALF, longer())
        record = of_half(session, HALF)
    assert (changed.revision, record.revision, record.author) == (2, 2, IDA)
    assert record.half == longer()
    with catalogue.reading() as session:
        last = rows(session, "half", HALF)[-1]
    assert (last.action, last.actor, last.reason) == ("revise", IDA, "measured on the drawing")
    assert last.old is not None
    assert entry_state(last.old).content == half()
    assert entry_state(last.new).content == longer()


def test_changing_a_note_does_not_change_the_author_of_the_figures(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        revise(session, by(IDA), HALF, half(note="seen on two boards"))
        record = of_half(session, HALF)
    assert (record.revision, record.substance_revision, record.author) == (2, 1, WREN)


def test_every_part_of_a_half_can_be_revised_and_read_back(catalogue: Catalogue) -> None:
    bare = Half(maker="Siskin Works", series="SK", part_number="SK-7/13", rows=1, contact_count=4)
    with catalogue.writing() as session:
        fill(session)
        revise(session, by(IDA), HALF, bare)
        assert of_half(session, HALF).half == bare
        revise(session, by(IDA), HALF, half())
        assert of_half(session, HALF).half == half()


def test_a_mating_is_revised_with_its_contact_list(catalogue: Catalogue) -> None:
    turned = mating(contact_map=[["1", "9"], ["2", "10"]], note="tried again")
    with catalogue.writing() as session:
        fill(session)
        assert revise(session, by(IDA), turned.key, turned).revision == 2
        record = get_record(session, "mating", turned.key)
    assert isinstance(record, MatingRecord)
    assert record.mating == turned


def test_unchanged_content_makes_no_revision(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        version = len(rows(session, "half", HALF))
        assert revise(session, by(IDA), HALF, half()).revision == 1
        assert len(rows(session, "half", HALF)) == version


@pytest.mark.parametrize(
    ("entry", "field"),
    [
        (half(part_number="SK-9"), "part_number"),
        (series(name="DN41"), "name"),
        (mating(stack_height={"value": 1.4}), "half"),
    ],
)
def test_content_with_another_key_is_refused(catalogue: Catalogue, entry: Half | Series | Mating, field: str) -> None:
    keys = {"half": HALF, "series": SERIES, "mating": mating().key}
    with catalogue.writing() as session:
        fill(session)
    with pytest.raises(EntryError) as caught, catalogue.writing() as session:
        revise(session, by(IDA), keys[entry.record], entry)
    assert caught.value.field == field
    assert "correct" in caught.value.remedy


def test_an_unknown_key_cannot_be_changed(catalogue: Catalogue) -> None:
    with pytest.raises(NotFoundError), catalogue.writing() as session:
        revise(session, by(IDA), HALF, half())


def test_a_half_of_an_unknown_series_is_refused_and_nothing_changes(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
    with pytest.raises(EntryError) as caught, catalogue.writing() as session:
        revise(session, by(IDA), HALF, half(series="Unheard"))
    assert caught.value.field == "series"
    with catalogue.reading() as session:
        assert of_half(session, HALF).revision == 1


def test_a_withdrawn_entry_is_readable_but_not_listed_and_cannot_be_revised(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        withdraw(session, by(IDA, "no such part"), "half", HALF)
    with catalogue.reading() as session:
        record = of_half(session, HALF)
        assert (record.state, record.standing, record.half) == ("withdrawn", "withdrawn", half())
        assert HALF not in [each.key for each in halves_page(session, limit=500).items]
        assert HALF not in [each.key for _, each in mates_of(session, MEMBER)]
    with pytest.raises(EntryError) as caught, catalogue.writing() as session:
        revise(session, by(IDA), HALF, longer())
    assert "Restore" in caught.value.remedy
    with pytest.raises(EntryError) as caught, catalogue.writing() as session:
        withdraw(session, by(IDA), "half", HALF)
    assert caught.value.field == "state"


def test_restoring_an_entry_restores_its_matings(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        withdraw(session, by(IDA), "half", HALF)
        restore(session, by(PER), "half", HALF)
        assert of_half(session, HALF).state == "listed"
        assert HALF in [each.key for _, each in mates_of(session, MEMBER)]


def test_an_entry_in_force_cannot_be_restored(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
    with pytest.raises(EntryError) as caught, catalogue.writing() as session:
        restore(session, by(IDA), "half", HALF)
    assert caught.value.field == "state"


def test_members_follow_the_laws_of_their_series(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        changed = revise(session, by(IDA), SERIES, wider_laws())
        member = of_half(session, MEMBER)
        new = of_half(session, "dunnock-sons:dn40pa-030")
        left = of_half(session, "dunnock-sons:dn40pa-040")
    assert member.half.dimensions["body_length"].value == pytest.approx(1.9 + 0.4 * 5)
    assert (member.author, member.from_law) == (IDA, True)
    assert new.from_law
    assert (left.state, left.from_law, left.revision) == ("listed", False, 2)
    assert MEMBER in changed.changed
    assert new.key in changed.added
    assert left.key in changed.left_over
    assert not set(changed.changed) & set(changed.added)
    halves = [key for key in changed.left_over if "~" not in key]
    assert sorted(halves) == ["dunnock-sons:dn40pa-040", "dunnock-sons:dn40pb-040", "dunnock-sons:dn40r-040"]


def test_a_half_corrected_by_hand_no_longer_follows_its_law(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        corrected = longer(of_half(session, MEMBER).half, 0.3)
        revise(session, by(IDA), MEMBER, corrected)
        assert not of_half(session, MEMBER).from_law
        changed = revise(session, by(PER), SERIES, wider_laws())
        assert of_half(session, MEMBER).half == corrected
    assert changed.by_hand == (MEMBER,)
    assert MEMBER not in changed.changed


def test_a_half_corrected_by_hand_to_the_value_of_the_law_follows_the_law_again(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        lawful = of_half(session, MEMBER).half
        revise(session, by(IDA), MEMBER, longer(lawful))
        revise(session, by(IDA), MEMBER, lawful)
        revise(session, by(PER), SERIES, series(note="drawing C compared"))
        assert of_half(session, MEMBER).from_law


def test_a_law_does_not_overwrite_a_half_listed_by_itself(catalogue: Catalogue) -> None:
    own = half(maker="Dunnock & Sons", series="DN40", part_number="DN40PA-030")
    with catalogue.writing() as session:
        fill(session)
        add(session, [own], by(PER))
    with pytest.raises(DuplicateError) as caught, catalogue.writing() as session:
        revise(session, by(IDA), SERIES, wider_laws())
    assert (caught.value.field, caught.value.value) == ("kinds", own.key)
    with catalogue.reading() as session:
        assert get_record(session, "series", SERIES).revision == 1
        assert of_half(session, MEMBER).revision == 1
        assert of_half(session, own.key).half == own


def test_a_series_that_is_only_named_can_be_described_by_a_revision(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        add(session, [half()], by(WREN))
        revise(session, by(IDA), "siskin-works:sk", Series(maker="Siskin Works", name="SK", note="two rows"))
        record = get_record(session, "series", "siskin-works:sk")
    assert record.model_dump()["stated"]
    assert record.content.note == "two rows"


def test_a_merged_entry_names_its_successor_which_takes_over_the_matings(catalogue: Catalogue) -> None:
    twin = half(part_number="SK-7/13-OLD")
    with catalogue.writing() as session:
        fill(session)
        add(session, [twin, mating(half=twin.key, basis="maker", note="of the old name")], by(IDA))
        merge(session, by(PER, "one part, two names"), twin.key, HALF)
        record = of_half(session, twin.key)
        mates = mates_of(session, HALF)
    assert (record.state, record.successor) == ("merged", HALF)
    assert sorted(each.mating.basis for each, _ in mates) == ["maker", "trial_fit"]
    assert {half.key for _, half in mates} == {MEMBER}


def test_a_merge_does_not_restore_a_withdrawn_mating(catalogue: Catalogue) -> None:
    twin = half(part_number="SK-7/13-OLD")
    with catalogue.writing() as session:
        fill(session)
        withdraw(session, by(IDA, "does not fit"), "mating", mating().key)
        add(session, [twin, mating(half=twin.key)], by(IDA))
        merge(session, by(PER), twin.key, HALF)
        assert get_record(session, "mating", mating().key).state == "withdrawn"
        assert mates_of(session, HALF) == []


def test_merging_halves_that_mate_makes_no_mating_of_a_half_with_itself(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        merge(session, by(PER), HALF, MEMBER)
        assert MEMBER not in [half.key for _, half in mates_of(session, MEMBER)]


@pytest.mark.parametrize("into", [HALF, "no:such", "withdrawn"])
def test_a_half_cannot_be_merged_into_itself_or_a_missing_or_withdrawn_half(catalogue: Catalogue, into: str) -> None:
    with catalogue.writing() as session:
        fill(session)
        withdraw(session, by(IDA), "half", MATE)
    with pytest.raises(CatalogueError), catalogue.writing() as session:
        merge(session, by(PER), HALF, MATE if into == "withdrawn" else into)
    with catalogue.reading() as session:
        assert of_half(session, HALF).state == "listed"


def test_reverting_makes_a_new_revision_and_restores_the_author_of_the_figures(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        revise(session, by(IDA), HALF, longer())
        changed = revert(session, by(PER, "the drawing was right"), "half", HALF, 1)
        record = of_half(session, HALF)
        assert [each.action for each in rows(session, "half", HALF)] == ["add", "revise", "revert"]
    assert changed.revision == 3
    assert (record.half, record.author, record.substance_revision) == (half(), WREN, 1)


def test_reverting_a_series_reverts_its_members(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        before = of_half(session, MEMBER).half
        revise(session, by(IDA), SERIES, wider_laws())
        revert(session, by(PER), "series", SERIES, 1)
        assert of_half(session, MEMBER).half == before
        assert of_half(session, MEMBER).author == WREN
        assert not of_half(session, "dunnock-sons:dn40pa-030").from_law


def test_a_half_reverted_to_an_old_law_no_longer_follows_the_law(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        revise(session, by(IDA), SERIES, wider_laws())
        revert(session, by(PER), "half", MEMBER, 1)
        assert not of_half(session, MEMBER).from_law
        revert(session, by(PER), "half", MEMBER, 2)
        assert of_half(session, MEMBER).from_law


def test_reverting_to_a_withdrawn_or_missing_revision_is_refused(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        withdraw(session, by(IDA), "half", HALF)
        restore(session, by(PER), "half", HALF)
    with pytest.raises(EntryError) as caught, catalogue.writing() as session:
        revert(session, by(IDA), "half", HALF, 2)
    assert caught.value.field == "revision"
    with pytest.raises(NotFoundError), catalogue.writing() as session:
        revert(session, by(IDA), "half", HALF, 9)


def test_any_revision_can_be_read(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        for step in range(1, 5):
            revise(session, by(IDA), HALF, longer(by_mm=step / 10))
    with catalogue.reading() as session:
        for step in range(1, 5):
            assert entry_state(revision_of(session, "half", HALF, step + 1).new).content == longer(by_mm=step / 10)
        assert [each.revision for each in rows(session, "half", HALF)] == [1, 2, 3, 4, 5]
