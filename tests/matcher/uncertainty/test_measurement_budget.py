"""The budget functions by themselves: what they refuse, and what holds for all inputs."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from matcher.uncertainty import gum

PARTS = st.lists(st.floats(min_value=0.001, max_value=1000.0), min_size=1, max_size=8)


@pytest.mark.parametrize("readings", [(), (6.5,)])
def test_scatter_needs_two_readings(readings: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="two readings"):
        gum.type_a(readings)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_scatter_of_what_is_not_finite_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        gum.type_a((1.0, bad))


@pytest.mark.parametrize("function", [gum.rectangular, gum.triangular, gum.u_shaped, gum.resolution])
@pytest.mark.parametrize("bad", [-0.1, math.nan, math.inf])
def test_a_width_that_is_no_size_is_refused(function, bad: float) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match="width"):
        function(bad)


@pytest.mark.parametrize(
    ("matrix", "message"),
    [
        ([[1.0]], "2 × 2"),
        ([[1.0, 0.5], [0.2, 1.0]], "symmetric"),
        ([[2.0, 0.5], [0.5, 1.0]], "diagonal"),
        ([[1.0, 1.5], [1.5, 1.0]], "negative"),
        ([[1.0, math.nan], [math.nan, 1.0]], "symmetric"),
    ],
)
def test_what_is_no_correlation_matrix_is_refused(matrix: list[list[float]], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        gum.combine([3.0, 4.0], matrix)


def test_nothing_combined_is_nothing() -> None:
    assert gum.combine([]) == 0.0
    assert gum.effective_dof([0.0], [3.0]) == math.inf


@given(parts=PARTS)
def test_uncorrelated_is_the_identity_matrix(parts: list[float]) -> None:
    assert gum.combine(parts, np.eye(len(parts))) == pytest.approx(gum.combine(parts), rel=1e-9)


@given(parts=PARTS, dof=st.floats(min_value=1.0, max_value=100.0))
def test_effective_degrees_of_freedom_lie_between_the_least_and_the_sum(parts: list[float], dof: float) -> None:
    effective = gum.effective_dof(parts, [dof] * len(parts))
    assert dof * (1 - 1e-9) <= effective <= dof * len(parts) * (1 + 1e-9)


def test_degrees_of_freedom_must_be_as_many_as_contributions() -> None:
    with pytest.raises(ValueError, match="zip"):
        gum.effective_dof([1.0, 2.0], [3.0])


@pytest.mark.parametrize("level", [0.0, 1.0, -0.5, math.nan])
def test_a_level_outside_zero_to_one_is_refused(level: float) -> None:
    with pytest.raises(ValueError, match="level"):
        gum.coverage_factor(5, level)
    with pytest.raises(ValueError, match="level"):
        gum.trapezoid_coverage_factor(0.3, level)


@pytest.mark.parametrize("dof", [0.0, -1.0, math.nan])
def test_degrees_of_freedom_not_above_zero_are_refused(dof: float) -> None:
    with pytest.raises(ValueError, match="degrees of freedom"):
        gum.coverage_factor(dof)


@pytest.mark.parametrize("relative", [0.0, -0.1, math.nan])
def test_an_uncertainty_known_exactly_has_no_finite_degrees_of_freedom(relative: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        gum.dof_of_uncertainty(relative)


def test_a_trapezoid_is_not_used_where_its_slope_does_not_matter() -> None:
    with pytest.raises(ValueError, match="flat top"):
        gum.trapezoid_coverage_factor(0.99, 0.5)
    with pytest.raises(ValueError, match="between 0 and 1"):
        gum.trapezoid_coverage_factor(1.2)


@given(
    y=st.floats(min_value=-50, max_value=50),
    u=st.floats(min_value=0.01, max_value=20),
    low=st.floats(min_value=-50, max_value=50),
    width=st.floats(min_value=0.0, max_value=50),
)
def test_conformity_is_the_mass_of_the_normal_between_the_limits(y: float, u: float, low: float, width: float) -> None:
    normal = scipy.stats.norm(y, u)
    expected = normal.cdf(low + width) - normal.cdf(low)
    assert gum.conformity_probability(y, u, low, low + width) == pytest.approx(expected, abs=1e-12)


def test_conformity_far_out_keeps_its_figures_on_both_sides() -> None:
    far_above = gum.conformity_probability(0.0, 1.0, 20.0, 21.0)
    assert far_above == gum.conformity_probability(0.0, 1.0, -21.0, -20.0)
    assert far_above == pytest.approx(scipy.stats.norm.sf(20.0), rel=1e-6)


def test_open_limits_are_allowed() -> None:
    assert gum.conformity_probability(0.0, 1.0, -math.inf, 0.0) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("u", "low", "high"), [(0.0, 1, 2), (-1.0, 1, 2), (math.nan, 1, 2), (1.0, 2, 1), (1.0, math.nan, 1)]
)
def test_conformity_of_what_is_no_interval_is_refused(u: float, low: float, high: float) -> None:
    with pytest.raises(ValueError, match=r"limit|uncertainty"):
        gum.conformity_probability(0.0, u, low, high)
