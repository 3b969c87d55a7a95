"""From readings to a value and its standard uncertainty."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.observations import UNSCALED_SD, Observation, Of, Reduced, SharedError, SharedKind, TrialFit
from matcher.uncertainty.gum import combine, effective_dof, rectangular, resolution, type_a
from matcher.uncertainty.instruments import BUILT_IN, overridden
from matcher.uncertainty.reduce import reduce, reduction

LENGTHS = st.floats(min_value=2.0, max_value=60.0)
REPEATS = st.lists(st.floats(min_value=6.0, max_value=7.0), min_size=2, max_size=12)


def one(feature: str = "body_length", **parts: object) -> Reduced:
    """A single observation, reduced."""
    return reduce([Observation(feature=feature, **parts)])[0]  # type: ignore[arg-type]


def own_type_b(name: str) -> float:
    """The type B uncertainty from an instrument's feel and step, which repeats do not reduce."""
    return combine([BUILT_IN[name].feel_mm, resolution(BUILT_IN[name].step_mm)])


def test_the_own_uncertainty_of_a_caliper_reading_is_feel_and_step() -> None:
    reduced = one(value=6.52)
    assert reduced.value == 6.52
    assert reduced.u == pytest.approx(math.hypot(0.02, 0.01 / math.sqrt(12)), rel=1e-12)


def test_the_limit_of_an_instrument_is_a_shared_zero_error_and_counts_only_in_the_total() -> None:
    reduced = one(value=6.52)
    assert reduced.shared is not None
    assert (reduced.shared.kind, reduced.shared.coefficient) == (SharedKind.ZERO, 1.0)
    assert reduced.shared.sd == pytest.approx(0.02 / math.sqrt(3), rel=1e-12)
    assert reduced.total_u == pytest.approx(math.hypot(reduced.u, reduced.shared.sd), rel=1e-12)


def test_one_caliper_shares_its_zero_error_on_and_off_the_board_and_another_instrument_does_not() -> None:
    names = ("caliper", "caliper_on_board", "vernier", "steel_rule")
    features = ("body_length", "overall_length", "body_width", "tail_span")
    loose, on_board, vernier, rule = reduce(
        [Observation(feature=f, value=6.5, instrument=name) for f, name in zip(features, names, strict=True)]
    )
    assert loose.shared == on_board.shared
    assert vernier.shared is not None
    assert vernier.shared != loose.shared
    assert rule.shared is None
    assert rule.u == pytest.approx(combine([0.1, 0.5 / math.sqrt(12), 0.1 / math.sqrt(3)]), rel=1e-12)


def test_gaps_divide_the_value_and_every_contribution() -> None:
    whole, spanned = one("pitch", value=4.41), one("pitch", value=4.41, spans=11)
    assert spanned.number == pytest.approx(whole.number / 11, rel=1e-15)
    assert spanned.u == pytest.approx(whole.u / 11, rel=1e-12)
    assert spanned.total_u == pytest.approx(whole.total_u / 11, rel=1e-12)
    assert spanned.shared == replace(whole.shared or pytest.fail("no zero error"), coefficient=1 / 11)
    assert spanned.spans == 11


def test_repeats_add_their_scatter_to_the_feel_and_already_contain_the_rounding() -> None:
    readings = (6.40, 6.50, 6.60)
    reduced, scatter = one(readings=readings), type_a(readings)
    assert reduced.number == pytest.approx(6.5, rel=1e-15)
    assert reduced.u == pytest.approx(math.hypot(scatter.u, BUILT_IN["caliper"].feel_mm), rel=1e-12)
    assert reduced.budget[0].degrees_of_freedom == 2


def test_repeats_without_scatter_leave_the_type_b_terms() -> None:
    assert one(readings=(6.5,) * 50).u == pytest.approx(own_type_b("caliper"), rel=1e-12)


def test_a_single_reading_in_a_list_is_a_value() -> None:
    assert one(readings=(6.5,)) == one(value=6.5)


def test_units_are_converted_with_their_uncertainty() -> None:
    metric, inch = one(value=25.4, u=0.0254), one(value=1.0, u=0.001, unit='"')
    assert (inch.number, inch.u) == pytest.approx((metric.number, metric.u), rel=1e-12)


