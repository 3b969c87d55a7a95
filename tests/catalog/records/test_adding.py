"""Adding entries and reading them back, on both engines."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import insert
from sqlalchemy.exc import IntegrityError

from catalog.db.database import Catalogue
from catalog.db.tables import HalfTable, MatingTable
from catalog.exchange import stored_entries
from catalog.history.acts import Act
from catalog.history.addition import AddReport, add
from catalog.history.changes import withdraw
from catalog.model.entries import AnyEntry, Series
from catalog.model.entry_states import EntryState
from catalog.model.errors import DuplicateError, EntryError, NotFoundError
from catalog.model.series_laws import expand
from catalog.model.timestamps import now
from catalog.records.queries import (
    LARGEST_PAGE,
    get_half,
    get_mating,
    get_series,
    halves_page,
    mates_of,
    matings_page,
    series_page,
)
from catalog.records.read import load_halves, load_matings, load_series
from catalog.records.write import columns_of
from tests.catalog.model.entry_examples import half, mating, series


def _add(catalogue: Catalogue, *entries: AnyEntry) -> AddReport:
    with catalogue.writing() as session:
        return add(session, entries)


@pytest.fixture
def filled(catalogue: Catalogue) -> Catalogue:
    _add(catalogue, mating(), half(), series())  # a mating may come before its halves
    return catalogue


def test_a_series_is_added_with_the_halves_and_matings_of_its_laws(catalogue: Catalogue) -> None:
    report = _add(catalogue, series())
    assert report.added == {"series": 1, "half": 9, "mating": 6}
    assert report.unchanged == {"series": 0, "half": 0, "mating": 0}
    assert catalogue.version() == 1


def test_entries_are_read_back_unchanged(filled: Catalogue) -> None:
    made = expand(series())
    with filled.reading() as session:
        halves = {record.key: record.half for record in load_halves(session)}
        matings = {record.id: record.mating for record in load_matings(session)}
        assert get_series(session, series().key).series == series()
    assert halves == {each.key: each for each in (half(), *made.halves)}
    assert matings == {each.key: each for each in (mating(), *made.matings)}


def test_the_series_is_exported_and_not_the_halves_of_its_laws(filled: Catalogue) -> None:
    with filled.reading() as session:
        assert list(stored_entries(session)) == [series(), half(), mating()]


def test_identical_entries_change_nothing_and_keep_the_version(filled: Catalogue) -> None:
    report = _add(filled, series(), half(), mating())
    assert report.unchanged == {"series": 1, "half": 10, "mating": 7}
    assert sum(report.added.values()) == 0
    assert filled.version() == 1


def test_a_mating_with_its_halves_swapped_is_unchanged(filled: Catalogue) -> None:
    turned = mating(half=mating().other, other=mating().half, contact_map=[["10", "1"], ["9", "2"]])
    assert _add(filled, turned).unchanged["mating"] == 1


def test_different_content_under_a_key_is_refused_with_the_differences(filled: Catalogue) -> None:
    with pytest.raises(DuplicateError, match="rows") as caught:
        _add(filled, half(rows=3, row_contacts=[]))
    assert caught.value.field == "entries[0].rows"
    assert caught.value.value == 3
    with filled.reading() as session:
        assert get_half(session, half().key).half == half()


def test_a_part_number_that_differs_in_punctuation_only_is_refused(filled: Catalogue) -> None:
    with pytest.raises(DuplicateError, match="part_number"):
        _add(filled, half(part_number="SK 7-13"))


def test_different_content_of_a_series_is_refused(filled: Catalogue) -> None:
    with pytest.raises(DuplicateError, match="stack_tolerance"):
        _add(filled, series(stack_tolerance=0.2))


def test_different_content_of_a_mating_is_refused(filled: Catalogue) -> None:
    with pytest.raises(DuplicateError, match="note"):
        _add(filled, mating(note="another"))


def test_repeated_keys_in_a_batch_must_agree(catalogue: Catalogue) -> None:
    assert _add(catalogue, half(), half()).added["half"] == 1
    with pytest.raises(DuplicateError, match="same batch") as caught:
        _add(catalogue, half(part_number="N1"), half(part_number="N1", note="x"))
    assert caught.value.entry == 1


def test_a_refused_batch_leaves_no_trace(catalogue: Catalogue) -> None:
    with pytest.raises(EntryError):
        _add(catalogue, half(), series(), mating(other="nobody:nothing"))
    assert catalogue.version() == 0
    with catalogue.reading() as session:
        assert load_halves(session) == []
        assert load_series(session) == []


def test_a_mating_of_an_unknown_half_is_refused(catalogue: Catalogue) -> None:
    with pytest.raises(EntryError, match="no half") as caught:
        _add(catalogue, half(), mating())
    assert caught.value.field == "entries[1].other"
    assert caught.value.entry == 1


def test_the_error_of_a_failing_law_names_the_entry(catalogue: Catalogue) -> None:
    with pytest.raises(EntryError, match="dunnock-sons:dn40") as caught:
        _add(catalogue, half(), series(stack=[{"plug": "Z", "receptacle": "-"}]))
    assert caught.value.field == "entries[1].stack[0].plug"


def test_a_second_spelling_of_a_maker_or_series_is_refused(filled: Catalogue) -> None:
    with pytest.raises(DuplicateError, match="spelt 'Siskin Works'"):
        _add(filled, half(maker="SISKIN WORKS", part_number="N1"))
    with pytest.raises(DuplicateError, match="spelt 'SK'"):
        _add(filled, half(series="sk", part_number="N1"))


def test_halves_may_name_a_series_before_it_is_described(catalogue: Catalogue) -> None:
    _add(catalogue, half(maker="Dunnock & Sons", series="DN40", part_number="DN40-X"))
    with catalogue.reading() as session:
        record = get_series(session, series().key)
        assert (record.stated, record.half_count, record.revision) == (False, 1, 1)
        assert record.series == Series(maker="Dunnock & Sons", name="DN40")
    assert _add(catalogue, series()).added["series"] == 1
    with catalogue.reading() as session:
        record = get_series(session, series().key)
        assert (record.stated, record.half_count, record.revision) == (True, 10, 2)
        assert record.series == series()


def test_a_half_listed_before_its_law_stays_listed(catalogue: Catalogue) -> None:
    listed = expand(series()).halves[0]
    _add(catalogue, listed)
    assert _add(catalogue, series()).unchanged["half"] == 1
    with catalogue.reading() as session:
        assert list(stored_entries(session)) == [series(), listed]


def test_every_added_entry_has_the_standing_reported(filled: Catalogue) -> None:
    with filled.reading() as session:
        records = [*load_halves(session), *load_series(session), *load_matings(session)]
    assert {record.standing for record in records} == {"reported"}


def test_eight_threads_that_add_lose_nothing(catalogue: Catalogue) -> None:
    def contribute(thread: int) -> None:
        for number in range(5):
            _add(catalogue, half(part_number=f"T{thread}-{number}"))

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(contribute, range(8)))
    with catalogue.reading() as session:
        assert len(load_halves(session)) == 40
    assert catalogue.version() == 40


def test_threads_that_add_the_same_half_add_it_once(catalogue: Catalogue) -> None:
    with ThreadPoolExecutor(8) as pool:
        reports = list(pool.map(lambda _: _add(catalogue, half()), range(8)))
    assert sum(report.added["half"] for report in reports) == 1
    assert catalogue.version() == 1


def test_more_halves_can_be_added_than_one_sql_statement_holds(catalogue: Catalogue) -> None:
    entries = [half(part_number=f"N{number}") for number in range(1203)]
    _add(catalogue, *entries)
    assert _add(catalogue, *entries).unchanged["half"] == 1203


def _row(**other: object) -> dict[str, object]:
    standing = {"revision": 1, "substance_revision": 1, "author": "Wren", "changed_at": now()}
    return columns_of(EntryState(content=half(part_number="N1"))) | standing | other


@pytest.mark.parametrize("name", ["pitch", "body_length", "body_width"])
def test_the_database_itself_refuses_an_invalid_length(filled: Catalogue, name: str) -> None:
    with pytest.raises(IntegrityError), filled.writing() as session:
        session.execute(insert(HalfTable), [_row(**{name: 0.0})])


def test_the_database_itself_refuses_a_half_without_its_series(filled: Catalogue) -> None:
    with pytest.raises(IntegrityError), filled.writing() as session:
        session.execute(insert(HalfTable), [_row(series="nobody:nothing")])


def test_the_database_itself_refuses_a_mating_without_its_halves(filled: Catalogue) -> None:
    standing = {"revision": 1, "substance_revision": 1, "author": "Wren", "changed_at": now()}
    row = columns_of(EntryState(content=mating(other="nobody:nothing"))) | standing
    with pytest.raises(IntegrityError), filled.writing() as session:
        session.execute(insert(MatingTable), [row])


# --- reading -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("get", [get_half, get_series, get_mating])
def test_an_unknown_key_is_an_error(filled: Catalogue, get: object) -> None:
    with filled.reading() as session, pytest.raises(NotFoundError) as caught:
        get(session, "nobody:nothing")  # type: ignore[operator]
    assert caught.value.value == "nobody:nothing"
    assert caught.value.remedy


def test_a_mating_is_found_by_its_key(filled: Catalogue) -> None:
    with filled.reading() as session:
        assert get_mating(session, mating().key).mating == mating()


def test_pages_have_no_gaps_and_no_repeats(filled: Catalogue) -> None:
    keys: list[str] = []
    after: str | None = None
    with filled.reading() as session:
        while True:
            page = halves_page(session, after=after, limit=3)
            keys += [record.key for record in page.items]
            if page.next is None:
                break
            after = page.next
        assert keys == [record.key for record in load_halves(session)]
    assert keys == sorted(keys)
    assert len(keys) == 10


def test_a_full_last_page_has_no_next_page(filled: Catalogue) -> None:
    with filled.reading() as session:
        assert halves_page(session, limit=10).next is None


@pytest.mark.parametrize("limit", [0, -1, LARGEST_PAGE + 1])
def test_an_invalid_page_size_is_refused(filled: Catalogue, limit: int) -> None:
    with filled.reading() as session, pytest.raises(ValueError, match="limit"):
        halves_page(session, limit=limit)


def test_halves_can_be_filtered(filled: Catalogue) -> None:
    with filled.reading() as session:

        def count(**wanted: object) -> int:
            return len(halves_page(session, **wanted).items)  # type: ignore[arg-type]

        assert count(maker="DUNNOCK & sons") == 9
        assert count(series="siskin-works:sk") == 1
        assert count(half_kind="receptacle") == 4
        assert count(contact_count=20) == 3
        assert count(text="pa-0") == 3  # part numbers, in any case
        assert count(text="-tr") == 9  # order codes
        assert count(text="%") == 0  # no wildcards
        assert count(text="_") == 0
        assert count(maker="nobody") == 0


def test_series_can_be_filtered(filled: Catalogue) -> None:
    with filled.reading() as session:
        assert [record.key for record in series_page(session, maker="siskin works").items] == ["siskin-works:sk"]
        assert [record.key for record in series_page(session, text="n4").items] == ["dunnock-sons:dn40"]
        assert series_page(session, limit=1).next == "dunnock-sons:dn40"


def test_matings_are_found_from_either_half(filled: Catalogue) -> None:
    with filled.reading() as session:
        assert len(matings_page(session, half="dunnock-sons:dn40pa-010").items) == 2
        assert len(matings_page(session, half="siskin-works:sk-7-13", basis="trial_fit").items) == 1
        assert matings_page(session, basis="inferred").items == ()


def test_mates_are_the_other_halves_of_the_matings(filled: Catalogue) -> None:
    with filled.reading() as session:
        found = mates_of(session, "dunnock-sons:dn40pa-010")
        assert [record.key for _, record in found] == ["dunnock-sons:dn40r-010", "siskin-works:sk-7-13"]
        assert [record.key for _, record in mates_of(session, "siskin-works:sk-7-13")] == ["dunnock-sons:dn40pa-010"]
        with pytest.raises(NotFoundError):
            mates_of(session, "nobody:nothing")


def test_a_withdrawn_half_and_the_half_of_a_withdrawn_mating_are_not_mates(filled: Catalogue) -> None:
    member, first, second = "dunnock-sons:dn40pa-010", "dunnock-sons:dn40r-010", "siskin-works:sk-7-13"
    with filled.writing() as session:
        withdraw(session, Act(actor=""), "half", second)
        assert [record.key for _, record in mates_of(session, member)] == [first]
        assert mates_of(session, second) == []
        ((own, _),) = mates_of(session, member)
        withdraw(session, Act(actor=""), "mating", own.id)
        assert mates_of(session, member) == []


def test_a_half_that_mates_with_itself_is_its_own_mate(catalogue: Catalogue) -> None:
    like = half(half_kind="hermaphroditic")
    _add(catalogue, like, mating(half=like.key, other=like.key))
    with catalogue.reading() as session:
        assert [record.key for _, record in mates_of(session, like.key)] == [like.key]
