"""Subtracted widths, repeats within the display's step, a picture's stated scale and planes, and results."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.errors import ObservationError, ObservationErrors
from matcher.observations import Observation, Of, Reduced
from matcher.uncertainty.gum import combine, rectangular, resolution, type_a
from matcher.uncertainty.instruments import BUILT_IN
from matcher.uncertainty.reduce import Measured, measure_readings, reduce

FEEL, STEP = BUILT_IN["caliper"].feel_mm, resolution(BUILT_IN["caliper"].step_mm)


def one(feature: str = "body_length", **parts: object) -> Reduced:
    """A single observation, reduced."""
    return reduce([Observation(feature=feature, **parts)])[0]  # type: ignore[arg-type]


def measured(*given: Observation) -> tuple[Measured, ...]:
    """The results of the observations."""
    return measure_readings(given).measured


def only(feature: str = "body_length", **parts: object) -> ObservationError:
    """The single error of a single observation."""
    with pytest.raises(ObservationErrors) as caught:
        reduce([Observation(feature=feature, **parts)])  # type: ignore[arg-type]
    (error,) = caught.value.errors
    assert error.message
    assert error.remedy
    return error


# A subtracted width


def test_outer_edge_to_outer_edge_minus_one_width_is_divided_by_the_gaps() -> None:
    reduced = one("pitch", value=4.55, less=0.15, spans=11)
    assert reduced.number == pytest.approx(0.4, rel=1e-12)
    assert reduced.u == pytest.approx(math.sqrt(2) * math.hypot(FEEL, STEP) / 11, rel=1e-12)


def test_the_zero_error_of_one_instrument_cancels_in_the_difference() -> None:
    reduced = one("pitch", value=4.55, less=0.15, spans=11)
    assert reduced.shared is None
    assert reduced.total_u == reduced.u


def test_a_limit_that_readings_do_not_share_does_not_cancel() -> None:
    reduced, limit = one(value=6.5, less=0.3, instrument="loupe"), rectangular(BUILT_IN["loupe"].limit_mm)
    assert reduced.u == pytest.approx(math.sqrt(2) * combine([0.03, resolution(0.1), limit]), rel=1e-12)


def test_the_stated_uncertainty_of_the_width_is_used() -> None:
    assert one(value=6.5, less=0.3, less_u=0.05).u == pytest.approx(combine([FEEL, STEP, 0.05]), rel=1e-12)
    assert one(value=0.5, less=0.01, less_u=0.0002, unit="in", u=0.001).u == pytest.approx(
        25.4 * math.hypot(0.001, 0.0002), rel=1e-12
    )


def test_an_uncertainty_stated_for_the_reading_holds_for_the_width_too() -> None:
    assert one(value=6.5, less=0.3, u=0.03).u == pytest.approx(math.sqrt(2) * 0.03, rel=1e-12)
    assert one(value=6.5, less=0.3, plus_minus=0.03).u == pytest.approx(math.sqrt(2) * rectangular(0.03), rel=1e-12)


def test_repeats_scatter_around_the_difference() -> None:
    readings = (6.40, 6.50, 6.60)
    reduced = one(readings=readings, less=0.5)
    assert reduced.number == pytest.approx(6.0, rel=1e-12)
    assert reduced.u == pytest.approx(combine([type_a(readings).u, FEEL, FEEL, STEP]), rel=1e-12)


def test_the_width_is_subtracted_from_bounds_too() -> None:
    reduced = one(min=6.0, max=7.0, less=0.5)
    assert (reduced.at_least, reduced.at_most) == (5.5, 6.5)


def test_the_scale_error_of_a_picture_applies_to_the_difference() -> None:
    reduced = one("pitch", value=460, less=20, unit="px", px_per_mm=100.0, spans=11, image="a")
    assert reduced.number == pytest.approx(0.4, rel=1e-12)
    assert reduced.budget[-1].contribution == pytest.approx(0.02 * 0.4, rel=1e-12)


@pytest.mark.parametrize("less", [0.0, -0.1, 6.5, 7.0, math.nan, math.inf, "wide"])
def test_a_width_that_cannot_be_subtracted_is_refused(less: object) -> None:
    assert only(value=6.5, less=less).field == "observations[0].less"


def test_a_width_as_large_as_the_smallest_repeat_is_refused() -> None:
    assert only(readings=(6.5, 6.3, 6.4), less=6.3).field == "observations[0].less"


@pytest.mark.parametrize("less_u", [0.0, -0.1, 6.0, 1e-9, math.nan, "small"])
def test_an_invalid_uncertainty_of_the_width_is_refused(less_u: object) -> None:
    assert only(value=6.5, less=0.5, less_u=less_u).field == "observations[0].less_u"


def test_an_uncertainty_of_the_width_without_a_width_is_refused() -> None:
    assert only(value=6.5, less_u=0.02).field == "observations[0].less_u"


@pytest.mark.parametrize(("part", "value"), [("less", 0.1), ("less_u", 0.1), ("scale_rel", 0.01), ("plane_rel", 0.01)])
@pytest.mark.parametrize(("feature", "seen"), [("contact_count", 24), ("marking", "K7")])
def test_what_belongs_to_a_length_is_refused_elsewhere(feature: str, seen: object, part: str, value: float) -> None:
    assert only(feature, value=seen, **{part: value}).field == f"observations[0].{part}"


# Repeats and the display


@pytest.mark.parametrize("readings", [(6.5, 6.5), (6.5,) * 40, (6.50, 6.51) * 10, (6.50, 6.51, 6.51, 6.51, 6.51)])
def test_repeats_within_a_step_are_known_no_better_than_the_step(readings: tuple[float, ...]) -> None:
    reduced = one(readings=readings)
    assert reduced.u == pytest.approx(math.hypot(FEEL, STEP), rel=1e-12)
    assert [line.distribution for line in reduced.budget].count("normal, type A") == 0


@given(st.lists(st.integers(min_value=0, max_value=30), min_size=2, max_size=15))
def test_the_larger_of_scatter_and_step_counts_and_never_both(steps: list[int]) -> None:
    readings = tuple(6.5 + 0.01 * step for step in steps)
    expected = math.hypot(FEEL, max(STEP, type_a(readings).u))
    assert one(readings=readings).u == pytest.approx(expected, rel=1e-9)


# A picture's scale and planes


def picture(*parts: dict[str, object]) -> tuple[Reduced, ...]:
    """Readings of one picture in pixels at 100 px per mm."""
    usual: dict[str, object] = {"unit": "px", "px_per_mm": 100.0, "image": "a"}
    return reduce([Observation(**{**usual, **each}) for each in parts])  # type: ignore[arg-type]


def test_a_stated_scale_uncertainty_holds_for_all_readings_that_share_the_scale() -> None:
    length, width = picture(
        {"feature": "body_length", "value": 650, "scale_rel": 0.003}, {"feature": "body_width", "value": 250}
    )
    assert length.shared is not None
    assert length.shared == width.shared
    assert length.shared.sd == 0.003
    assert width.budget[-1].contribution == pytest.approx(0.003 * 2.5, rel=1e-12)


def test_two_uncertainties_of_one_scale_are_refused() -> None:
    with pytest.raises(ObservationErrors) as caught:
        picture(
            {"feature": "body_length", "value": 650, "scale_rel": 0.003},
            {"feature": "body_width", "value": 250, "scale_rel": 0.004},
        )
    assert [error.field for error in caught.value.errors] == ["observations[1].scale_rel"]


def test_two_pictures_have_their_own_scale_uncertainties() -> None:
    length, width = picture(
        {"feature": "body_length", "value": 650, "scale_rel": 0.003},
        {"feature": "body_width", "value": 250, "scale_rel": 0.004, "image": "b"},
    )
    assert length.shared is not None
    assert width.shared is not None
    assert (length.shared.sd, width.shared.sd) == (0.003, 0.004)


def test_a_stated_plane_uncertainty_replaces_that_of_the_instrument() -> None:
    length, width, lands = picture(
        {"feature": "body_length", "value": 650, "u": 1},
        {"feature": "body_width", "value": 250, "u": 1},
        {"feature": "land_span", "value": 400, "u": 1, "plane_rel": 0.004},
    )
    assert (length.u, width.u) == (0.01, 0.01)
    assert lands.u == pytest.approx(math.hypot(0.01, 0.004 * 4.0), rel=1e-12)


def test_a_plane_uncertainty_of_zero_adds_nothing() -> None:
    *_, lands = picture(
        {"feature": "body_length", "value": 650, "u": 1, "plane_rel": 0.01},
        {"feature": "body_width", "value": 250, "u": 1, "plane_rel": 0.01},
        {"feature": "land_span", "value": 400, "u": 1, "plane_rel": 0.0},
    )
    assert lands.u == 0.01


@pytest.mark.parametrize("bad", [0.0, -0.01, 1.0, 2.0, math.nan, "fine", 1e-9])
def test_a_scale_uncertainty_outside_zero_to_one_is_refused(bad: object) -> None:
    assert only(value=650, unit="px", px_per_mm=100.0, scale_rel=bad).field == "observations[0].scale_rel"


@pytest.mark.parametrize("bad", [-0.01, 1.0, math.nan, "fine"])
def test_a_plane_uncertainty_outside_zero_to_one_is_refused(bad: object) -> None:
    assert only(value=650, unit="px", px_per_mm=100.0, plane_rel=bad).field == "observations[0].plane_rel"


def test_a_scale_uncertainty_without_a_scale_is_refused() -> None:
    assert only(value=6.5, image="a", scale_rel=0.01).field == "observations[0].scale_rel"


@pytest.mark.parametrize("parts", [{}, {"instrument": "vernier"}, {"u": 0.02}])
def test_a_plane_uncertainty_without_a_picture_is_refused(parts: dict[str, object]) -> None:
    assert only(value=6.5, plane_rel=0.01, **parts).field == "observations[0].plane_rel"


# Results


def test_a_result_holds_value_uncertainty_coverage_and_budget() -> None:
    (result,) = measured(Observation(feature="pitch", readings=(4.38, 4.43, 4.40, 4.45), spans=11))
    assert (result.feature, result.of, result.indices, result.unit, result.spans) == ("pitch", Of.THIS, (0,), "mm", 11)
    assert result.value == pytest.approx(4.415 / 11, rel=1e-12)
    assert result.u == pytest.approx(combine([line.contribution for line in result.budget]), rel=1e-12)
    assert result.expanded == pytest.approx(result.k * result.u, rel=1e-12)
    assert math.isfinite(result.degrees_of_freedom)
    assert (result.chi2, result.p) == (None, None)


def test_readings_that_agree_are_one_result_with_its_chi_squared() -> None:
    vernier = Observation(feature="body_length", value=6.55, instrument="vernier")
    (result,) = measured(Observation(feature="body_length", value=6.5), vernier)
    assert result.indices == (0, 1)
    assert result.chi2_degrees_of_freedom == 1
    assert result.p is not None
    assert 0.3 < result.p < 0.9


def test_readings_that_contradict_are_named() -> None:
    found = measure_readings(
        [
            Observation(feature="body_length", value=6.5),
            Observation(feature="rows", value=2),
            Observation(feature="body_length", value=7.5, instrument="vernier"),
        ]
    )
    assert [each.indices for each in found.measured] == [(0,), (2,)]
    assert found.contradictions[0].groups == ((0,), (2,))
    assert "observations[0]: 6.5 mm; observations[2]: 7.5 mm" in found.notes[0]
    assert "observations[1] (rows)" in found.notes[1]


def test_an_observation_without_a_budget_is_named() -> None:
    found = measure_readings([Observation(feature="body_length", min=6.0), Observation(feature="marking", value="K7")])
    assert found.measured == ()
    assert [note[:15] for note in found.notes] == ["observations[0]", "observations[1]"]


def test_pixels_without_a_scale_stay_pixels() -> None:
    (result,) = measured(Observation(feature="body_length", value=650, unit="px"))
    assert (result.unit, result.value) == ("px", 650)
    assert "ratio" in result.notes[0]


def test_repeats_finer_than_the_display_get_a_caution() -> None:
    (result,) = measured(Observation(feature="body_length", readings=(6.5, 6.5, 6.5)))
    assert "display" in result.notes[0]


def test_few_readings_that_scatter_get_a_caution() -> None:
    (result,) = measured(Observation(feature="body_length", readings=(6.4, 6.6)))
    assert "Few readings" in result.notes[0]
    assert result.k > 5
    (more,) = measured(Observation(feature="body_length", readings=(6.4, 6.6, 6.5, 6.55, 6.45)))
    assert more.notes == ()


def test_errors_are_reported_as_everywhere() -> None:
    with pytest.raises(ObservationErrors):
        measure_readings([Observation(feature="body_length", value=-1)])