def test_a_stated_standard_uncertainty_is_used_without_a_zero_error() -> None:
    reduced = one(readings=(6.3, 6.7), u=0.03, instrument="caliper")
    assert (reduced.number, reduced.u, reduced.total_u) == pytest.approx((6.5, 0.03, 0.03), rel=1e-12)
    assert reduced.shared is None
    assert [line.source for line in reduced.budget] == ["stated with the reading"]


def test_a_stated_limit_is_a_rectangle() -> None:
    assert one("pitch", value=4.4, plus_minus=0.03, spans=11).u == pytest.approx(rectangular(0.03) / 11, rel=1e-12)


@pytest.mark.parametrize("feature", ["opening_length", "opening_width", "height"])
def test_inside_jaws_and_depth_rods_are_less_certain(feature: str) -> None:
    assert one(feature, value=3.0).u == pytest.approx(combine([own_type_b("caliper"), rectangular(0.02)]), rel=1e-12)
    assert one("body_width", value=3.0).u == pytest.approx(own_type_b("caliper"), rel=1e-12)


def test_height_over_the_board_shares_no_error() -> None:
    reduced = one("height", value=3.0, instrument="height_over_board")
    assert reduced.u == pytest.approx(math.hypot(0.04, rectangular(0.03)), abs=2e-4)
    assert reduced.shared is None


def test_an_instrument_not_meant_for_a_feature_is_accepted_and_the_budget_says_so() -> None:
    sources = [line.source for line in one("contact_width", value=0.2).budget]
    assert any("not made for contact width" in source for source in sources)
    assert not any("not made" in line.source for line in one("contact_width", value=0.2, instrument="loupe").budget)


def test_the_budget_adds_up() -> None:
    reduced = one("opening_width", readings=(2.31, 2.35, 2.30))
    own = [line for line in reduced.budget if "shared" not in line.source]
    assert combine([line.contribution for line in own]) == pytest.approx(reduced.u, rel=1e-12)
    assert combine([line.contribution for line in reduced.budget]) == pytest.approx(reduced.total_u, rel=1e-12)
    assert all(line.contribution == pytest.approx(line.u * line.sensitivity) for line in reduced.budget)
    assert effective_dof([line.contribution for line in own], [line.degrees_of_freedom for line in own]) > 2


# Pictures


def test_readings_of_one_picture_share_its_scale_and_other_pictures_do_not() -> None:
    one_image, same, other, unnamed = reduce(
        [
            Observation(feature="body_length", value=6.5, instrument="photo", image="front"),
            Observation(feature="body_width", value=2.5, instrument="photo", image="front"),
            Observation(feature="opening_width", value=1.5, instrument="photo", image="back"),
            Observation(feature="overall_length", value=7.5, instrument="photo"),
        ]
    )
    assert one_image.shared == same.shared
    assert one_image.shared == SharedError(group="scale:photo:front", kind=SharedKind.SCALE, sd=0.02)
    assert len({str(r.shared) for r in (one_image, other, unnamed)}) == 3
    assert one_image.total_u == pytest.approx(math.hypot(one_image.u, 0.02 * 6.5), rel=1e-12)


def test_a_scanner_has_a_scale_for_each_direction() -> None:
    length, pitch, width = reduce(
        [Observation(feature=name, value=3.0, instrument="scanner") for name in ("body_length", "pitch", "body_width")]
    )
    assert length.shared == pitch.shared
    assert width.shared is not None
    assert width.shared != length.shared


def test_a_reading_in_another_plane_than_most_has_a_larger_own_uncertainty() -> None:
    features = ("body_length", "body_width", "land_span")
    length, width, lands = reduce([Observation(feature=n, value=4.0, instrument="photo", u=0.01) for n in features])
    assert (length.u, width.u) == (0.01, 0.01)
    assert lands.u == pytest.approx(math.hypot(0.01, 0.015 * 4.0), rel=1e-12)
    assert lands.shared == length.shared


def test_a_reading_stated_to_lie_in_the_plane_of_the_scale_gets_no_addition() -> None:
    *_, lands = reduce(
        [
            Observation(feature="body_length", value=6.0, instrument="photo", u=0.01),
            Observation(feature="land_span", value=4.0, instrument="photo", u=0.01, plane="housing_top"),
        ]
    )
    assert lands.u == 0.01


def test_the_plane_of_most_readings_is_found_for_each_picture_separately() -> None:
    a, b = reduce(
        [
            Observation(feature="body_length", value=6.0, instrument="photo", u=0.01, image="a"),
            Observation(feature="land_span", value=4.0, instrument="photo", u=0.01, image="b"),
        ]
    )
    assert (a.u, b.u) == (0.01, 0.01)


