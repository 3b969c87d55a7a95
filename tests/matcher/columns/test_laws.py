"""The robust law of a series, compared with the known law its members were made from."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from matcher.columns.dimension_laws import LEAST_U, SMALL_CHANGE, fit_law, median, medians

SIZES = [5, 6, 8, 10, 12, 15, 20, 25, 30]


def lengths(slope: float, intercept: float, sizes: list[int] = SIZES) -> list[float]:
    return [intercept + slope * size for size in sizes]


@given(
    intercept=st.floats(-3, 20),
    slope=st.floats(0.2, 5),
    sizes=st.lists(st.integers(1, 200), min_size=3, max_size=12, unique=True),
)
def test_a_law_without_noise_is_recovered(intercept: float, slope: float, sizes: list[int]) -> None:
    law = fit_law(sizes, lengths(slope, intercept, sizes), snap_slope_to=slope)
    assert law.value(37) == pytest.approx(intercept + slope * 37, abs=1e-9)
    assert law.snapped


def test_a_free_slope_agrees_with_scipy() -> None:
    values = np.array(lengths(1.9, 3.0)) + np.random.default_rng(3).normal(0, 0.05, len(SIZES))
    law = fit_law(SIZES, list(values), snap_slope_to=2.54)
    assert not law.snapped
    assert law.slope == pytest.approx(theilslopes(values, SIZES).slope, abs=1e-12)
    assert law.intercept == pytest.approx(float(np.median(values - law.slope * np.array(SIZES))), abs=1e-12)


@pytest.mark.parametrize("rows", [1, 2, 5, 6])
def test_medians_are_those_of_numpy(rows: int) -> None:
    values = np.random.default_rng(rows).normal(size=(rows, 4))
    assert np.array_equal(medians(values), np.median(values, axis=0))
    assert median(values[:, 1]) == np.median(values[:, 1])


def test_one_outlier_changes_nothing() -> None:
    values = lengths(0.5, 3.0)
    values[4] += 7.0
    law = fit_law(SIZES, values, snap_slope_to=0.5)
    assert (law.slope, law.intercept) == (0.5, pytest.approx(3.0))
    assert law.u(9) < 2 * LEAST_U


@pytest.mark.parametrize(("share", "snapped"), [(0.99, True), (1.01, False)])
def test_the_slope_is_the_pitch_when_no_value_moves_by_the_limit(share: float, snapped: bool) -> None:
    off = share * SMALL_CHANGE / (max(SIZES) - min(SIZES))
    law = fit_law(SIZES, lengths(0.5 + off, 3.0), snap_slope_to=0.5)
    assert law.snapped is snapped
    assert law.slope == pytest.approx(0.5 if snapped else 0.5 + off)


@pytest.mark.parametrize(("share", "snapped"), [(0.99, True), (1.01, False)])
def test_a_width_is_constant_when_it_changes_by_less_than_the_limit(share: float, snapped: bool) -> None:
    slope = share * SMALL_CHANGE / (max(SIZES) - min(SIZES))
    law = fit_law(SIZES, lengths(slope, 4.0))
    assert law.snapped is snapped
    assert (law.slope == 0) is snapped


def test_uncertainty_has_a_floor_and_grows_with_extrapolation() -> None:
    values = list(np.array(lengths(1.9, 3.0)) + np.random.default_rng(1).normal(0, 0.05, len(SIZES)))
    for snap in (None, 1.9):
        law = fit_law(SIZES, values, snap_slope_to=snap)
        inside, edge, beyond, far = (law.u(size) for size in (15, 30, 40, 80))
        assert LEAST_U < inside <= edge < beyond < far
    exact = fit_law(SIZES, lengths(0.5, 3.0), snap_slope_to=0.5)
    assert exact.u(15) == pytest.approx(LEAST_U)
    assert exact.u(60) > exact.u(15)


def test_normal_scatter_is_estimated_correctly() -> None:
    draw = np.random.default_rng(8)
    sizes = list(range(2, 62))
    spreads = [fit_law(sizes, list(draw.normal(4.0, 0.05, 60))).spread for _ in range(40)]
    assert float(np.mean(spreads)) == pytest.approx(0.05, rel=0.1)


def test_predictions_of_left_out_members_have_the_stated_uncertainty() -> None:
    """With normal scatter, two thirds of left-out members lie within one standard uncertainty, 95 % within two."""
    draw = np.random.default_rng(11)
    ratios = []
    for _ in range(300):
        values = np.array(lengths(1.27, 5.0)) + draw.normal(0, 0.04, len(SIZES))
        law = fit_law(SIZES[:4] + SIZES[5:], [*values[:4], *values[5:]], snap_slope_to=1.27)
        ratios.append(abs(values[4] - law.value(SIZES[4])) / law.u(SIZES[4]))
    assert float(np.mean(np.array(ratios) < 1)) == pytest.approx(0.68, abs=0.1)
    assert float(np.mean(np.array(ratios) < 2)) > 0.9


def test_members_of_one_size_count_as_one_for_the_slope() -> None:
    law = fit_law([5, 5, 5, 10, 15], [5.5, 5.5, 9.9, 8.0, 10.5], snap_slope_to=None)
    assert law.slope == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("positions", "values"),
    [([5, 5, 5], [1.0, 1.0, 1.0]), ([], []), ([5], [1.0]), ([5, 6], [1.0]), ([5, 6], [1.0, float("nan")])],
)
def test_members_without_a_law_are_refused(positions: list[int], values: list[float]) -> None:
    with pytest.raises(ValueError, match=r"two different sizes|equal length|finite"):
        fit_law(positions, values)
