"""The noises of the study, on a half made up for this test: each does what its sentence says, and does it again."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from matcher.columns.columns import Dim, HalfRow
from matcher.observations import Observation
from matcher.uncertainty.reduce import reduce
from tests.real_geometry.simulated.noises import (
    COUNTED,
    FEATURE_SETS,
    NOISES,
    Noise,
    even_part,
    with_heights,
)
from tests.real_geometry.simulated.simulation import CALIPER_U
from tests.real_geometry.simulated.tools import camera, rotation

SIZES = {"pitch": 0.5, "body_length": 12.0, "body_width": 4.0, "land_span": 5.2, "height": 2.0}
HALF = HalfRow(
    key="made up",
    series="made up",
    dimensions={name: Dim(value=size) for name, size in SIZES.items()},
    counts={"contact_count": 40, "rows": 2, "hold_down_count": 4},
    categories={"mounting": frozenset({"surface_mount"}), "half_kind": frozenset({"plug", "receptacle"})},
)
SPECIMENS = 400


def _errors(noise: Noise, feature: str) -> np.ndarray:
    """Reading less the entry's value, mm over all gaps, of many specimens."""
    gaps = 19 if feature == "pitch" else 1
    read = [_value(noise.specimen(HALF, number), feature) for number in range(SPECIMENS)]
    return np.array(read) - SIZES[feature] * gaps


def _value(specimen: list[Observation], feature: str) -> float:
    value = next(o.value for o in specimen if o.feature == feature)
    assert isinstance(value, int | float)
    return float(value)


@pytest.mark.parametrize("noise", NOISES.values(), ids=NOISES)
def test_a_specimen_is_the_same_at_every_call_and_differs_from_the_next(noise: Noise) -> None:
    assert noise.specimen(HALF, 3) == noise.specimen(HALF, 3)
    assert noise.specimen(HALF, 3) != noise.specimen(HALF, 4)


@pytest.mark.parametrize("noise", NOISES.values(), ids=NOISES)
def test_every_specimen_is_one_that_the_matcher_accepts(noise: Noise) -> None:
    for number in range(50):
        readings = reduce(noise.specimen(HALF, number))
        assert {r.feature for r in readings} == {*COUNTED, "mounting", *SIZES}


def test_seeds_and_names_are_unique() -> None:
    assert len({noise.seed for noise in NOISES.values()}) == len(NOISES)
    assert all(noise.says.endswith(".") for noise in NOISES.values())


def test_an_unset_zero_shifts_all_readings_of_a_specimen_equally() -> None:
    """Common to both: 0.04 mm squared; the rest is independent."""
    bias = NOISES["bias"]
    together = np.cov(_errors(bias, "body_length"), _errors(bias, "body_width"))[0, 1]
    assert together == pytest.approx(0.04**2, abs=4 * 0.077**2 / np.sqrt(SPECIMENS))
    assert np.std(_errors(bias, "pitch")) > np.std(_errors(NOISES["rounding"], "pitch"))


def test_a_vernier_shows_multiples_of_a_twentieth() -> None:
    steps = np.array([_value(NOISES["rounding"].specimen(HALF, n), "body_length") for n in range(50)]) / 0.05
    assert steps == pytest.approx(np.round(steps), abs=1e-6)


def test_normal_parts_leave_their_limit_once_in_22() -> None:
    """Deviation and reading together: normal with √(0.05² + 0.03²) mm; even parts keep within 0.1 mm and 3 u."""
    spread = np.std(_errors(NOISES["normal_parts"], "body_length"))
    assert spread == pytest.approx(np.hypot(0.05, CALIPER_U), rel=4 / np.sqrt(2 * SPECIMENS))


@pytest.mark.parametrize(("name", "share"), [("slips_2", 0.02), ("slips_5", 0.05)])
def test_the_stated_share_of_lengths_is_wrong(name: str, share: float) -> None:
    """A slip is at least 0.3 mm, but for few of those to another size."""
    wrong = np.concatenate([np.abs(_errors(NOISES[name], feature)) > 0.3 for feature in SIZES])
    assert wrong.mean() == pytest.approx(share, abs=4 * np.sqrt(share / len(wrong)))


@pytest.mark.parametrize(("name", "low", "high"), [("lands_0.14", -0.14, 0.14), ("lands_0_to_0.4", 0.0, 0.4)])
def test_found_lands_lie_evenly_between_their_limits(name: str, low: float, high: float) -> None:
    errors = _errors(NOISES[name], "land_span")
    assert errors.mean() == pytest.approx((low + high) / 2, abs=0.03)
    assert errors.min() < low + 0.05
    assert errors.max() > high - 0.05


def test_a_camera_straight_above_without_distortion_keeps_ratios_in_one_plane() -> None:
    """Only the clicks are off, by √2 px each; the lands lie 2 mm deeper and look 0.5 to 1.4 % smaller."""
    straight = Noise(name="straight", says="Nothing is off.", seed=1, tool=camera(), part=lambda draw, limit: 0.0)
    for number in range(20):
        seen = {name: _value(straight.specimen(HALF, number), name) for name in SIZES}
        scale = seen["body_length"] / 12.0
        assert seen["body_width"] / 4.0 == pytest.approx(scale, abs=8 / 4.0)
        assert seen["pitch"] / 9.5 == pytest.approx(scale, abs=8 / 9.5)
        assert 0.98 * scale - 8 / 5.2 < seen["land_span"] / 5.2 < 0.997 * scale + 8 / 5.2


def test_a_tilt_shortens_what_lies_across_its_axis() -> None:
    """cos 10° = 0.985; along the axis nothing changes."""
    turned = rotation(0.0, np.radians(10.0))
    assert turned @ [1.0, 0.0, 0.0] == pytest.approx([1.0, 0.0, 0.0])
    assert turned @ [0.0, 1.0, 0.0] == pytest.approx([0.0, np.cos(np.radians(10)), np.sin(np.radians(10))])


def test_feature_sets_grow_and_heights_belong_to_a_body() -> None:
    growing = [set(FEATURE_SETS[name]) for name in list(FEATURE_SETS)[:5]]
    assert all(smaller < larger for smaller, larger in pairwise(growing))
    shorter = replace(HALF, counts={**HALF.counts, "contact_count": 20})
    first, second = with_heights([HALF, shorter])
    assert first.dimensions["height"] == second.dimensions["height"]


def test_uniform_parts_stay_within_their_limit() -> None:
    draw = np.random.default_rng(0)
    assert max(abs(even_part(draw, 0.1)) for _ in range(200)) <= 0.1
