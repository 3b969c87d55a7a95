"""Impossible geometry is found; unusual geometry is not called impossible."""

from __future__ import annotations

from typing import Any

import pytest

from catalog.model.entries import Half
from catalog.review import Neighbours, is_clean, review, severe
from catalog.review.dimensions import contact_span
from tests.catalog.review.review_examples import codes, member, sized

ALONE = Neighbours()


def _opening(length: float, width: float) -> Half:
    dimensions = {"opening_length": {"value": length}, "opening_width": {"value": width}}
    return member(half_kind="receptacle", dimensions=dimensions)


def test_a_consistent_half_has_no_findings() -> None:
    assert review(member(), ALONE) == ()


CASES: list[tuple[str, Half, Half, tuple[str, str, str]]] = [
    (
        "a body shorter than its row of contacts",
        sized("body_length", 7.0),
        sized("body_length", 7.2),
        ("contacts-outside", "severe", "dimensions.body_length"),
    ),
    (
        "an opening shorter than the row of contacts",
        _opening(7.0, 4.0),
        _opening(7.3, 4.0),
        ("contacts-outside", "severe", "dimensions.opening_length"),
    ),
    (
        "a body far longer than its contacts",
        sized("body_length", 32.5),
        sized("body_length", 32.0),
        ("long-ends", "warning", "dimensions.body_length"),
    ),
    (
        "an opening wider than its body",
        _opening(12.0, 5.0),
        _opening(12.0, 4.4),
        ("opening-outside-body", "severe", "dimensions.opening_width"),
    ),
    (
        "an opening without walls",
        _opening(13.0, 4.0),
        _opening(12.9, 4.0),
        ("opening-outside-body", "warning", "dimensions.opening_length"),
    ),
    (
        "an overall length below the body's",
        sized("overall_length", 12.9),
        sized("overall_length", 13.0),
        ("overall-below-body", "severe", "dimensions.overall_length"),
    ),
    (
        "tails bent outwards that end inside the body",
        sized("tail_span", 4.7),
        sized("tail_span", 4.7, categories={"tail_form": ["under_body"], "orientation": ["vertical"]}),
        ("tails-inside-body", "severe", "dimensions.tail_span"),
    ),
    (
        "lands far inside the tails",
        sized("land_span", 5.5),
        sized("land_span", 5.78),
        ("lands-inside-tails", "severe", "dimensions.land_span"),
    ),
    (
        "lands a little inside the tails",
        sized("land_span", 5.7),
        sized("land_span", 5.8),
        ("lands-inside-tails", "warning", "dimensions.land_span"),
    ),
    (
        "rows as far apart as the body is wide",
        sized("row_spacing", 4.8),
        sized("row_spacing", 4.5),
        ("rows-outside", "severe", "dimensions.row_spacing"),
    ),
    (
        "four rows that do not fit into the body",
        sized("row_spacing", 1.7, rows=4, contact_count=40),
        sized("row_spacing", 1.5, rows=4, contact_count=40),
        ("rows-outside", "severe", "dimensions.row_spacing"),
    ),
    (
        "rows of lands outside the lands",
        sized("land_row_spacing", 6.6),
        sized("land_row_spacing", 6.2),
        ("rows-outside", "severe", "dimensions.land_row_spacing"),
    ),
    (
        "pegs outside everything",
        sized("peg_hole_span", 14.2),
        sized("peg_hole_span", 13.9),
        ("pegs-outside", "severe", "dimensions.peg_hole_span"),
    ),
    (
        "pegs outside the body, perhaps in wings",
        member(dimensions={"peg_hole_span": {"value": 13.5}, "overall_length": None}),
        member(dimensions={"peg_hole_span": {"value": 13.0}, "overall_length": None}),
        ("pegs-outside", "warning", "dimensions.peg_hole_span"),
    ),
    (
        "contacts as wide as the pitch",
        sized("contact_width", 0.8),
        sized("contact_width", 0.5),
        ("contacts-touch", "severe", "dimensions.contact_width"),
    ),
    (
        "a gap no wider than the pitch",
        member(counts={"bank_count": 2}, dimensions={"bank_gap": {"value": 0.8}}),
        member(counts={"bank_count": 2}, dimensions={"bank_gap": {"value": 2.0}}),
        ("banks", "severe", "dimensions.bank_gap"),
    ),
    (
        "more groups than contacts",
        member(counts={"bank_count": 11}),
        member(counts={"bank_count": 2}),
        ("banks", "severe", "counts.bank_count"),
    ),
    (
        "a gap in one group",
        member(counts={"bank_count": 1}, dimensions={"bank_gap": {"value": 2.0}}),
        member(counts={}, dimensions={"bank_gap": {"value": 2.0}}),
        ("banks", "warning", "counts.bank_count"),
    ),
    (
        "a blocked site outside",
        member(positions=10, contact_count=19, blocked=[{"row": 1, "position": 11}]),
        member(positions=10, contact_count=19, blocked=[{"row": 1, "position": 10}]),
        ("blocked-sites", "severe", "blocked"),
    ),
    (
        "more contacts and blocked sites than room",
        member(positions=10, contact_count=20, blocked=[{"row": 1, "position": 1}]),
        member(positions=10, contact_count=19, blocked=[{"row": 1, "position": 1}]),
        ("blocked-sites", "severe", "blocked"),
    ),
    (
        "a size far outside what is made",
        sized("height", 90.0),
        sized("height", 30.0),
        ("implausible-size", "severe", "dimensions.height"),
    ),
    (
        "a size somewhat outside what is usual",
        sized("height", 45.0),
        sized("height", 39.0),
        ("implausible-size", "warning", "dimensions.height"),
    ),
]