def test_pixels_without_a_scale_are_an_unscaled_photo() -> None:
    reduced = one(value=450, unit="px")
    assert reduced.number == 450
    assert reduced.shared == SharedError(
        group="scale:unscaled_photo:", kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True
    )
    assert reduced.u == pytest.approx(math.hypot(1.5, 1 / math.sqrt(12), 0.02 * 450), rel=1e-12)


@pytest.mark.parametrize(
    ("name", "rel"),
    [("unscaled_photo", 0.02), ("unscaled_photo_from_above", 0.005), ("unscaled_photo_rectified", 0.0)],
)
@pytest.mark.parametrize("u", [None, 0.7])
def test_each_reading_of_a_picture_without_a_scale_has_an_error_of_its_own(
    name: str, rel: float, u: float | None
) -> None:
    """2 % by hand, 0.5 % straight from above (common practice, no source); one gap has its part of it."""
    reduced = one("pitch", value=450, unit="px", spans=15, instrument=name, u=u)
    clicks = math.hypot(1.5, 1 / math.sqrt(12)) if u is None else u
    lines = [line.contribution for line in reduced.budget if line.source.startswith("perspective and lens, ")]
    assert reduced.u == pytest.approx(math.hypot(clicks, rel * 450) / 15, rel=1e-12)
    assert lines == ([] if rel == 0.0 else [pytest.approx(rel * 30, rel=1e-12)])


@pytest.mark.parametrize("name", ["photo", "usb_microscope", "microscope", "scanner"])
def test_a_picture_with_a_scale_has_no_perspective_in_its_budget_unless_it_is_given(name: str) -> None:
    given = Observation(feature="body_length", value=6.5, instrument=name)
    (usual,), (own,) = reduce([given]), reduce([given], overridden({name: {"perspective_rel": 0.02}}))
    assert own.u == pytest.approx(math.hypot(usual.u, 0.02 * 6.5), rel=1e-12)
    assert not any("perspective" in line.source for line in usual.budget)


def test_an_answer_says_that_a_picture_counts_as_taken_by_hand() -> None:
    def notes(**parts: object) -> tuple[str, ...]:
        features = ("body_length", "body_width")
        return reduction([Observation(feature=name, value=450, unit="px", **parts) for name in features]).notes  # type: ignore[arg-type]

    assert [note for note in notes() if "2 % more, as in a picture taken by hand" in note]
    assert [note for note in notes(image="front") if note.startswith("Each length in 'front' may be off by 2 %")]
    assert notes(instrument="unscaled_photo_from_above") == notes(instrument="unscaled_photo_rectified") == ()


def test_pixels_with_a_scale_become_millimetres() -> None:
    reduced = one(value=650, unit="px", px_per_mm=100.0, u=2)
    assert (reduced.number, reduced.u) == pytest.approx((6.5, 0.02), rel=1e-12)
    assert reduced.shared is not None
    assert (reduced.shared.sd, reduced.shared.unscaled) == (0.02, False)


def test_a_scale_stated_with_each_reading_of_a_picture_is_still_shared() -> None:
    length, width = reduce(
        [
            Observation(feature="body_length", value=650, unit="px", px_per_mm=100.0, image="a"),
            Observation(feature="body_width", value=250, unit="px", px_per_mm=100.4, image="a"),
        ]
    )
    assert length.shared == width.shared


@pytest.mark.parametrize(("name", "unscaled"), [("photo", False), ("unscaled_photo_rectified", True)])
def test_readings_with_a_stated_uncertainty_still_share_the_scale_of_their_picture(name: str, unscaled: bool) -> None:
    reduced = one(value=6.5, u=0.02, instrument=name)
    assert reduced.u == 0.02
    assert reduced.shared is not None
    assert reduced.shared.unscaled is unscaled


def test_a_named_picture_without_instrument_is_a_scaled_photo() -> None:
    assert one(value=6.5, image="front").shared == one(value=6.5, image="front", instrument="photo").shared


# Other kinds of observation


def test_bounds_have_the_uncertainty_of_the_instrument_and_share_no_error() -> None:
    bound, value = one(min=6.0, max=7.0), one(value=6.5)
    assert (bound.at_least, bound.at_most, bound.value, bound.shared) == (6.0, 7.0, None, None)
    assert (bound.u, bound.total_u) == pytest.approx((value.u, value.total_u), rel=1e-12)


