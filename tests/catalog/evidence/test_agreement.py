"""One person's values against an entry: E_n of dimensions, one-sided bounds, counts, names."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pydantic import TypeAdapter

from catalog.evidence.agreement import FeatureAgreement, Verdict, agreement, deviation, stated
from catalog.evidence.values import Value
from matcher.features import FEATURES
from tests.catalog.evidence.evidence_examples import half, mating

VALUE: TypeAdapter[Any] = TypeAdapter(Value)


def judged(dimension: dict[str, Any], value: float, u: float = 0.03, feature: str = "body_length") -> FeatureAgreement:
    """A value compared with an entry that states only this dimension and pitch 0.5."""
    stated_ones = {"pitch": {"value": 0.5}} | {feature: dimension}
    return agreement(
        VALUE.validate_python({"feature": feature, "value": value, "u": u}), stated(half(dimensions=stated_ones))
    )


def seen(feature: str, value: Any) -> FeatureAgreement:
    return agreement(VALUE.validate_python({"feature": feature, "value": value}), stated(half()))


def test_e_n_uses_the_half_width_of_the_drawing_and_the_expanded_uncertainty() -> None:
    found = judged({"value": 6.5, "tolerance": 0.1}, 6.62)
    assert found.e_n == pytest.approx(0.12 / math.hypot(0.1, 0.06))
    assert (found.difference, found.allowed) == pytest.approx((0.12, math.hypot(0.1, 0.06)))


def test_without_a_stated_tolerance_the_default_for_feature_and_size_is_used() -> None:
    found = judged({"value": 6.5}, 6.62)
    assert found.e_n == pytest.approx(0.12 / math.hypot(FEATURES["body_length"].process.half_width(6.5, 0.5), 0.06))


def test_the_uncertainty_of_the_entry_is_added_as_an_expanded_uncertainty() -> None:
    found = judged({"value": 6.5, "tolerance": 0.1, "extra_u": 0.04}, 6.62)
    assert found.e_n == pytest.approx(0.12 / math.hypot(0.1, 0.06, 0.08))


def test_the_tolerance_of_a_pitch_over_many_gaps_is_narrower() -> None:
    one = {"feature": "pitch", "value": 0.51, "u": 0.001}
    many = {"feature": "pitch", "value": 0.51 * 10, "u": 0.01, "spans": 10}
    entry = stated(half(dimensions={"pitch": {"value": 0.5, "tolerance": 0.02}}))
    assert agreement(VALUE.validate_python(one), entry).verdict is Verdict.FITS
    assert agreement(VALUE.validate_python(many), entry).verdict is Verdict.CONTRADICTS


@pytest.mark.parametrize(
    ("e_n", "verdict"),
    [
        (0.0, Verdict.FITS),
        (0.999, Verdict.FITS),
        (1.001, Verdict.OFF),
        (1.499, Verdict.OFF),
        (1.501, Verdict.CONTRADICTS),
        (300.0, Verdict.CONTRADICTS),
    ],
)
def test_it_fits_up_to_1_and_contradicts_beyond_one_and_a_half(e_n: float, verdict: Verdict) -> None:
    allowed = math.hypot(0.1, 0.06)
    assert judged({"value": 6.5, "tolerance": 0.1}, 6.5 + e_n * allowed).verdict is verdict
    if e_n < 20:
        assert judged({"value": 6.5, "tolerance": 0.1}, 6.5 - e_n * allowed).verdict is verdict


def test_exactly_1_still_fits_and_exactly_one_and_a_half_does_not_contradict_yet() -> None:
    """Binary fractions make the quotients exact."""
    exact = {"value": 6.5, "tolerance": 0.0}
    at_1, at_1_5 = (judged(exact, value, u=0.125) for value in (6.75, 6.875))
    assert (at_1.e_n, at_1.verdict) == (1.0, Verdict.COARSE)
    assert (at_1_5.e_n, at_1_5.verdict) == (1.5, Verdict.OFF)


def test_with_a_stated_tolerance_of_zero_only_the_uncertainty_of_measurement_counts() -> None:
    assert judged({"value": 6.5, "tolerance": 0.0}, 6.55).e_n == pytest.approx(0.05 / 0.06)


@pytest.mark.parametrize(
    ("bound", "value", "verdict"),
    [
        ("max", 0.85, Verdict.FITS),
        ("max", 1.05, Verdict.FITS),
        ("max", 1.07, Verdict.OFF),
        ("max", 1.2, Verdict.CONTRADICTS),
        ("max", 0.4, Verdict.WITHIN),
        ("min", 1.15, Verdict.FITS),
        ("min", 0.95, Verdict.FITS),
        ("min", 0.93, Verdict.OFF),
        ("min", 0.8, Verdict.CONTRADICTS),
        ("min", 1.6, Verdict.WITHIN),
    ],
)
def test_a_bound_counts_only_on_its_side_and_confirms_only_close_to_it(
    bound: str, value: float, verdict: Verdict
) -> None:
    assert judged({"value": 1.0, "bound": bound}, value, feature="height").verdict is verdict


def test_beyond_a_bound_only_the_uncertainty_of_measurement_is_allowed() -> None:
    found = judged({"value": 1.0, "bound": "max", "tolerance": 0.2}, 1.05, feature="height")
    assert found.e_n == pytest.approx(0.05 / 0.06)
    assert judged({"value": 1.0, "bound": "max"}, 0.9, feature="height").e_n == 0.0


def test_lands_without_tolerance_are_compared_with_lands_as_boards_have_them() -> None:
    # matcher.tolerances: 0.05 mm inside to 0.45 mm outside of the recommended ones
    assert judged({"value": 4.0}, 4.3, feature="land_span").verdict is Verdict.FITS
    assert judged({"value": 4.0}, 3.7, feature="land_span").verdict is Verdict.CONTRADICTS


def test_a_steel_rule_confirms_nothing_but_can_contradict_a_large_difference() -> None:
    assert judged({"value": 6.5, "tolerance": 0.1}, 6.5, u=0.18).verdict is Verdict.COARSE
    assert judged({"value": 6.5, "tolerance": 0.1}, 6.95, u=0.18).verdict is Verdict.OFF
    assert judged({"value": 6.5, "tolerance": 0.1}, 7.5, u=0.18).verdict is Verdict.CONTRADICTS


def test_a_wide_tolerance_does_not_make_a_coarse_measurement_confirm() -> None:
    assert judged({"value": 6.5, "tolerance": 5.0}, 6.5, u=0.18).verdict is Verdict.COARSE


def test_any_value_within_a_wide_tolerance_fits() -> None:
    assert judged({"value": 6.5, "tolerance": 5.0}, 8.0).verdict is Verdict.FITS


def test_the_limits_for_too_coarse_and_too_far_are_still_allowed() -> None:
    """Binary fractions: parts lie from 0.875 to 1 mm; u is half of this variation or all of it."""
    held = {"value": 1.0, "bound": "max", "tolerance": 0.0625}
    assert judged(held, 0.8125, u=0.03125, feature="height").verdict is Verdict.FITS
    assert judged(held, 0.8124, u=0.03125, feature="height").verdict is Verdict.WITHIN
    assert judged(held, 0.9375, u=0.0625, feature="height").verdict is Verdict.FITS
    assert judged(held, 0.9375, u=0.0626, feature="height").verdict is Verdict.COARSE


def test_a_pitch_over_many_gaps_needs_a_finer_measurement_to_be_confirmed() -> None:
    entry = stated(half(dimensions={"pitch": {"value": 0.5, "tolerance": 0.02}}))
    one, many = ({"feature": "pitch", "value": 0.5 * gaps, "u": 0.01 * gaps, "spans": gaps} for gaps in (1, 10))
    assert agreement(VALUE.validate_python(one), entry).verdict is Verdict.FITS
    assert agreement(VALUE.validate_python(many), entry).verdict is Verdict.COARSE


def test_a_pitch_covers_one_gap_by_default() -> None:
    entry = stated(half(dimensions={"pitch": {"value": 0.5, "tolerance": 0.02}}))
    assert entry.process("pitch") == entry.process("pitch", 1) == (0.5, 0.02)
    assert deviation("pitch", 0.51, entry) == pytest.approx((0.01, 0.02))


@pytest.mark.parametrize("pitch", [0.5, 1.0, None])
def test_a_default_that_depends_on_the_pitch_uses_the_pitch_of_the_entry(pitch: float | None) -> None:
    dimensions = {"body_width": {"value": 3.0}} | ({} if pitch is None else {"pitch": {"value": pitch}})
    found = agreement(
        VALUE.validate_python({"feature": "body_width", "value": 3.06, "u": 0.03}), stated(half(dimensions=dimensions))
    )
    half_width = FEATURES["body_width"].process.half_width(3.0, pitch)
    assert (half_width < 0.12) is (pitch == 0.5), "finer where the pitch is fine"
    assert found.e_n == pytest.approx(0.06 / math.hypot(half_width, 0.06))


def test_the_wording_gives_the_difference_and_how_many_times_too_large_it_is() -> None:
    found = judged({"value": 6.5, "tolerance": 0.05}, 6.62, u=0.01)
    assert found.words == "off by 0.12 mm, 2.2 times what the tolerance and the measurement allow"
    assert judged({"value": 6.5, "tolerance": 0.05}, 6.51, u=0.01).words == "fits"
    coarse = judged({"value": 6.5, "tolerance": 0.1}, 6.5, u=0.18)
    assert coarse.words == "would fit, but the measurement is too coarse to confirm it"
    within = judged({"value": 1.0, "bound": "max"}, 0.4, feature="height")
    assert within.words == "within the maximum of 1 mm, but too far from it to confirm it"
    within = judged({"value": 1.0, "bound": "min"}, 1.6, feature="height")
    assert within.words == "within the minimum of 1 mm, but too far from it to confirm it"


def test_counts_are_equal_or_contradict() -> None:
    assert seen("contact_count", 20).verdict is Verdict.FITS
    assert seen("rows", 2).verdict is Verdict.FITS
    off = seen("contact_count", 22)
    assert (off.verdict, off.words) == (Verdict.CONTRADICTS, "22 counted, the entry states 20")
    assert seen("hold_down_count", 4).verdict is Verdict.NOT_STATED


def test_categories_need_one_name_in_common() -> None:
    assert seen("latch_style", "click_felt").verdict is Verdict.FITS
    assert seen("latch_style", ["click_felt", "screwed"]).verdict is Verdict.FITS
    off = seen("latch_style", "screwed")
    assert off.verdict is Verdict.OFF
    assert off.words == "“screws” seen, the entry states “none to be seen” or “a click is felt, nothing seen”"


def test_a_category_that_people_recognise_reliably_contradicts() -> None:
    assert seen("mounting", "through_hole").verdict is Verdict.CONTRADICTS
    assert FEATURES["shield"].right_share == 0.95, "the smallest reliable probability"
    of_shield = stated(half(categories={"shield": ["full"]}))
    assert (
        agreement(VALUE.validate_python({"feature": "shield", "value": "none"}), of_shield).verdict
        is Verdict.CONTRADICTS
    )
    assert seen("half_kind", "plug").verdict is Verdict.OFF
    assert seen("half_kind", "receptacle").verdict is Verdict.FITS


def test_a_category_does_not_contradict_what_may_be_taken_for_it() -> None:
    for feature, entry, value in (("mounting", "press_fit", "through_hole"), ("shield", "full", "partial")):
        found = agreement(
            VALUE.validate_python({"feature": feature, "value": value}), stated(half(categories={feature: [entry]}))
        )
        assert found.verdict is Verdict.OFF


def test_all_key_positions_must_be_equal() -> None:
    assert seen("keying", ["offset_rib", "corner_chamfer"]).verdict is Verdict.FITS
    assert seen("keying", ["offset_rib"]).verdict is Verdict.OFF
    assert seen("keying", ["none"]).verdict is Verdict.OFF


def test_only_values_that_are_off_or_contradict_count_against_the_entry() -> None:
    assert {verdict for verdict in Verdict if verdict.against} == {Verdict.OFF, Verdict.CONTRADICTS}


def test_a_feature_the_entry_does_not_state_cannot_be_judged() -> None:
    found = agreement(VALUE.validate_python({"feature": "tail_span", "value": 4.0, "u": 0.03}), stated(half()))
    assert (found.verdict, found.words, found.e_n) == (
        Verdict.NOT_STATED,
        "the entry states no span over the tails",
        None,
    )


def test_a_mating_is_judged_by_features_of_the_pair() -> None:
    entry = stated(mating())
    fits = agreement(VALUE.validate_python({"feature": "stack_height", "value": 1.55, "u": 0.03}), entry)
    off = agreement(VALUE.validate_python({"feature": "stack_height", "value": 1.0, "u": 0.03}), entry)
    assert (fits.verdict, off.verdict) == (Verdict.FITS, Verdict.CONTRADICTS)