@pytest.mark.parametrize(
    ("wrong", "found"), [(wrong, found) for _, wrong, _, found in CASES], ids=[c[0] for c in CASES]
)
def test_impossible_geometry_is_found(wrong: Half, found: tuple[str, str, str]) -> None:
    assert found in codes(review(wrong, ALONE))


@pytest.mark.parametrize(
    ("right", "found"), [(right, found) for _, _, right, found in CASES], ids=[c[0] for c in CASES]
)
def test_possible_geometry_is_not_reported(right: Half, found: tuple[str, str, str]) -> None:
    assert (found[0], found[2]) not in {(code, field) for code, _, field in codes(review(right, ALONE))}


def test_a_missing_row_spacing_of_several_rows_is_not_reported() -> None:
    assert review(sized("row_spacing", None), ALONE) == ()


@pytest.mark.parametrize(
    ("changes", "span"),
    [
        ({}, 7.2),
        ({"counts": {"bank_count": 2}, "dimensions": {"bank_gap": {"value": 2.0}}}, 8.4),
        ({"counts": {"bank_count": 2}}, 7.2),
        ({"dimensions": {"pitch": None}}, None),
    ],
    ids=["one group", "a gap stands for one pitch", "a gap of unknown width counts as a pitch", "no pitch"],
)
def test_the_span_of_the_contacts(changes: dict[str, Any], span: float | None) -> None:
    found = contact_span(member(**changes))
    assert found == (None if span is None else pytest.approx(span))


def test_a_body_too_short_for_the_gap_between_groups_is_found() -> None:
    grouped: dict[str, Any] = {"counts": {"bank_count": 2}, "contact_count": 20}
    gap = {"bank_gap": {"value": 9.0}}
    assert ("contacts-outside", "severe", "dimensions.body_length") in codes(
        review(member(dimensions=gap, **grouped), ALONE)
    )
    assert codes(review(member(dimensions={"bank_gap": {"value": 4.0}}, **grouped), ALONE)) == set()


def test_a_maximum_allows_a_smaller_part() -> None:
    widest = member(dimensions={"row_spacing": {"value": 4.85, "bound": "max", "tolerance": 0.1}})
    assert all(finding.severity != "severe" or finding.code != "contacts-outside" for finding in review(widest, ALONE))
    shortest = member(dimensions={"overall_length": {"value": 12.95, "bound": "max"}})
    assert codes(review(shortest, ALONE)) == set()


def test_a_finding_names_the_field_the_fault_and_the_remedy() -> None:
    (finding,) = review(sized("body_length", 7.0), ALONE)
    assert (finding.value, finding.expected, finding.concerns) == (7.0, 7.2, 1)
    assert finding.message == "10 contacts at 0.8 mm pitch span 7.2 mm, the body length is 7 mm"
    assert finding.remedy.startswith("Check contacts per row")


def test_severe_findings_come_first_and_make_an_entry_unclean() -> None:
    found = review(member(dimensions={"height": {"value": 45.0}, "contact_width": {"value": 0.9}}), ALONE)
    assert [finding.severity for finding in found] == sorted(
        (finding.severity for finding in found), key=["severe", "warning", "notice"].index
    )
    assert severe(found) == found[:1]
    assert not is_clean(found)
    assert is_clean(review(member(dimensions={"height": {"value": 3.0}}), ALONE))
