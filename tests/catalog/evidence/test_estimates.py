"""Estimates of a dimension: from measured values together, the stated value and the values of other documents."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from catalog.evidence.agreement import stated
from catalog.evidence.estimates import Estimate, estimates
from catalog.evidence.values import MeasuredValue
from matcher.uncertainty.interlaboratory import (
    birge_ratio,
    consensus_value,
    mean_of_one_person,
    normalised_error,
    stated_u,
)
from tests.catalog.evidence.evidence_examples import IDA, MIA, PER, half


def value(mm: float, u: float = 0.03, feature: str = "body_length", **changes: Any) -> MeasuredValue:
    return MeasuredValue.model_validate({"feature": feature, "value": mm, "u": u, **changes})


def of_length(dimension: dict[str, Any] | None, *said: tuple[str, MeasuredValue]) -> Estimate:
    """The estimate of the body length of a half with that stated length."""
    dimensions = {"pitch": {"value": 0.5}} | ({"body_length": dimension} if dimension else {})
    return estimates(said, stated(half(dimensions=dimensions)))["body_length"]


# Numbers


def test_two_equally_certain_values_have_their_midpoint_as_mean() -> None:
    found = consensus_value([6.4, 6.6], [0.1, 0.1], [0.0, 0.0])
    assert found.value == pytest.approx(6.5)
    assert found.birge_ratio == pytest.approx(math.sqrt(2))  # χ² = 2·(0.1/0.1)²
    assert found.u == pytest.approx(0.1 / math.sqrt(2) * math.sqrt(2))


def test_a_birge_ratio_below_1_never_narrows() -> None:
    found = consensus_value([6.50, 6.51], [0.1, 0.1], [0.0, 0.0])
    assert found.birge_ratio is not None
    assert found.birge_ratio < 1.0
    assert found.u == pytest.approx(0.1 / math.sqrt(2))


def test_the_values_of_one_person_give_no_birge_ratio() -> None:
    found = consensus_value([6.5], [0.03], [0.1])
    assert (found.birge_ratio, found.p, found.people) == (None, 1.0, 1)
    assert found.u == pytest.approx(math.hypot(0.03, 0.1 / math.sqrt(3)))
    with pytest.raises(ValueError, match="at least two"):
        birge_ratio(0.0, 1)


def test_the_spread_of_parts_is_added_to_the_uncertainty_of_each_person() -> None:
    found = consensus_value([6.47, 6.53], [0.03, 0.03], [0.1, 0.1])
    assert found.u == pytest.approx(math.hypot(0.03, 0.1 / math.sqrt(3)) / math.sqrt(2))


def test_combining_nothing_or_without_any_uncertainty_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        consensus_value([], [], [])
    with pytest.raises(ValueError, match="above 0"):
        consensus_value([6.5], [0.0], [0.0])
    with pytest.raises(ValueError, match="argument"):
        consensus_value([6.5, 6.6], [0.1], [0.1, 0.1])
    with pytest.raises(ValueError, match="without error"):
        normalised_error(0.1, 0.0, 0.0)


def test_repeats_by_one_person_do_not_narrow_the_estimate() -> None:
    assert mean_of_one_person([6.4, 6.6], [0.03, 0.03]) == pytest.approx((6.5, 0.03))
    mean, u = mean_of_one_person([6.4, 6.6], [0.01, 0.03])
    assert mean == pytest.approx((6.4 * 9 + 6.6) / 10)
    assert 0.01 < u < 0.03


def test_the_uncertainty_of_the_stated_centre_is_the_tolerance_beyond_the_process_spread() -> None:
    assert stated_u(0.04, 0.1, 0.1, bound=False) == pytest.approx(0.04)
    assert stated_u(0.0, None, 0.1, bound=False) == 0.0
    assert stated_u(0.0, 0.3, 0.1, bound=False) == pytest.approx(0.2 / math.sqrt(3))
    assert stated_u(0.03, 0.3, 0.1, bound=False) == pytest.approx(math.hypot(0.03, 0.2 / math.sqrt(3)))
    assert stated_u(0.0, 0.05, 0.1, bound=False) == 0.0  # narrower than the usual process spread
    assert stated_u(0.0, None, 0.1, bound=True) == pytest.approx(0.1 / math.sqrt(3))


@pytest.mark.parametrize("people", [1, 2, 3, 5, 10, 20])
def test_the_interval_holds_the_true_centre_of_the_type_in_about_95_percent(people: int) -> None:
    """Each person measures a different part from the process, with the error of their own instrument."""
    rng = np.random.default_rng(20261125 + people)
    rounds, half_width, held = 4000, 0.1, 0
    for _ in range(rounds):
        u = rng.uniform(0.01, 0.08, people)
        values = 6.5 + rng.uniform(-half_width, half_width, people) + rng.normal(0.0, u)
        found = consensus_value(values.tolist(), u.tolist(), [half_width] * people)
        held += abs(found.value - 6.5) <= found.expanded
    # 2u of a normal holds 95.45 %; a rectangle's tails are shorter, and chance ratios above 1 widen it. Three standard
    # deviations of this many rounds are 0.01.
    assert 0.945 <= held / rounds <= 0.98


# Ranking


def test_an_agreeing_measurement_outranks_a_wide_tolerance() -> None:
    found = of_length({"value": 6.5, "tolerance": 0.4}, (IDA, value(6.62)))
    assert found.ranked == "measured"
    assert found.stated_u == pytest.approx(0.3 / math.sqrt(3))
    assert found.explanation == (
        "The measured body length is used: one person measured 6.62 ± 0.13 mm (95 %), "
        "the stated 6.5 mm is known to ± 0.35 mm (95 %)."
    )
    assert (found.dim.value, found.dim.tolerance, found.dim.bound) == (6.62, 0.1, "nominal")
    assert found.dim.extra_u == found.measured.u


def test_a_narrow_tolerance_outranks_measurements_that_fit_it() -> None:
    found = of_length({"value": 6.5, "tolerance": 0.1}, (IDA, value(6.47)), (PER, value(6.53)))
    assert found.ranked == "stated"
    assert found.explanation == (
        "The stated body length is used: the stated 6.5 mm leaves no doubt, 2 people measured 6.5 ± 0.092 mm (95 %)."
    )


def test_a_dimension_the_entry_does_not_state_is_estimated_from_measurements_alone() -> None:
    found = of_length(None, (IDA, value(6.5)))
    assert (found.ranked, found.stated, found.e_n) == ("measured", None, None)
    assert found.explanation.startswith("The entry states no body length; one person measured 6.5")
    assert not found.contradicts


@pytest.mark.parametrize("slip", [6.5 * 25.4, 6.5 / 25.4, 8.0])
def test_a_slip_by_one_person_never_outranks_a_stated_value(slip: float) -> None:
    found = of_length({"value": 6.5, "tolerance": 0.4, "extra_u": 0.2}, (IDA, value(slip, 0.02)))
    assert found.ranked == "stated"
    assert "one person alone measured" in found.explanation


def test_a_slip_by_one_person_never_outranks_a_bound() -> None:
    entry = stated(half(dimensions={"height": {"value": 1.0, "bound": "max"}}))
    found = estimates([(IDA, value(0.1, 0.01, feature="height"))], entry)["height"]
    assert (found.ranked, found.contradicts) == ("stated", False)


def test_several_agreeing_people_outrank_a_drawing_that_does_not_fit() -> None:
    found = of_length({"value": 6.5, "tolerance": 0.1}, (IDA, value(6.95)), (PER, value(7.0)), (MIA, value(7.02)))
    assert (found.ranked, found.contradicts) == ("measured", True)
    assert "which the stated one does not fit" in found.explanation


def test_small_differences_of_several_together_contradict_although_none_does_alone() -> None:
    entry = stated(half(dimensions={"body_length": {"value": 6.5, "tolerance": 0.05}}))
    said = [(person, value(6.5 + 0.085, 0.03)) for person in (IDA, PER, MIA)]
    assert estimates(said[:1], entry)["body_length"].contradicts is False
    assert estimates(said, entry)["body_length"].contradicts is True


def test_people_who_contradict_each_other_outrank_nothing() -> None:
    found = of_length({"value": 6.5, "tolerance": 0.4, "extra_u": 0.3}, (IDA, value(6.5)), (PER, value(8.0)))
    assert (found.ranked, found.contradicts) == ("stated", False)
    assert found.measured.birge_ratio is not None
    assert found.measured.birge_ratio > 1.0
    assert "contradict each other" in found.explanation


def test_one_person_counts_once_however_often_they_measure() -> None:
    found = of_length({"value": 6.5}, (IDA, value(6.4)), (IDA, value(6.6)), (PER, value(6.5)))
    assert found.measured.people == 2
    assert [(part.person, round(part.value, 6), round(part.u, 6)) for part in found.parts] == [
        (IDA, 6.5, 0.03),
        (PER, 6.5, 0.03),
    ]


def test_a_pitch_over_many_gaps_has_a_narrower_estimate() -> None:
    entry = stated(half(dimensions={"pitch": {"value": 0.5, "extra_u": 0.01}}))
    over_ten = value(5.02, 0.02, feature="pitch", spans=10)
    found = estimates([(IDA, over_ten)], entry)["pitch"]
    assert found.parts[0].half_width == pytest.approx(0.005)
    assert found.measured.u == pytest.approx(math.hypot(0.002, 0.005 / math.sqrt(3)))
    assert (found.ranked, found.dim.tolerance) == ("measured", 0.05)
