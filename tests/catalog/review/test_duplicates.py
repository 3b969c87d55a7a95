"""The same part under another name is found by its sizes and part numbers; different parts are not reported."""

from __future__ import annotations

import unicodedata
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.model.entries import Half
from catalog.model.text_fields import comparable
from catalog.review import among, review
from catalog.review.names import one_slip_apart, stem
from tests.catalog.review.review_examples import codes, member, sized

OTHER_NAME: dict[str, Any] = {"part_number": "WW-77415", "series": "Sedgelin"}
CLONE: dict[str, Any] = {"maker": "Pipit Parts", "part_number": "PP-20K", "series": "Kestril"}


def _found(entry: Half, *others: Half) -> set[tuple[str, str, str]]:
    return codes(review(entry, among(entry, others)))


def _others(entry: Half, *others: Half) -> tuple[str, ...]:
    return tuple(key for finding in review(entry, among(entry, others)) for key in finding.others)


def test_the_same_sizes_under_another_name_of_the_same_maker_are_a_warning() -> None:
    assert _found(member(), member(**OTHER_NAME)) == {("same-geometry", "warning", "dimensions")}
    assert _others(member(), member(**OTHER_NAME)) == ("wagtail-works:ww-77415",)


def test_the_same_sizes_by_another_maker_are_a_notice() -> None:
    assert _found(member(), member(**CLONE)) == {("same-geometry", "notice", "dimensions")}


def test_without_heights_the_same_sizes_are_a_notice_only() -> None:
    assert _found(sized("height", None), sized("height", None, **OTHER_NAME)) == {
        ("same-geometry", "notice", "dimensions")
    }


@pytest.mark.parametrize(
    "changes",
    [
        {"dimensions": {"height": {"value": 4.25}}},
        {"dimensions": {"body_width": {"value": 4.9}}},
        {"dimensions": {"body_length": {"value": 13.2}}},
        {"dimensions": {"pitch": {"value": 0.79}}, "contact_count": 22},
        {"half_kind": "receptacle"},
        {"counts": {"bank_count": 2}},
        {"categories": {"mounting": ["through_hole"]}},
        {"dimensions": {"body_width": None}},
    ],
    ids=["height", "width", "length", "contacts", "kind", "groups", "mounting", "no width is known"],
)
def test_halves_that_differ_in_a_stated_value_are_not_duplicates(changes: dict[str, Any]) -> None:
    assert _found(member(), member(**OTHER_NAME, **changes)) == set()


@pytest.mark.parametrize(
    "changes",
    [
        {"half_kind": None},
        {"dimensions": {"height": None, "body_width": {"value": 4.83}}},
        {"dimensions": {"body_width": {"value": 0.189, "unit": "in"}}},
        {"dimensions": {"body_width": {"value": 4.92, "bound": "max"}}},
        {"dimensions": {"land_span": {"value": 6.6}}},
        {"categories": {"housing_colour": ["white"]}},
    ],
    ids=["kind unknown", "rounded", "in inches", "a maximum", "lands recommended otherwise", "another colour"],
)
def test_two_sources_of_one_part_may_differ_a_little(changes: dict[str, Any]) -> None:
    assert "same-geometry" in {code for code, _, _ in _found(member(), member(**OTHER_NAME, **changes))}


@pytest.mark.parametrize("name", ["REEDP20", "reed.p-20", "REED/P20-TR", "REED-P20-AU-TR", "Reed P20 reel"])
def test_one_part_number_in_another_spelling_is_severe(name: str) -> None:
    assert _found(member(), member(part_number=name)) == {("same-name", "severe", "part_number")}


@pytest.mark.parametrize("field", ["order_codes", "aliases"])
def test_order_codes_and_aliases_of_listed_halves_count_as_names(field: str) -> None:
    named: dict[str, Any] = {field: ["REED.P20"]}
    listed = member(part_number="WW-77415", **named)
    assert _found(member(), listed) == {("same-name", "severe", "part_number")}


def test_an_order_code_equal_to_the_part_number_of_a_listed_half_is_found() -> None:
    entry = member(order_codes=["REED-P20-76-LF"])
    assert _found(entry, member(part_number="REED.P20.76.LF")) == {("same-name", "severe", "part_number")}


def test_another_maker_with_the_same_part_number_is_a_warning() -> None:
    listed = member(maker="Pipit Parts", part_number="REED-P20")
    assert _found(member(), listed) == {("same-name", "warning", "part_number")}


def test_one_part_number_with_two_geometries_is_a_warning_to_correct_the_listed_half() -> None:
    listed = member(24, part_number="REED.P20")
    assert _found(member(), listed) == {("same-name", "warning", "part_number")}


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("REED-P24", {"dimensions": {"body_width": {"value": 5.4}}}),
        ("REED-P20-B", {"dimensions": {"height": {"value": 4.25}}}),
        ("REED-P20-TR", {"dimensions": {"height": {"value": 4.25}}}),
        ("REED-R20", {"half_kind": "receptacle"}),
    ],
    ids=["another size", "another class", "a class that sounds like packing", "the other kind"],
)
def test_part_numbers_of_other_parts_are_not_taken_for_this_one(name: str, changes: dict[str, Any]) -> None:
    assert _found(member(), member(part_number=name, **changes)) == set()


def test_a_word_shared_by_many_halves_is_not_a_part_number() -> None:
    entry = member(part_number="header", dimensions={"body_width": {"value": 5.4}})
    assert _found(entry, member(aliases=["header"])) == set()


def test_a_part_number_one_letter_off_a_part_of_the_same_sizes_is_a_warning() -> None:
    assert _found(member(), member(part_number="RED-P20")) == {("similar-name", "warning", "part_number")}


def test_a_part_number_one_letter_off_a_different_part_is_not_reported() -> None:
    assert _found(member(), member(24, part_number="RED-P20", contact_count=24)) == set()


def test_an_earlier_revision_of_the_entry_is_not_a_duplicate() -> None:
    assert _found(member(), member(note="as it was")) == set()


@pytest.mark.parametrize(
    ("first", "second", "near"),
    [
        ("reedp20", "redp20", True),
        ("reedp20", "reedq20", True),
        ("reedp20", "reepd20", True),
        ("reedp20", "reedp24", False),
        ("reedp20", "reedp200", False),
        ("reedp20", "reedp20", False),
        ("ab1", "ac1", False),
        ("reedp20", "sedgep20", False),
    ],
)
def test_a_typing_error_is_not_mistaken_for_another_size(first: str, second: str, near: bool) -> None:
    assert one_slip_apart(first, second) is near


@pytest.mark.parametrize(
    ("name", "expected"),
    [("SK-20/G/R/T", "sk20"), ("WW-9-TR", "ww9tr"), ("WW-900-TR", "ww900"), ("WW-900-X", "ww900x"), ("TR", "tr")],
)
def test_packaging_words_are_removed_from_the_end_only_if_a_number_remains(name: str, expected: str) -> None:
    assert stem(name) == expected


@given(st.text(max_size=30))
def test_the_fast_comparison_of_names_ignores_case_accents_and_punctuation_too(text: str) -> None:
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    assert comparable(text) == "".join(character for character in decomposed if character.isalnum())