def test_bounds_are_converted_and_divided_like_readings() -> None:
    bound = one("pitch", max=0.2, unit="in", spans=10)
    assert (bound.at_least, bound.at_most) == (None, pytest.approx(0.508, rel=1e-12))


def test_counts_become_whole_numbers() -> None:
    assert one("contact_count", value=24.0).count == 24
    assert one("contact_count", min=20, max=30).count_range == (20, 30)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("none_visible", {"none_visible"}),
        ("None visible", {"none_visible"}),
        ("click-felt", {"click_felt"}),
        (("none_visible", "click_felt"), {"none_visible", "click_felt"}),
    ],
)
def test_common_spellings_of_categories_are_accepted(value: object, expected: set[str]) -> None:
    assert one("latch_style", value=value).values == expected


@pytest.mark.parametrize(("value", "expected"), [(True, "yes"), (False, "no"), ("Yes", "yes"), ("false", "no")])
def test_yes_or_no_may_be_a_boolean(value: object, expected: str) -> None:
    assert one("centre_island", value=value).values == {expected}


def test_text_and_trial_fits_are_kept() -> None:
    assert one("marking", value="  K7 ").text == "K7"
    fit = TrialFit(half="invented:a-1", mates=False)
    assert one("trial_fit", value=fit).fit == fit


def test_the_dimensions_of_the_pair_belong_to_the_pair_by_default() -> None:
    assert one("stack_height", value=1.5).of is Of.PAIR
    assert one("body_width", value=1.5, of="other").of is Of.OTHER


def test_positions_in_the_list_are_kept() -> None:
    given_list = [Observation(feature="rows", value=2), Observation(feature="body_length", value=6.5)]
    assert [r.index for r in reduce(given_list)] == [0, 1]


# Rules for all inputs


@given(value=LENGTHS, spans=st.integers(min_value=1, max_value=200))
def test_value_and_uncertainty_are_divided_by_the_spans(value: float, spans: int) -> None:
    reduced, whole = one("pitch", value=value, spans=spans), one("pitch", value=value)
    assert (reduced.number * spans, reduced.total_u * spans) == pytest.approx((value, whole.total_u), rel=1e-12)


@given(readings=REPEATS, times=st.integers(min_value=2, max_value=5))
def test_more_readings_with_the_same_scatter_never_raise_u_nor_bring_it_below_the_feel(
    readings: list[float], times: int
) -> None:
    few, many = one(readings=tuple(readings)), one(readings=tuple(readings * times))
    assert own_type_b("caliper") * (1 - 1e-12) <= many.u <= few.u * (1 + 1e-12)


@given(readings=REPEATS, order=st.randoms(use_true_random=False))
def test_the_order_of_repeats_does_not_matter(readings: list[float], order: object) -> None:
    shuffled = list(readings)
    order.shuffle(shuffled)  # type: ignore[attr-defined]
    assert one(readings=tuple(shuffled)) == one(readings=tuple(readings))


MANY = (
    Observation(feature="body_length", value=6.5, instrument="photo", image="a"),
    Observation(feature="land_span", value=3.5, instrument="photo", image="a"),
    Observation(feature="pitch", value=0.4, instrument="photo", image="a"),
    Observation(feature="pitch", value=4.4, spans=11),
    Observation(feature="contact_count", value=24),
    Observation(feature="tail_span", value=310, unit="px"),
    Observation(feature="body_width", value=250, unit="px"),
)


@given(order=st.permutations(range(len(MANY))))
def test_the_order_of_observations_does_not_matter(order: list[int]) -> None:
    straight, shuffled = reduce(MANY), reduce([MANY[i] for i in order])
    for position, original in enumerate(order):
        assert replace(shuffled[position], index=original) == straight[original]


@given(value=LENGTHS, unit=st.sampled_from(["mm", "in", "mil", "um"]))
def test_the_unit_a_length_is_typed_in_does_not_matter(value: float, unit: str) -> None:
    per_unit = {"mm": 1.0, "in": 25.4, "mil": 0.0254, "um": 0.001}[unit]
    typed = one(value=value / per_unit, unit=unit)
    assert (typed.number, typed.total_u) == pytest.approx((value, one(value=value).total_u), rel=1e-12)
