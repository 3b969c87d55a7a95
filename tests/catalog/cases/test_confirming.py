"""Which observations of a case count as evidence about the half, and which are left out and listed."""

from __future__ import annotations

from typing import Any

import pytest

from catalog.cases.confirmation import evidence_of
from catalog.evidence.values import CountedValue, MeasuredValue, NamedValue
from matcher.observations import Observation, Of, TrialFit
from matcher.uncertainty.instruments import overridden


def seen(feature: str, **more: Any) -> Observation:
    return Observation(feature=feature, **more)


@pytest.mark.parametrize(
    ("given", "why"),
    [
        (seen("height", max=1.0), "a limit is not a measurement"),
        (seen("contact_count", min=20), "a limit is not a measurement"),
        (seen("body_length", value=6.5), "neither its uncertainty nor its instrument is stated"),
        (seen("pitch", value=300.0, unit="px", spans=9, instrument="unscaled_photo"), "a picture without a scale"),
        (seen("body_width", value=2.0, u=0.01, of=Of.OTHER), "about the other half or the pair"),
        (seen("stack_height", value=1.5, u=0.05), "about the other half or the pair"),
        (seen("marking", value="T2"), "a measurement cannot confirm it"),
        (seen("trial_fit", value=TrialFit(half="a:1", mates=True)), "a measurement cannot confirm it"),
    ],
    ids=lambda each: each.feature if isinstance(each, Observation) else "",
)
def test_observations_that_cannot_be_evidence_are_left_out_and_listed(given: Observation, why: str) -> None:
    found = evidence_of([given])
    assert found.values == ()
    assert not found.measured
    (told,) = found.left_out
    assert why in told


def test_readings_of_one_size_that_contradict_are_both_left_out() -> None:
    given = [seen("body_length", value=6.5, u=0.01), seen("body_length", value=7.5, u=0.01)]
    found = evidence_of(given)
    assert found.values == ()
    assert [told.partition(": ")[2] for told in found.left_out] == [
        "its readings do not agree or cannot be combined"
    ] * 2


def test_a_length_keeps_its_original_figures() -> None:
    (value,) = evidence_of([seen("pitch", value=0.1775, unit="in", spans=9, instrument="caliper")]).values
    assert isinstance(value, MeasuredValue)
    assert (value.given, value.unit, value.spans, value.instrument) == (0.1775, "in", 9, "caliper")
    assert value.value == pytest.approx(0.1775 * 25.4 / 9)


def test_stated_figures_for_an_instrument_are_used() -> None:
    usual = evidence_of([seen("body_length", value=6.5, instrument="caliper")]).values[0]
    coarse = overridden({"caliper": {"feel_mm": 0.3}})
    own = evidence_of([seen("body_length", value=6.5, instrument="caliper")], coarse).values[0]
    assert isinstance(usual, MeasuredValue)
    assert isinstance(own, MeasuredValue)
    assert own.value == usual.value
    assert own.u > 0.1 > usual.u


def test_a_picture_with_a_scale_gives_millimetres_with_the_uncertainty_of_the_scale() -> None:
    given = seen("body_length", value=650.0, unit="px", px_per_mm=100.0, scale_rel=0.01, image="one")
    (value,) = evidence_of([given]).values
    assert isinstance(value, MeasuredValue)
    assert (value.value, value.unit) == (pytest.approx(6.5), "mm")
    assert value.u >= 0.065


def test_readings_that_agree_become_one_value() -> None:
    given = [seen("body_length", value=6.50, u=0.02), seen("body_length", value=6.52, u=0.02)]
    (value,) = evidence_of(given).values
    assert isinstance(value, MeasuredValue)
    assert value.value == pytest.approx(6.51)
    assert 0.02 / 2**0.5 <= value.u <= 0.02 * (1 + 1e-9)


def test_counts_and_categories_are_included_but_are_not_a_measurement_alone() -> None:
    found = evidence_of([seen("contact_count", value=20), seen("half_kind", value=("plug", "receptacle"))])
    counted, named = found.values
    assert isinstance(counted, CountedValue)
    assert isinstance(named, NamedValue)
    assert not found.measured
    assert found.left_out == ()


def test_a_repeated_observation_is_used_once() -> None:
    found = evidence_of([seen("contact_count", value=20), seen("contact_count", value=22)])
    assert [value.value for value in found.values] == [20]
    assert found.left_out[0].endswith("it was already given")
