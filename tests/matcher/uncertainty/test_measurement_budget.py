"""The budget functions alone: refusals, and rules for all inputs."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.uncertainty import gum

PARTS = st.lists(st.floats(min_value=0.001, max_value=1000.0), min_size=1, max_size=8)


@pytest.mark.parametrize("readings", [(), (6.5,)])
def test_scatter_needs_two_readings(readings: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="two readings"):
        gum.type_a(readings)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_scatter_of_values_that_are_not_finite_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        gum.type_a((1.0, bad))


@pytest.mark.parametrize("function", [gum.rectangular, gum.resolution])
@pytest.mark.parametrize("bad", [-0.1, math.nan, math.inf])
def test_a_half_width_that_is_not_a_size_is_refused(function, bad: float) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match="width"):
        function(bad)


def test_an_empty_sum_of_uncertainties_is_zero() -> None:
    assert gum.combine([]) == 0.0
    assert gum.effective_dof([0.0], [3.0]) == math.inf


@given(parts=PARTS, dof=st.floats(min_value=1.0, max_value=100.0))
def test_effective_degrees_of_freedom_lie_between_the_least_and_the_sum(parts: list[float], dof: float) -> None:
    effective = gum.effective_dof(parts, [dof] * len(parts))
    assert dof * (1 - 1e-9) <= effective <= dof * len(parts) * (1 + 1e-9)


def test_each_contribution_needs_its_degrees_of_freedom() -> None:
    with pytest.raises(ValueError, match="zip"):
        gum.effective_dof([1.0, 2.0], [3.0])


@pytest.mark.parametrize("level", [0.0, 1.0, -0.5, math.nan])
def test_a_level_outside_zero_to_one_is_refused(level: float) -> None:
    with pytest.raises(ValueError, match="level"):
        gum.coverage_factor(5, level)


@pytest.mark.parametrize("dof", [0.0, -1.0, math.nan])
def test_degrees_of_freedom_must_be_above_zero(dof: float) -> None:
    with pytest.raises(ValueError, match="degrees of freedom"):
        gum.coverage_factor(dof)
