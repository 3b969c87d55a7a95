"""Where parts of an entry lie: within its tolerance or the usual one, and some lands of found boards farther off."""

from __future__ import annotations

import numpy as np
import pytest

from matcher.columns.build import build_columns
from matcher.columns.columns import Dim, HalfRow
from matcher.columns.process_tolerance import broad_half_width, process_interval
from matcher.features import DIMENSIONS, FEATURES

SPANS = (4.95, 5.45), (4.55, 5.85)
"""Ends on most boards, and on one in five, of what is 5 mm as recommended: common practice, no source, as all here."""

LANDS = {
    "land_span": SPANS,
    "hold_down_land_span": SPANS,
    "land_width": ((4.90, 5.10), (4.85, 5.15)),
    "land_length": ((4.875, 5.325), (4.5, 5.7)),
    "peg_hole_diameter": ((4.95, 5.15), (4.8, 5.3)),
}


@pytest.mark.parametrize("feature", LANDS)
def test_a_boards_sizes_without_a_tolerance_lie_around_the_usual_one_and_some_of_them_farther_off(feature: str) -> None:
    centre, half_width = process_interval(feature, Dim(value=5.0), 0.5)
    broad = broad_half_width(feature, Dim(value=5.0))
    ends = (centre - half_width, centre + half_width), (centre - broad, centre + broad)
    assert ends == tuple(pytest.approx(each) for each in LANDS[feature])
    assert FEATURES[feature].process.broad_share == 0.2
    assert FEATURES[feature].process.recommended


def test_narrow_lands_are_kept_to_more_closely() -> None:
    """Beside their neighbours at a fine pitch there is no room: ± 0.05 mm."""
    assert process_interval("land_width", Dim(value=0.23), 0.4) == pytest.approx((0.23, 0.05))


@pytest.mark.parametrize("feature", LANDS)
def test_lands_with_a_tolerance_keep_to_it(feature: str) -> None:
    assert process_interval(feature, Dim(value=5.0, tolerance=0.1), 0.5) == (5.0, 0.1)
    assert broad_half_width(feature, Dim(value=5.0, tolerance=0.1)) == 0.0


def test_a_reference_dimension_of_lands_is_held_less_closely_by_all() -> None:
    assert process_interval("land_span", Dim(value=5.0, bound="reference"), 0.5)[1] == pytest.approx(1.5 * 0.25)
    assert broad_half_width("land_span", Dim(value=5.0, bound="reference")) == pytest.approx(1.5 * 0.65)


def test_no_other_size_has_parts_that_lie_farther_off() -> None:
    assert {name for name in DIMENSIONS if broad_half_width(name, Dim(value=5.0)) > 0.0} == set(LANDS)


def test_lands_that_are_predicted_have_the_uncertainty_of_the_prediction_alone() -> None:
    rows = [
        HalfRow(
            key=f"half {contacts}",
            series="series",
            dimensions={"pitch": Dim(value=0.5)} | ({"land_span": Dim(value=5.0)} if contacts < 50 else {}),
            counts={"contact_count": contacts, "rows": 2},
            categories={},
        )
        for contacts in (20, 30, 40, 50)
    ]
    column = build_columns(rows, []).dimensions["land_span"]
    assert column.broad.tolist() == pytest.approx([0.65, 0.65, 0.65, 0.0])
    assert np.isnan(column.stated[3])
    assert column.half_width[3] == 0.0
