"""Missing tolerances are reported with a usual value; tolerances too wide to be useful are questioned."""

from __future__ import annotations

from typing import Any

import pytest

from catalog.model.entries import Half, Mating
from catalog.review import Code, Finding, Neighbours, is_clean, review
from catalog.review.neighbours import among
from tests.catalog.review.review_examples import member

ALONE = Neighbours()


def _of(half: Half, code: Code) -> list[Finding]:
    return [finding for finding in review(half, ALONE) if finding.code is code]


@pytest.mark.parametrize(
    ("name", "value", "default"),
    [
        # Half-widths by feature and size: common practice, no source.
        ("pitch", 0.8, 0.05),
        ("body_length", 9.0, 0.10),
        ("body_length", 13.0, 0.15),
        ("body_length", 32.0, 0.25),
        ("body_width", 4.8, 0.15),
        ("tail_span", 5.8, 0.15),
        ("height", 3.25, 0.10),
    ],
)
def test_a_missing_tolerance_offers_the_default_of_its_feature_and_size(
    name: str, value: float, default: float
) -> None:
    (found,) = _of(member(dimensions={name: {"value": value}}), Code.NO_TOLERANCE)
    assert (found.severity, found.field, found.expected) == ("notice", f"dimensions.{name}.tolerance", default)


def test_narrow_bodies_at_fine_pitch_get_smaller_default_tolerances() -> None:
    fine = member(dimensions={"pitch": {"value": 0.4, "tolerance": 0.02}, "body_width": {"value": 4.8}})
    assert [found.expected for found in _of(fine, Code.NO_TOLERANCE)] == [0.10]


@pytest.mark.parametrize(
    "dimension",
    [
        {"body_width": {"value": 4.8, "tolerance": 0.0}},
        {"body_width": {"value": 4.8, "bound": "max"}},
        {"body_width": {"value": 4.8, "bound": "reference"}},
        {"land_span": {"value": 6.4}},
    ],
    ids=["a tolerance of 0 is stated", "a maximum", "a reference dimension", "recommended lands"],
)
def test_no_tolerance_is_requested_where_none_is_needed(dimension: dict[str, Any]) -> None:
    assert _of(member(dimensions=dimension), Code.NO_TOLERANCE) == []


def test_missing_tolerances_leave_an_entry_clean() -> None:
    assert is_clean(review(member(dimensions={"body_width": {"value": 4.8}}), ALONE))


@pytest.mark.parametrize(
    ("value", "tolerance", "severity"),
    [(4.8, 0.75, None), (4.8, 0.8, "warning"), (4.8, 4.8, "severe"), (0.6, 0.3, None), (4.8, 4.7, "warning")],
)
def test_a_tolerance_too_wide_to_be_useful_is_questioned(value: float, tolerance: float, severity: str | None) -> None:
    half = member(dimensions={"height": None, "body_width": {"value": value, "tolerance": tolerance}})
    found = [each.severity for each in _of(half, Code.WIDE_TOLERANCE)]
    assert found == ([] if severity is None else [severity])


def test_a_tolerance_is_suggested_for_the_stack_height_of_a_pair_too() -> None:
    halves = (member(), member(half_kind="receptacle", part_number="REED-R20"))
    mating = Mating.model_validate(
        {"half": halves[0].key, "other": halves[1].key, "basis": "maker", "stack_height": {"value": 5.0}}
    )
    (found,) = review(mating, among(mating, halves))
    assert (found.field, found.expected) == ("stack_height.tolerance", 0.15)
