"""The entries that the review compares with are read from the catalogue: all of them and few others."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import event, update
from sqlalchemy.orm import Session

from catalog.db.database import Catalogue, open_catalogue
from catalog.db.tables import HalfTable, SeriesTable
from catalog.history.addition import add
from catalog.model.entries import AnyEntry, Half, Mating, Series
from catalog.review import Neighbours, read_neighbours, review
from tests import catalogues
from tests.catalog.review.review_examples import SIZES, codes, family, member, sized

LISTED = (
    *family(),
    member(maker="Pipit Parts", part_number="PP-20K", series="Kestril"),
    member(part_number="WW-77415", series="Sedgelin", order_codes=["WW-77415-TR"]),
    member(part_number="WW-90-R", series="Sedgelin", half_kind="receptacle", dimensions={"height": {"value": 9.0}}),
)

STATED = Series.model_validate(
    {
        "maker": "Wagtail Works",
        "name": "Lapwingle",
        "kinds": [
            {
                "half_kind": "plug",
                "part_number": "LAP-P{contacts:2}",
                "rows": 2,
                "contact_counts": [10, 20],
                "dimensions": {"pitch": {"intercept": 0.5}, "body_length": {"intercept": 4.0, "slope": 0.5}},
            }
        ],
    }
)


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Catalogue]:
    url = catalogues.placed(tmp_path_factory.mktemp("review") / "catalogue.sqlite3", catalogues.empty())
    with open_catalogue(url) as opened:
        with opened.writing() as session:
            add(session, [*LISTED, STATED])
        yield opened


def _around(catalogue: Catalogue, entry: AnyEntry) -> Neighbours:
    with catalogue.reading() as session:
        return read_neighbours(session, entry)


def _keys(halves: tuple[Half, ...]) -> set[str]:
    return {half.key for half in halves}


def test_siblings_have_the_same_rows_and_kind_and_exclude_the_entry_itself(catalogue: Catalogue) -> None:
    assert _keys(_around(catalogue, member()).siblings) == {m.key for m in family(20)}
    single = member(rows=1, contact_count=10, positions=10, part_number="REED-1")
    assert _around(catalogue, single).siblings == ()


def test_a_new_member_off_the_law_is_found_through_the_database(catalogue: Catalogue) -> None:
    wrong = member(14, dimensions={"body_length": {"value": 11.6, "tolerance": 0.1}})
    assert ("off-law", "severe", "dimensions.body_length") in codes(review(wrong, _around(catalogue, wrong)))


def test_halves_of_similar_size_are_found_for_every_maker(catalogue: Catalogue) -> None:
    alike = _keys(_around(catalogue, member(part_number="NEW-1")).alike)
    assert alike >= {"pipit-parts:pp-20k", "wagtail-works:ww-77415", "wagtail-works:reed-p20"}
    assert "wagtail-works:reed-p24" not in alike


@pytest.mark.parametrize("name", ["ww.77415", "WW77415-TR", "WW-77415-REEL"])
def test_names_are_found_regardless_of_punctuation_and_packaging(catalogue: Catalogue, name: str) -> None:
    entry = member(30, part_number=name, series="Sedgelin")
    assert "wagtail-works:ww-77415" in _keys(_around(catalogue, entry).namesakes)


def test_a_name_with_one_typing_error_is_found(catalogue: Catalogue) -> None:
    entry = member(part_number="WV-77415", series="Sedgelin")
    assert ("similar-name", "warning", "part_number") in codes(review(entry, _around(catalogue, entry)))


def test_a_unique_name_finds_no_similar_names(catalogue: Catalogue) -> None:
    assert _around(catalogue, member(part_number="QUITE-ANOTHER-5")).namesakes == ()


def test_a_stated_law_is_used_instead_of_siblings(catalogue: Catalogue) -> None:
    entry = member(20, series="Lapwingle", part_number="TWELVE-9", contact_count=12, positions=6)
    around = _around(catalogue, entry)
    assert around.series is not None
    assert around.siblings == ()


def test_a_series_that_only_halves_name_has_no_stated_law(catalogue: Catalogue) -> None:
    assert _around(catalogue, member()).series is None


def test_a_stated_law_for_another_kind_is_not_used(catalogue: Catalogue) -> None:
    other = member(series="Lapwingle", part_number="LAP-R20", half_kind="receptacle")
    assert _around(catalogue, other).series is None


def test_a_mating_is_reviewed_with_both_its_halves(catalogue: Catalogue) -> None:
    mating = Mating.model_validate(
        {"half": "wagtail-works:reed-p20", "other": "wagtail-works:ww-90-r", "basis": "maker"}
    )
    assert set(_around(catalogue, mating).mates) == {"wagtail-works:reed-p20", "wagtail-works:ww-90-r"}


def test_a_series_is_reviewed_with_halves_listed_by_themselves_and_similar_halves(catalogue: Catalogue) -> None:
    law = {
        "half_kind": "plug",
        "part_number": "REED-P{contacts:2}-X",
        "rows": 2,
        "contact_counts": list(SIZES),
        "dimensions": {
            "pitch": {"intercept": 0.8},
            "body_length": {"intercept": 5.0, "slope": 0.8},
            "body_width": {"intercept": 4.8},
        },
    }
    entry = Series.model_validate({"maker": "Wagtail Works", "name": "Reedling", "kinds": [law]})
    around = _around(catalogue, entry)
    assert _keys(around.siblings) == {half.key for half in family()}
    assert "pipit-parts:pp-20k" in _keys(around.alike)


def test_the_laws_of_a_withdrawn_series_are_not_used(sqlite_migrated_url: str) -> None:
    entry = member(series="Lapwingle", part_number="TWELVE-9")
    with open_catalogue(sqlite_migrated_url) as opened:
        with opened.writing() as session:
            add(session, [STATED])
            session.execute(update(SeriesTable).values(state="withdrawn"))
        assert _around(opened, entry).series is None


def test_withdrawn_halves_are_left_out(sqlite_migrated_url: str) -> None:
    with open_catalogue(sqlite_migrated_url) as opened:
        with opened.writing() as session:
            add(session, list(LISTED))
            session.execute(update(HalfTable).values(state="withdrawn"))
        around = _around(opened, member(part_number="WW77415"))
    assert (around.siblings, around.alike, around.namesakes) == ((), (), ())


def test_few_halves_are_loaded_with_few_sql_statements(catalogue: Catalogue) -> None:
    seen: list[str] = []
    entry = sized("body_width", 4.8, part_number="NEW-1", series="Unheard")
    with catalogue.reading() as session:
        _listen(session, seen)
        around = read_neighbours(session, entry)
    assert around.siblings == ()
    assert len(_keys(around.alike)) < len(LISTED) - len(SIZES) + 2
    assert len(seen) <= 12


def _listen(session: Session, seen: list[str]) -> None:
    def note(connection: Any, cursor: Any, statement: str, *rest: Any) -> None:
        seen.append(statement)

    event.listen(session.connection(), "before_cursor_execute", note)
