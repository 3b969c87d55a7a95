"""Invalid observations are refused; the error names the field and the remedy."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from matcher.errors import ObservationError, ObservationErrors
from matcher.observations import MAX_OBSERVATIONS, MAX_READINGS, Observation, TrialFit
from matcher.uncertainty.reduce import reduce


def refused(*observations: Observation) -> tuple[ObservationError, ...]:
    """The errors found; fails when the observations are accepted."""
    with pytest.raises(ObservationErrors) as caught:
        reduce(list(observations))
    assert all(error.remedy and error.message for error in caught.value.errors)
    return caught.value.errors


def only(feature: str = "body_length", **parts: object) -> ObservationError:
    """The single error of a single observation."""
    (error,) = refused(Observation(feature=feature, **parts))  # type: ignore[arg-type]
    return error


def test_an_empty_list_is_refused() -> None:
    assert [error.field for error in refused()] == ["observations"]


def test_too_many_observations_are_refused_at_once() -> None:
    many = [Observation(feature="nonsense", value=i) for i in range(10_000)]
    (error,) = refused(*many)
    assert (error.field, error.value) == ("observations", 10_000)


def test_the_maximum_of_observations_is_accepted() -> None:
    most = [Observation(feature="body_length", value=5 + 0.01 * i) for i in range(MAX_OBSERVATIONS)]
    assert sorted(i for r in reduce(most) for i in (r.index, *r.also)) == list(range(MAX_OBSERVATIONS))
    assert len(refused(*most, Observation(feature="rows", value=2))) == 1


def test_more_readings_than_allowed_are_refused_and_the_maximum_is_accepted() -> None:
    assert only(readings=(6.5,) * (MAX_READINGS + 1)).field == "observations[0].readings"
    assert reduce([Observation(feature="body_length", readings=(6.5,) * MAX_READINGS)])[0].value == pytest.approx(6.5)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("pin count", "contact_count"), ("body_lenght", "body_length"), ("Mated height", "stack_height")],
)
def test_an_unknown_feature_is_refused_with_a_suggestion(typed: str, meant: str) -> None:
    error = only(typed, value=3)
    assert error.field == "observations[0].feature"
    assert f"did you mean {meant!r}?" in error.remedy


@pytest.mark.parametrize("name", ["", "zzzzzzzz", "x" * 100_000])
def test_an_unknown_feature_that_resembles_no_other_gets_the_list(name: str) -> None:
    error = only(name, value=3)
    assert error.remedy.startswith("known: contact_count")
    assert len(error.message) < 300


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, "6.5", True, (6.5,), 10**400])
def test_a_length_that_is_not_a_finite_number_is_refused(value: object) -> None:
    assert only(value=value).field == "observations[0].value"


def test_a_reading_that_is_not_a_finite_number_is_named() -> None:
    assert only(readings=(6.5, math.nan, 6.4)).field == "observations[0].readings[1]"


@pytest.mark.parametrize("value", [0.0, -0.0, -6.5])
@pytest.mark.parametrize("part", ["value", "min", "max"])
def test_a_length_or_bound_not_above_zero_is_refused(value: float, part: str) -> None:
    assert only(**{part: value}).field == f"observations[0].{part}"


@pytest.mark.parametrize("value", [1e-4, 1e6, 1e300, 5e-324])
def test_a_length_far_outside_its_range_is_refused(value: float) -> None:
    error = only(value=value)
    assert error.field == "observations[0].value"
    assert "unit" in error.remedy


@pytest.mark.parametrize("value", [6.5 * 1000, 6.5 / 1000, 6.5 / 25.4, 6.5 / 0.0254])
def test_a_length_that_may_be_in_the_wrong_unit_is_left_to_the_likelihood(value: float) -> None:
    assert reduce([Observation(feature="body_length", value=value)])[0].value == value


@pytest.mark.parametrize("name", [None, 3, ("pitch",), ["pitch"]])
def test_a_feature_that_is_not_a_name_is_refused(name: object) -> None:
    assert only(name, value=3).field == "observations[0].feature"  # type: ignore[arg-type]


def test_value_and_readings_together_are_refused() -> None:
    assert only(value=6.5, readings=(6.5, 6.4)).field == "observations[0].readings"


def test_value_and_bound_together_are_refused() -> None:
    assert only(value=6.5, max=7.0).field == "observations[0].value"


def test_an_empty_observation_is_refused() -> None:
    assert only().field == "observations[0].value"
    assert only("latch_style").field == "observations[0].value"


@pytest.mark.parametrize("feature", ["body_length", "contact_count"])
def test_a_lower_bound_above_the_upper_bound_is_refused(feature: str) -> None:
    assert only(feature, min=30, max=20).field == "observations[0].min"


@pytest.mark.parametrize("part", ["u", "plus_minus"])
@pytest.mark.parametrize("value", [0.0, -0.1, math.nan, math.inf, "small", 1e-9, 6.5, 100.0])
def test_an_invalid_uncertainty_is_refused(part: str, value: object) -> None:
    assert only(value=6.5, **{part: value}).field == f"observations[0].{part}"


def test_an_uncertainty_stated_twice_is_refused() -> None:
    assert only(value=6.5, u=0.02, plus_minus=0.03).field == "observations[0].plus_minus"


@pytest.mark.parametrize("spans", [0, -1, 1.5, True, 10_000, None])
def test_gaps_that_are_not_a_whole_number_are_refused(spans: object) -> None:
    assert only("pitch", value=4.4, spans=spans).field == "observations[0].spans"


def test_gaps_of_a_feature_that_does_not_repeat_are_refused() -> None:
    assert only(value=6.5, spans=3).field == "observations[0].spans"


@pytest.mark.parametrize("unit", ["furlong", "", None])
def test_an_unknown_unit_is_refused(unit: object) -> None:
    error = only(value=6.5, unit=unit)
    assert error.field == "observations[0].unit"
    assert "mm, in, mil, um, px" in error.remedy


def test_an_unknown_instrument_is_refused_with_a_suggestion() -> None:
    error = only(value=6.5, instrument="Calliper")
    assert error.field == "observations[0].instrument"
    assert "did you mean 'caliper'?" in error.remedy


def test_pixels_by_caliper_are_refused() -> None:
    assert only(value=450, unit="px", instrument="caliper").field == "observations[0].unit"


def test_pixels_of_a_scaled_photo_without_its_scale_are_refused() -> None:
    error = only(value=450, unit="px", instrument="photo")
    assert error.field == "observations[0].unit"
    assert "px_per_mm" in error.remedy


@pytest.mark.parametrize("scale", [0.0, -5.0, math.nan, math.inf, "fine"])
def test_a_picture_scale_that_is_not_a_positive_number_is_refused(scale: object) -> None:
    assert only(value=450, unit="px", px_per_mm=scale).field == "observations[0].px_per_mm"


@pytest.mark.parametrize("parts", [{"unit": "mm"}, {"unit": "px", "instrument": "unscaled_photo"}])
def test_a_scale_that_is_not_needed_is_refused(parts: dict[str, str]) -> None:
    assert only(value=45, px_per_mm=100.0, **parts).field == "observations[0].px_per_mm"


def test_a_bound_in_a_picture_without_scale_is_refused() -> None:
    assert only(max=450, unit="px").field == "observations[0].max"


def test_a_picture_without_scale_read_in_two_units_is_refused() -> None:
    (error,) = refused(
        Observation(feature="body_length", value=450, unit="px"),
        Observation(feature="body_width", value=2.5, instrument="unscaled_photo"),
    )
    assert error.field == "observations[1].unit"


@pytest.mark.parametrize("stated", ["unscaled_photo_from_above", "unscaled_photo_rectified"])
def test_a_picture_taken_in_two_ways_is_refused(stated: str) -> None:
    readings = [
        Observation(feature="body_length", value=450, unit="px", image="front"),
        Observation(feature="body_width", value=170, unit="px", image="front", instrument=stated),
    ]
    (error,) = refused(*readings)
    assert error.field == "observations[1].instrument"
    assert "by hand" in error.message
    assert stated in error.remedy
    assert reduce([readings[0], replace(readings[1], image="side")])


@pytest.mark.parametrize("value", [0.0, 1e-4, 1e7])
def test_more_pixels_than_any_picture_has_are_refused(value: float) -> None:
    assert only(value=value, unit="px").field == "observations[0].value"


@pytest.mark.parametrize("plane", ["table", "land", 3])
def test_an_unknown_plane_is_refused(plane: object) -> None:
    assert only(value=6.5, instrument="photo", plane=plane).field == "observations[0].plane"


@pytest.mark.parametrize("image", ["", "  ", "x" * 300, 5])
def test_a_picture_without_a_valid_name_is_refused(image: object) -> None:
    assert only(value=6.5, image=image).field == "observations[0].image"


@pytest.mark.parametrize("value", [2.5, math.nan, "24", True, 0, -2, 2001])
def test_a_count_that_is_not_a_plausible_whole_number_is_refused(value: object) -> None:
    assert only("contact_count", value=value).field == "observations[0].value"
    assert only("contact_count", min=value).field == "observations[0].min"


def test_zero_is_a_count_of_a_fitting() -> None:
    assert reduce([Observation(feature="hold_down_count", value=0)])[0].count == 0


@pytest.mark.parametrize(
    ("part", "value"), [("u", 1.0), ("plus_minus", 1.0), ("unit", "in"), ("spans", 2), ("px_per_mm", 9.0)]
)
@pytest.mark.parametrize(
    ("feature", "seen"),
    [
        ("contact_count", 24),
        ("mounting", "surface_mount"),
        ("marking", "K7"),
        ("trial_fit", TrialFit(half="a", mates=True)),
    ],
)
def test_what_belongs_to_a_length_is_refused_elsewhere(feature: str, seen: object, part: str, value: object) -> None:
    assert only(feature, value=seen, **{part: value}).field == f"observations[0].{part}"


def test_readings_of_a_count_are_refused() -> None:
    assert only("contact_count", readings=(24, 24)).field == "observations[0].readings"


@pytest.mark.parametrize("feature", ["mounting", "marking", "trial_fit"])
def test_bounds_on_a_feature_without_order_are_refused(feature: str) -> None:
    assert only(feature, min=3).field == "observations[0].min"


def test_an_unknown_value_of_a_category_is_refused_with_a_suggestion() -> None:
    error = only("mounting", value="surface mounted")
    assert error.field == "observations[0].value"
    assert "did you mean 'surface_mount'?" in error.remedy


@pytest.mark.parametrize("value", [3, (), "", ("plug", 3), True, tuple("abcdefgh")])
def test_a_category_value_that_is_not_a_name_is_refused(value: object) -> None:
    assert refused(Observation(feature="half_kind", value=value))[0].field == "observations[0].value"  # type: ignore[arg-type]


def test_the_value_no_key_together_with_a_key_is_refused() -> None:
    assert only("keying", value=("none", "offset_rib")).field == "observations[0].value"


@pytest.mark.parametrize("value", ["", "  ", "--", "x" * 500, 7])
def test_a_marking_without_letters_or_digits_is_refused(value: object) -> None:
    assert only("marking", value=value).field == "observations[0].value"


@pytest.mark.parametrize("value", ["invented:a-1", TrialFit(half="", mates=True), TrialFit(half="a", mates=1)])  # type: ignore[arg-type]
def test_a_trial_fit_without_half_or_outcome_is_refused(value: object) -> None:
    assert only("trial_fit", value=value).field == "observations[0].value"


@pytest.mark.parametrize(
    ("feature", "of"), [("body_length", "pair"), ("stack_height", "other"), ("body_length", "both"), ("rows", "pair")]
)
def test_a_body_that_a_feature_does_not_belong_to_is_refused(feature: str, of: str) -> None:
    assert only(feature, value=3, of=of).field == "observations[0].of"


def test_a_repeated_observation_is_refused() -> None:
    (error,) = refused(*[Observation(feature="body_length", value=6.5)] * 2)
    assert error.field == "observations[1]"
    assert "readings" in error.remedy


def test_all_errors_of_a_list_are_reported_at_once() -> None:
    errors = refused(
        Observation(feature="pitch", value=math.nan, unit="furlong"),
        Observation(feature="rows", value=2),
        Observation(feature="body_width", value=-1, u=3),
    )
    assert {error.field for error in errors} == {
        "observations[0].unit",
        "observations[0].value",
        "observations[2].value",
    }


def test_an_observation_error_needs_at_least_one_problem() -> None:
    with pytest.raises(TypeError):
        ObservationErrors([])


def test_many_errors_are_summed_up_in_one_short_sentence() -> None:
    with pytest.raises(ObservationErrors) as caught:
        reduce([Observation(feature="pitch", readings=(math.nan,) * 500)])
    assert len(caught.value.errors) == 500
    assert str(caught.value).startswith("500 faults; the first: observations[0].readings[0]: ")
    assert len(str(caught.value)) < 200
