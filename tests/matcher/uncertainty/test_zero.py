"""The zero error of an instrument from readings with its jaws closed."""

from __future__ import annotations

import math

import pytest

from matcher.errors import ObservationError, ObservationErrors
from matcher.observations import Observation, Reduced
from matcher.uncertainty.gum import resolution, type_a
from matcher.uncertainty.instruments import BUILT_IN
from matcher.uncertainty.reduce import reduce
from matcher.uncertainty.zero_error import LARGEST_ZERO_MM, with_closed_jaws

JAWS = (0.03, 0.05, 0.04)


def one(*jaws: float, unit: str = "mm", **parts: object) -> Reduced:
    """A single length by a caliper with closed-jaws readings."""
    instruments = with_closed_jaws(BUILT_IN, {"caliper": jaws}, unit=unit)
    given = {"feature": "body_length", "value": 6.5, **parts}
    return reduce([Observation(**given)], instruments)[0]  # type: ignore[arg-type]


def refused(jaws: object, unit: str = "mm") -> tuple[ObservationError, ...]:
    """The errors of closed-jaws readings; fails when they are accepted."""
    with pytest.raises(ObservationErrors) as caught:
        with_closed_jaws(BUILT_IN, jaws, unit=unit)  # type: ignore[arg-type]
    assert all(error.remedy and error.message for error in caught.value.errors)
    return caught.value.errors


def test_readings_are_corrected_by_what_closed_jaws_show() -> None:
    assert one(*JAWS).number == pytest.approx(6.46, rel=1e-12)
    assert one(-0.02).number == pytest.approx(6.52, rel=1e-12)


def test_the_shared_zero_error_has_the_uncertainty_of_the_estimate() -> None:
    shared, usual = one(*JAWS).shared, one(*JAWS, instrument="vernier").shared
    assert shared is not None
    assert usual is not None
    assert shared.sd == pytest.approx(type_a(JAWS).u, rel=1e-12)
    assert shared.sd < usual.sd


@pytest.mark.parametrize("jaws", [(0.02,), (0.02, 0.02), (0.02,) * 50, (0.02, 0.03) * 20])
def test_closed_jaws_that_hardly_scatter_are_known_to_the_step(jaws: tuple[float, ...]) -> None:
    reduced = one(*jaws)
    assert reduced.shared is not None
    assert reduced.shared.sd == pytest.approx(resolution(0.01), rel=1e-12)
    assert reduced.budget[-1].distribution == "rectangular"


def test_the_number_of_closed_jaws_readings_sets_the_degrees_of_freedom() -> None:
    assert one(*JAWS).budget[-1].degrees_of_freedom == 2


def test_one_instrument_is_corrected_on_and_off_the_board_and_others_are_not() -> None:
    instruments = with_closed_jaws(BUILT_IN, {"caliper": JAWS})
    given = [
        Observation(feature="body_length", value=6.5, instrument="caliper_on_board"),
        Observation(feature="body_width", value=6.5, instrument="caliper"),
        Observation(feature="tail_span", value=6.5, instrument="vernier"),
    ]
    on_board, loose, other = reduce(given, instruments)
    assert (on_board.number, loose.number, other.number) == pytest.approx((6.46, 6.46, 6.5), rel=1e-12)
    assert on_board.shared == loose.shared != other.shared


def test_the_gaps_divide_the_correction_too() -> None:
    reduced = one(0.04, feature="pitch", value=4.44, spans=11)
    assert reduced.number == pytest.approx(0.4, rel=1e-12)
    assert reduced.shared is not None
    assert reduced.shared.coefficient == pytest.approx(1 / 11)


def test_bounds_are_corrected() -> None:
    reduced = one(0.04, value=None, min=6.0, max=7.0)
    assert (reduced.at_least, reduced.at_most) == pytest.approx((5.96, 6.96), rel=1e-12)


def test_a_difference_is_not_corrected_since_the_zero_error_cancels() -> None:
    assert one(0.04, less=0.5).number == pytest.approx(6.0, rel=1e-12)
    assert one(0.04, less=0.5).shared is None


def test_closed_jaws_may_be_read_in_inches() -> None:
    assert one(0.001, unit="in").number == pytest.approx(6.5 - 0.0254, rel=1e-12)


def test_without_closed_jaws_readings_nothing_changes() -> None:
    assert with_closed_jaws(BUILT_IN, {}) == BUILT_IN
    assert with_closed_jaws() == BUILT_IN


def test_the_largest_zero_error_is_corrected_and_a_larger_one_is_refused() -> None:
    assert one(LARGEST_ZERO_MM).number == pytest.approx(5.5)
    (error,) = refused({"caliper": (0.01, -1.01)})
    assert error.field == "closed_jaws.caliper[1]"


@pytest.mark.parametrize(
    ("largest", "larger", "unit"), [(0.039, 0.04, "in"), (39.0, 40.0, "mil"), (999.0, 1001.0, "um")]
)
def test_the_largest_zero_error_is_the_same_length_in_every_unit(largest: float, larger: float, unit: str) -> None:
    """1 mm is 0.03937 in."""
    assert with_closed_jaws(BUILT_IN, {"caliper": (largest,)}, unit=unit)["caliper"].zero is not None
    (error,) = refused({"caliper": (larger,)}, unit)
    assert error.field == "closed_jaws.caliper[0]"


@pytest.mark.parametrize("bad", [math.nan, math.inf, "0.01", None, True])
def test_a_closed_jaws_reading_that_is_not_a_number_is_named(bad: object) -> None:
    (error,) = refused({"caliper": (0.01, 0.02, bad)})
    assert error.field == "closed_jaws.caliper[2]"


@pytest.mark.parametrize("readings", [(), (0.01,) * 1001])
def test_no_closed_jaws_readings_and_too_many_are_refused(readings: tuple[float, ...]) -> None:
    assert [error.field for error in refused({"caliper": readings})] == ["closed_jaws.caliper"]


def test_an_unknown_instrument_for_closed_jaws_is_refused_with_a_suggestion() -> None:
    (error,) = refused({"calliper": (0.01,)})
    assert error.field == "closed_jaws.calliper"
    assert "did you mean 'caliper'?" in error.remedy


def test_an_instrument_without_jaws_is_refused() -> None:
    (error,) = refused({"photo": (0.01,)})
    assert "no jaws" in error.message
    assert "micrometer" in error.remedy


def test_one_instrument_under_two_names_is_refused() -> None:
    (error,) = refused({"caliper": (0.01,), "caliper_on_board": (0.02,)})
    assert error.field == "closed_jaws.caliper_on_board"


@pytest.mark.parametrize("unit", ["furlong", "px"])
def test_a_unit_that_closed_jaws_cannot_have_is_refused(unit: str) -> None:
    assert refused({"caliper": (0.01,)}, unit)[0].field == "closed_jaws_unit"


def test_a_reading_not_above_zero_after_correction_is_refused() -> None:
    with pytest.raises(ObservationErrors) as caught:
        one(0.9, value=0.5)
    assert caught.value.errors[0].field == "observations[0].value"
