"""Heights: the gap under a half on its board, and the depth of focus of a microscope."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from GTC import type_b, ureal

from catalog.evidence.values import MeasuredValue
from matcher.decision.likely_slips.mistakes import in_other_unit, mistakes_of
from matcher.decision.next_measurement.tools import tool_for
from matcher.errors import ObservationErrors
from matcher.features import FEATURES
from matcher.observations import BudgetLine, Observation, Reduced
from matcher.uncertainty.instruments import BUILT_IN, overridden
from matcher.uncertainty.reading_budget import length_u
from matcher.uncertainty.reduce import reduce
from matcher.uncertainty.zero_error import with_closed_jaws
from tests.matcher.invented import invented_columns

GAP, LIMIT = 0.05, 0.03
"""Middle and half range of 0.02 to 0.08 mm between a soldered half and its board: common practice, no source."""

ON_BOARD = ("height_over_board", "caliper_on_board")


def one(feature: str = "height", **given: object) -> Reduced:
    return reduce([Observation(feature=feature, **given)])[0]  # type: ignore[arg-type]


@pytest.mark.parametrize("instrument", ON_BOARD)
def test_the_gap_under_a_half_on_its_board_is_subtracted_and_its_uncertainty_counts(instrument: str) -> None:
    # JCGM 100:2008 (GUM) 3.2.4 corrects a known effect; GTC (PyPI) propagates the correction's rectangle (GUM 4.3.7).
    found = one(value=3.0, instrument=instrument)
    read = ureal(3.0, length_u_without_gap(instrument))
    true = read - (GAP + ureal(0.0, type_b.uniform(LIMIT)))
    assert found.number == pytest.approx(true.x, rel=1e-12)
    assert found.total_u == pytest.approx(true.u, rel=1e-12)
    (line,) = [line for line in found.budget if "gap under the half" in line.source]
    assert line.source == "gap under the half on its board (0.05 mm subtracted)"
    assert (line.distribution, line.u) == ("rectangular", pytest.approx(LIMIT / math.sqrt(3), rel=1e-12))


def length_u_without_gap(name: str) -> float:
    whole = length_u(FEATURES["height"], BUILT_IN[name])
    return math.sqrt(whole**2 - LIMIT**2 / 3)


def test_a_loose_half_has_no_gap_and_neither_has_a_size_along_the_board() -> None:
    for found in (one(value=3.0), one("body_width", value=3.0, instrument="caliper_on_board")):
        assert found.number == 3.0
        assert not [line for line in found.budget if "gap under" in line.source]


def test_the_stack_height_of_a_pair_is_that_of_the_boards_as_they_are() -> None:
    assert one("stack_height", value=3.0, instrument="height_over_board").number == 3.0


@pytest.mark.parametrize("own", [{"u": 0.02}, {"plus_minus": 0.02}], ids=str)
def test_an_uncertainty_stated_with_the_reading_does_not_include_the_gap(own: dict[str, float]) -> None:
    found = one(value=3.0, instrument="height_over_board", **own)
    assert found.number == pytest.approx(2.95, rel=1e-12)
    assert any("gap under the half" in line.source for line in found.budget)


def test_bounds_differences_and_repeats_are_corrected_once() -> None:
    assert one(max=3.0, instrument="height_over_board").at_most == pytest.approx(2.95, rel=1e-12)
    assert one(value=4.6, less=1.6, instrument="height_over_board").number == pytest.approx(2.95, rel=1e-12)
    twice = [Observation(feature="height", value=value, instrument="height_over_board") for value in (2.98, 3.02)]
    (joined,) = reduce(twice)
    assert joined.number == pytest.approx(2.95, rel=1e-12)
    assert len([line for line in joined.budget if "gap under" in line.source]) == 1


def test_the_gap_can_be_stated_or_denied() -> None:
    given = [Observation(feature="height", value=3.0, instrument="height_over_board")]
    (own,) = reduce(given, overridden({"height_over_board": {"seating_mm": 0.12, "seating_limit_mm": 0.01}}))
    assert own.number == pytest.approx(2.88, rel=1e-12)
    (none,) = reduce(given, overridden({"height_over_board": {"seating_mm": 0.0, "seating_limit_mm": 0.0}}))
    assert none.number == 3.0
    assert none.u == pytest.approx(length_u_without_gap("height_over_board"), rel=1e-12)


@pytest.mark.parametrize("factor", [1 / 25.4, 25.4])
def test_a_wrong_unit_does_not_scale_what_was_subtracted(factor: float) -> None:
    true = 2.95
    found = one(value=(true + GAP) * factor, instrument="height_over_board")
    assert in_other_unit(found, factor).number == pytest.approx(true, rel=1e-12)


def test_neither_is_a_known_zero_error_scaled() -> None:
    tools = with_closed_jaws(BUILT_IN, {"caliper": [0.02, 0.02]})
    (found,) = reduce([Observation(feature="body_length", value=7.42 / 25.4)], tools)
    assert in_other_unit(found, 1 / 25.4).number == pytest.approx(7.40, rel=1e-12)


def test_a_unit_in_which_the_reading_is_lower_than_the_gap_is_no_explanation() -> None:
    found = one(value=0.9, instrument="height_over_board")
    units = [each for each in mistakes_of(found, [found], invented_columns(1)) if "unit" in each.change]
    assert {each.change["unit"] for each in units} == {"in", "mm"}, "in mil or µm it would be lower than the gap"
    assert all(one.number > 0.0 for each in units for one in each.corrected)


def test_evidence_keeps_the_figure_as_read_beside_the_corrected_height() -> None:
    given = {"feature": "height", "value": 3.0, "instrument": "height_over_board"}
    value = MeasuredValue.model_validate(given)
    assert (value.given, value.value, value.corrected) == (3.0, 2.95, pytest.approx(GAP))
    stored = value.model_dump(mode="json", exclude_defaults=True)
    assert MeasuredValue.model_validate(stored) == value


def test_evidence_stored_before_heights_were_corrected_is_still_read() -> None:
    stored = {"feature": "height", "value": 3.0, "given": 3.0, "u": 0.04, "instrument": "height_over_board"}
    assert MeasuredValue.model_validate(stored).value == 3.0


def focus_lines(found: Reduced) -> list[BudgetLine]:
    return [line for line in found.budget if line.source.startswith("focus on")]


@pytest.mark.parametrize("instrument", ["microscope", "usb_microscope"])
def test_a_height_by_focus_has_the_depth_of_focus_at_both_surfaces_and_no_scale(instrument: str) -> None:
    tool = BUILT_IN[instrument]
    found = one(value=3.0, instrument=instrument)
    # Each setting lies anywhere within the depth of field: a rectangle (GUM 4.3.7), propagated by GTC (PyPI).
    half = tool.focus_depth_mm / 2
    upper, lower = (ureal(0.0, type_b.uniform(half)) for _ in range(2))
    difference = upper - lower + ureal(0.0, tool.feel_mm) + ureal(0.0, type_b.uniform(tool.step_mm / 2))
    assert found.u == found.total_u == pytest.approx(difference.u, rel=1e-12)
    assert [line.distribution for line in focus_lines(found)] == ["rectangular"] * 2
    assert found.shared is None


@pytest.mark.parametrize(
    ("name", "aperture", "magnification", "spot"),
    [
        ("microscope", 0.1, 2.0, 0.007),
        ("usb_microscope", 0.05, 1.0, 0.0035),
    ],
)
def test_the_usual_depth_of_field_follows_from_the_aperture(
    name: str, aperture: float, magnification: float, spot: float
) -> None:
    """λ/NA² + e/(M·NA) for green light, 0.00055 mm, and a spot of two pixels: formula and figures from memory."""
    depth = 0.00055 / aperture**2 + spot / (magnification * aperture)
    assert BUILT_IN[name].focus_depth_mm == pytest.approx(depth, rel=0.12)


@pytest.mark.parametrize(
    "seen", [{"image": "side"}, {"plane": "housing_top"}, {"unit": "px", "px_per_mm": 100.0}], ids=str
)
def test_a_height_in_a_picture_has_the_scale_of_the_picture_and_no_focus(seen: dict[str, Any]) -> None:
    found = one(value=300.0 if "unit" in seen else 3.0, instrument="microscope", **seen)
    assert not focus_lines(found)
    assert found.shared is not None


def test_a_length_along_the_board_has_no_focus() -> None:
    assert not focus_lines(one("body_width", value=3.0, instrument="microscope"))


def test_the_depth_of_focus_can_be_stated() -> None:
    given = [Observation(feature="height", value=3.0, instrument="microscope")]
    (fine,) = reduce(given, overridden({"microscope": {"focus_depth_mm": 0.01}}))
    assert fine.u < one(value=3.0, instrument="microscope").u


def test_advice_expects_of_a_microscope_what_its_heights_then_have() -> None:
    tool = tool_for(FEATURES["height"], ["microscope"], BUILT_IN)
    assert tool is not None
    expected = float(tool.u(np.array(3.0), np.array(1)))
    assert expected == pytest.approx(one(value=3.0, instrument="microscope").total_u, rel=1e-12)


def test_a_height_by_focus_has_no_plane_of_a_picture() -> None:
    with pytest.raises(ObservationErrors):
        one(value=3.0, instrument="caliper", plane_rel=0.01)
    assert one(value=3.0, instrument="microscope", plane_rel=0.01).shared is not None
