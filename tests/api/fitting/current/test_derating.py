"""Derated currents agree with published pairs, and the base curve with the physics of heating."""

from __future__ import annotations

import pytest
from GTC import ureal

from api.fitting.current.derating import allowed_a, base_curve_a, derated_a


@pytest.mark.parametrize(("base", "derated"), [(21.9, 17.52), (8.6, 6.88)])
def test_the_derated_current_is_eight_tenths_of_the_base_curve(base: float, derated: float) -> None:
    # Pairs published with derating curves by IEC 60512-5-2: seen in search results and computed again; the standard
    # itself was not read.
    assert derated_a(base) == pytest.approx(derated, abs=0.005)


@pytest.mark.parametrize("ambient", [-40.0, 0.0, 25.0, 55.0, 84.0])
def test_the_base_curve_brings_a_contact_to_its_upper_temperature(ambient: float) -> None:
    # Physics: the rise is a thermal resistance times I²R, so rise / I² is the same along the curve.
    current = base_curve_a(0.5, 30.0, 85.0, ambient)
    rise = 30.0 * (current / 0.5) ** 2
    assert ambient + rise == pytest.approx(85.0)


def test_the_sensitivity_to_the_ambient_is_that_of_a_square_root() -> None:
    # By GTC's automatic differentiation of I₀·√((T − x)/ΔT), an independent derivative.
    ambient = ureal(40.0, 1.0)
    expected = 0.5 * ((85.0 - ambient) / 30.0) ** 0.5
    step = 1e-4
    slope = (base_curve_a(0.5, 30.0, 85.0, 40.0 + step) - base_curve_a(0.5, 30.0, 85.0, 40.0 - step)) / (2 * step)
    assert base_curve_a(0.5, 30.0, 85.0, 40.0) == pytest.approx(expected.x)
    assert abs(slope) == pytest.approx(expected.u, rel=1e-6)


def test_nothing_is_left_at_the_upper_temperature_and_above() -> None:
    assert base_curve_a(0.5, 30.0, 85.0, 85.0) == 0.0
    assert base_curve_a(0.5, 30.0, 85.0, 120.0) == 0.0


def test_a_cold_place_allows_no_more_than_is_stated() -> None:
    assert base_curve_a(0.5, 30.0, 85.0, -40.0) > 0.9
    assert allowed_a(0.5, 30.0, 85.0, -40.0) == 0.5


def test_more_heat_around_it_always_allows_less() -> None:
    allowed = [allowed_a(0.5, 30.0, 85.0, ambient) for ambient in (40, 50, 60, 70, 80, 85)]
    assert allowed == sorted(allowed, reverse=True)
    assert len(set(allowed)) == len(allowed)
