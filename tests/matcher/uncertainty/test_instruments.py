from __future__ import annotations

import math
from dataclasses import replace

import pytest

from matcher.decision.next_measurement.tools import tool_for
from matcher.errors import ObservationError, ObservationErrors
from matcher.features import FEATURES, LENGTHS
from matcher.observations import Observation
from matcher.uncertainty.instruments import BUILT_IN, MAGNITUDES, UNSCALED, Instrument, Scale, overridden
from matcher.uncertainty.reduce import reduce


def test_every_instrument_in_the_feature_table_is_built_in() -> None:
    named = {name for feature in FEATURES.values() for name in feature.instruments}
    assert named == set(BUILT_IN)


def test_an_instrument_measures_the_features_that_the_feature_table_lists() -> None:
    for instrument in BUILT_IN.values():
        assert instrument.can == {f.name for f in FEATURES.values() if instrument.name in f.instruments}
        assert instrument.can


def test_only_a_microscope_or_magnifier_measures_a_contact_width() -> None:
    assert {n for n, tool in BUILT_IN.items() if "contact_width" in tool.can} == {
        "microscope",
        "usb_microscope",
        "loupe",
    }


def test_pictures_share_a_scale_and_calipers_a_zero_error() -> None:
    assert {n for n, tool in BUILT_IN.items() if tool.optical} == {
        "microscope",
        "usb_microscope",
        "scanner",
        "photo",
        *UNSCALED.values(),
    }
    assert {n for n, tool in BUILT_IN.items() if tool.unscaled} == set(UNSCALED.values())
    assert BUILT_IN["caliper"].zero_tool == BUILT_IN["caliper_on_board"].zero_tool
    assert BUILT_IN["scanner"].scale is Scale.AXIS


@pytest.mark.parametrize(
    ("name", "scale_rel"), [("microscope", 0.005), ("usb_microscope", 0.02), ("scanner", 0.003), ("photo", 0.02)]
)
def test_scales_have_the_chosen_relative_uncertainty(name: str, scale_rel: float) -> None:
    assert BUILT_IN[name].scale_rel == scale_rel


def test_an_override_replaces_one_magnitude_and_keeps_the_rest() -> None:
    changed = overridden({"caliper": {"feel_mm": 0.005}})
    assert changed["caliper"] == replace(BUILT_IN["caliper"], feel_mm=0.005)
    assert changed["vernier"] is BUILT_IN["vernier"]
    assert BUILT_IN["caliper"].feel_mm == 0.02


def test_an_override_changes_the_uncertainty_of_a_reading() -> None:
    reading = Observation(feature="body_length", value=6.5)
    (usual,), (better,) = reduce([reading]), reduce([reading], overridden({"caliper": {"feel_mm": 0.005}}))
    assert better.u < usual.u


def test_a_user_defined_instrument_is_used_beside_the_built_in_instruments() -> None:
    own = Instrument(name="projector", label="profile projector", feel_mm=0.004, can=frozenset({"body_length"}))
    (reduced,) = reduce(
        [Observation(feature="body_length", value=6.5, instrument="projector")], {**BUILT_IN, own.name: own}
    )
    assert (reduced.u, reduced.shared) == (0.004, None)


@pytest.mark.parametrize("name", MAGNITUDES)
@pytest.mark.parametrize("value", [-0.01, math.nan, math.inf, "wide", True])
def test_a_magnitude_that_is_not_a_size_is_refused(name: str, value: float) -> None:
    with pytest.raises(ObservationError) as caught:
        overridden({"photo": {name: value}})
    assert caught.value.field == f"instruments.photo.{name}"


def test_only_a_picture_has_a_perspective() -> None:
    with pytest.raises(ObservationError, match="perspective_rel") as caught:
        overridden({"caliper": {"perspective_rel": 0.02}})
    assert caught.value.field == "instruments.caliper.perspective_rel"


@pytest.mark.parametrize("name", ["scale_rel", "other_plane_rel", "perspective_rel"])
def test_a_relative_error_as_large_as_the_reading_is_refused(name: str) -> None:
    with pytest.raises(ObservationError, match=name):
        overridden({"photo": {name: 1.0}})


def test_an_unknown_instrument_is_refused_with_a_suggestion() -> None:
    with pytest.raises(ObservationError) as caught:
        overridden({"calliper": {"feel_mm": 0.1}})
    assert caught.value.field == "instruments.calliper"
    assert "did you mean 'caliper'?" in caught.value.remedy


@pytest.mark.parametrize("magnitude", ["feel", "name", "can", "scale"])
def test_only_magnitudes_can_be_overridden(magnitude: str) -> None:
    with pytest.raises(ObservationError) as caught:
        overridden({"caliper": {magnitude: 0.1}})
    assert caught.value.field == f"instruments.caliper.{magnitude}"
    assert "feel_mm" in caught.value.remedy


def test_an_instrument_without_any_error_is_refused() -> None:
    with pytest.raises(ObservationError, match="feel_mm"):
        Instrument(name="perfect", label="perfect")


@pytest.mark.parametrize(
    ("scale", "scale_rel"), [(Scale.NONE, 0.01), (Scale.UNKNOWN, 0.01), (Scale.IMAGE, 0.0), (Scale.IMAGE, 1.5)]
)
def test_a_scale_error_that_contradicts_the_kind_of_scale_is_refused(scale: Scale, scale_rel: float) -> None:
    with pytest.raises(ObservationError, match="scale_rel"):
        Instrument(name="odd", label="odd", feel_mm=0.01, scale=scale, scale_rel=scale_rel)


INSIDE = ("opening_length", "opening_width", "peg_hole_diameter")


@pytest.mark.parametrize("feature", INSIDE)
@pytest.mark.parametrize("given", [{"value": 3.0}, {"max": 3.0}, {"value": 3.0, "u": 0.01}], ids=str)
def test_an_outside_micrometer_cannot_take_an_opening(feature: str, given: dict[str, float]) -> None:
    with pytest.raises(ObservationErrors) as caught:
        reduce([Observation(feature=feature, instrument="micrometer", **given)])  # type: ignore[arg-type]
    (fault,) = caught.value.errors
    assert fault.field == "observations[0].instrument"
    assert fault.value == "micrometer"
    assert f"outside micrometer cannot take the {FEATURES[feature].label}" in fault.message
    assert all(name in fault.remedy for name in FEATURES[feature].instruments)
    assert "micrometer" not in fault.remedy


def test_an_outside_micrometer_takes_what_it_closes_on() -> None:
    for feature in LENGTHS:
        if feature not in INSIDE:
            reduce([Observation(feature=feature, value=3.0, instrument="micrometer")])


@pytest.mark.parametrize("feature", INSIDE)
def test_an_outside_micrometer_is_never_advised_for_an_opening(feature: str) -> None:
    assert tool_for(FEATURES[feature], ["micrometer"], BUILT_IN) is None
    assert tool_for(FEATURES["body_width"], ["micrometer"], BUILT_IN) is not None
