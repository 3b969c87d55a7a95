"""Slips of unit and decimal point are recognised from a half's own proportions if there is no series."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.model.entries import Half
from catalog.review import Code, Finding, Neighbours, review
from catalog.review.slips import swapped_figures
from tests.catalog.review.review_examples import member, sized

ALONE = Neighbours()


def _slips(half: Half, around: Neighbours = ALONE) -> dict[str, Finding]:
    return {f.field: f for f in review(half, around) if f.code is Code.UNITS_SLIP}


@pytest.mark.parametrize(
    ("name", "right"),
    [("body_length", 13.0), ("body_width", 4.8), ("land_span", 6.4), ("tail_span", 5.8), ("peg_hole_span", 11.0)],
)
def test_inches_entered_as_millimetres_are_severe_with_the_probable_value(name: str, right: float) -> None:
    found = _slips(sized(name, round(right / 25.4, 3)))[f"dimensions.{name}"]
    assert found.severity == "severe"
    assert found.expected == pytest.approx(right, abs=0.02)
    assert "inches entered as millimetres" in found.message


@pytest.mark.parametrize("name", ["body_length", "body_width", "overall_length", "land_span"])
def test_millimetres_taken_for_inches_are_severe_with_the_probable_value(name: str) -> None:
    right = member().dimensions[name].value
    found = _slips(sized(name, round(right * 25.4, 3)))[f"dimensions.{name}"]
    assert found.expected == pytest.approx(right, abs=0.01)


def test_mils_entered_as_millimetres_are_found() -> None:
    found = _slips(sized("body_width", 189.0))["dimensions.body_width"]
    assert found.expected == pytest.approx(4.8, abs=0.01)


def test_a_decimal_point_one_place_off_is_found() -> None:
    found = _slips(sized("contact_width", 3.0))["dimensions.contact_width"]
    assert found.expected == pytest.approx(0.3)


@pytest.mark.parametrize(("pitch", "right"), [(0.0315, 0.8), (31.5, 0.8), (800.0, 0.8), (0.1, 2.54)])
def test_a_pitch_that_is_common_only_in_another_unit_is_found(pitch: float, right: float) -> None:
    bare = Half.model_validate(
        {
            "maker": "Wagtail Works",
            "series": "Reedling",
            "part_number": "REED-P20",
            "rows": 2,
            "contact_count": 20,
            "dimensions": {"pitch": {"value": pitch}},
        }
    )
    assert _slips(bare)["dimensions.pitch"].expected == pytest.approx(right, rel=0.02)


@pytest.mark.parametrize("pitch", [0.3, 0.8, 5.08, 10.16, 15.24])
def test_a_common_pitch_is_not_a_slip(pitch: float) -> None:
    bare = Half.model_validate(
        {
            "maker": "Wagtail Works",
            "series": "Reedling",
            "part_number": "REED-P20",
            "rows": 2,
            "contact_count": 20,
            "dimensions": {"pitch": {"value": pitch}},
        }
    )
    assert _slips(bare) == {}


def test_a_whole_entry_in_inches_is_found() -> None:
    half = member()
    inches = {name: {"value": round(each.value / 25.4, 4)} for name, each in half.dimensions.items()}
    assert "dimensions.pitch" in _slips(member(dimensions=inches))


def test_one_slip_gives_one_finding() -> None:
    assert set(_slips(sized("body_width", 4.8 / 25.4))) == {"dimensions.body_width"}


def test_inches_entered_as_inches_are_not_a_slip() -> None:
    inches = {"body_length": {"value": 0.512, "unit": "in", "tolerance": 0.004}}
    assert _slips(member(dimensions=inches)) == {}


def test_a_smaller_mistake_is_not_a_unit_slip() -> None:
    assert _slips(sized("contact_width", 0.9)) == {}


def test_digits_are_swapped_across_the_decimal_point_too() -> None:
    assert set(swapped_figures(12.3)) == {21.3, 13.2}


def test_swapping_equal_digits_gives_no_new_value() -> None:
    assert list(swapped_figures(11.0)) == []


@given(st.integers(min_value=1, max_value=9_999_999))
def test_swapping_twice_gives_the_original_value(thousandths: int) -> None:
    value = thousandths / 1000
    for other in swapped_figures(value):
        assert other != value
        if f"{other:.6f}".rstrip("0")[-1] != "." and len(f"{other:.6f}".rstrip("0")) == len(f"{value:.6f}".rstrip("0")):
            assert any(back == pytest.approx(value) for back in swapped_figures(other))
