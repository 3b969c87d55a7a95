"""Matings: heights compared with stack heights, and what two halves must share; trial fits are doubted less."""

from __future__ import annotations

from typing import Any

import pytest

from catalog.model.entries import Half, Mating
from catalog.review import Neighbours, among, review
from tests.catalog.review.review_examples import codes, member

BOTH = {"tail_form": ["gull_out"], "orientation": ["vertical"], "mounting": ["surface_mount"]}


def _receptacle(contacts: int = 20, **changes: Any) -> Half:
    wider = {
        "body_length": {"value": 6.2 + 0.4 * contacts, "tolerance": 0.1},
        "overall_length": {"value": 7.2 + 0.4 * contacts, "tolerance": 0.1},
        "body_width": {"value": 6.0, "tolerance": 0.1},
        "tail_span": {"value": 7.0, "tolerance": 0.1},
        "land_span": {"value": 7.6, "tolerance": 0.1},
        "opening_length": {"value": 5.2 + 0.4 * contacts, "tolerance": 0.1},
        "opening_width": {"value": 5.0, "tolerance": 0.1},
        "height": {"value": 4.0, "tolerance": 0.1},
    }
    described = {
        "half_kind": "receptacle",
        "part_number": f"REED-R{contacts}",
        "dimensions": wider | changes.pop("dimensions", {}),
    }
    return member(contacts, **(described | changes))


def _mated(first: Half, second: Half, **changes: Any) -> set[tuple[str, str, str]]:
    described = {
        "half": first.key,
        "other": second.key,
        "basis": "maker",
        "stack_height": {"value": 5.0, "tolerance": 0.15},
        "mated_width": {"value": 7.1, "tolerance": 0.2},
    }
    mating = Mating.model_validate(described | changes)
    return codes(review(mating, among(mating, (first, second))))


def _high(value: float, **more: Any) -> dict[str, Any]:
    return {"dimensions": {"height": {"value": value, "tolerance": 0.1, **more}}}


def test_halves_that_mate_have_no_findings() -> None:
    assert _mated(member(), _receptacle()) == set()


@pytest.mark.parametrize(("height", "found"), [(5.0, False), (5.04, False), (5.2, True)])
def test_a_half_taller_than_its_stack_is_a_warning(height: float, found: bool) -> None:
    expected = {("half-above-stack", "warning", "stack_height")} if found else set()
    assert _mated(member(), _receptacle(**_high(height))) == expected


def test_a_maximum_height_may_exceed_the_stack_height_by_its_tolerance() -> None:
    assert _mated(member(), _receptacle(**_high(5.1, bound="max"))) == set()


@pytest.mark.parametrize(("height", "found"), [(1.0, False), (0.5, True)])
def test_halves_that_do_not_reach_each_other_cannot_mate(height: float, found: bool) -> None:
    expected = {("no-reach", "severe", "stack_height")} if found else set()
    assert _mated(member(**_high(height)), _receptacle()) == expected


def test_heights_that_are_not_stated_are_not_judged() -> None:
    assert _mated(member(dimensions={"height": None}), _receptacle(dimensions={"height": None})) == set()
    assert _mated(member(), _receptacle(**_high(9.0)), stack_height=None) == set()


@pytest.mark.parametrize(("basis", "severity"), [("maker", "severe"), ("inferred", "severe"), ("trial_fit", "warning")])
def test_two_plugs_do_not_mate(basis: str, severity: str) -> None:
    other = member(part_number="REED-Q20")
    assert ("like-kinds", severity, "other") in _mated(member(), other, basis=basis, stack_height=None)


@pytest.mark.parametrize(("first", "second"), [("hermaphroditic", "hermaphroditic"), (None, "plug"), ("plug", None)])
def test_hermaphroditic_and_unknown_kinds_may_mate(first: str | None, second: str | None) -> None:
    found = _mated(member(half_kind=first), member(half_kind=second, part_number="REED-Q20"))
    assert "like-kinds" not in {code for code, _, _ in found}


def test_a_hermaphroditic_half_does_not_mate_with_a_plug() -> None:
    found = _mated(member(half_kind="hermaphroditic"), member(part_number="REED-Q20"))
    assert ("like-kinds", "severe", "other") in found


def test_different_contact_counts_do_not_mate() -> None:
    assert ("unlike-contacts", "severe", "other") in _mated(member(), _receptacle(24))


def test_with_a_contact_list_contacts_may_stay_open() -> None:
    listed = {"correspondence": "listed", "contact_map": [["1", "1"]], "basis": "trial_fit"}
    assert _mated(member(), _receptacle(20, contact_count=19), **listed) == {("unlike-contacts", "notice", "other")}


def test_a_blocked_site_explains_a_missing_contact() -> None:
    plug = member(contact_count=19, positions=10, blocked=[{"row": 2, "position": 3}])
    assert _mated(plug, _receptacle()) == set()


def test_different_rows_do_not_mate() -> None:
    single = _receptacle(rows=1, contact_count=20, positions=20, dimensions={"row_spacing": None})
    assert ("unlike-rows", "severe", "other") in _mated(member(), single)


@pytest.mark.parametrize(("pitch", "found"), [(0.8, False), (0.83, False), (0.85, True)])
def test_pitches_whose_difference_adds_up_over_the_row_do_not_mate(pitch: float, found: bool) -> None:
    other = _receptacle(dimensions={"pitch": {"value": pitch, "tolerance": 0.02}})
    assert _mated(member(), other) == ({("unlike-pitch", "severe", "other")} if found else set())


@pytest.mark.parametrize(("width", "found"), [(6.9, False), (6.7, True)])
def test_a_pair_is_at_least_as_wide_as_its_wider_half(width: float, found: bool) -> None:
    expected = {("mated-width", "warning", "mated_width")} if found else set()
    assert _mated(member(), _receptacle(), mated_width={"value": width, "tolerance": 0.2}) == expected


@pytest.mark.parametrize(("width", "found"), [(4.9, False), (4.5, True)])
def test_a_plug_must_fit_into_the_opening(width: float, found: bool) -> None:
    other = _receptacle(dimensions={"opening_width": {"value": width, "tolerance": 0.1}})
    assert _mated(member(), other) == ({("plug-above-opening", "warning", "other")} if found else set())


def test_the_width_of_a_side_mating_plug_need_not_fit_into_the_opening() -> None:
    sideways = member(categories=BOTH | {"orientation": ["right_angle"]})
    narrow = _receptacle(dimensions={"opening_width": {"value": 4.0, "tolerance": 0.1}})
    assert _mated(sideways, narrow) == set()


def test_a_hermaphroditic_half_mates_with_itself_and_is_named_once() -> None:
    tall = member(half_kind="hermaphroditic", **_high(5.5))
    mating = Mating.model_validate(
        {"half": tall.key, "other": tall.key, "basis": "maker", "stack_height": {"value": 5.0, "tolerance": 0.1}}
    )
    (found,) = review(mating, among(mating, (tall,)))
    assert (found.code.value, found.others) == ("half-above-stack", (tall.key,))


def test_a_mating_of_unknown_halves_is_not_judged() -> None:
    mating = Mating.model_validate({"half": "a:1", "other": "b:2", "basis": "maker"})
    assert review(mating, Neighbours()) == ()
