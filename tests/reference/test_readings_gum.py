"""Readings agree with GTC, scipy and uncertainties, and with the GUM, JCGM 101 and EA-4/02.

Each printed number says how it is known: S in a secondary transcription, M from memory, C recomputed.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.optimize
import scipy.stats
import uncertainties
from GTC import get_covariance, reporting, type_a, type_b, ureal

from matcher.observations import BudgetLine, Observation
from matcher.uncertainty.coverage import coverage
from matcher.uncertainty.reduce import Measured, measure_readings, reduce
from matcher.uncertainty.repeated_readings import covariance
from matcher.uncertainty.weighted_mean import weighted_mean
from matcher.uncertainty.zero_error import with_closed_jaws

CALIPER = (6.50, 0.02, 0.01 / math.sqrt(12), 0.02 / math.sqrt(3))  # reading, feel, step, limit of the built-in entry
VERNIER = (6.55, 0.03, 0.05 / math.sqrt(12), 0.05 / math.sqrt(3))


def measured(*given: Observation) -> Measured:
    """The single result of the readings."""
    (result,) = measure_readings(given).measured
    return result


# Repeats

STEPS = {
    "wide scatter": (6.48, 6.52, 6.50, 6.55, 6.47),
    "three steps": (6.50, 6.51, 6.52),
    "two neighbours": (6.50, 6.51, 6.51, 6.51),
    "two neighbours, two readings": (6.50, 6.51),
    "all equal": (6.50,) * 4,
}


@pytest.mark.parametrize("readings", STEPS.values(), ids=STEPS.keys())
def test_repeats_are_never_below_the_digitised_type_a_of_gtc(readings: tuple[float, ...]) -> None:
    (reduced,) = reduce([Observation(feature="body_length", readings=readings)])
    theirs = type_a.estimate_digitized(readings, 0.01)  # R. Willink, Metrologia 44 (2007) 73–81
    display = reduced.budget[0]
    assert reduced.number == pytest.approx(theirs.x, rel=1e-12)
    assert display.contribution >= theirs.u * (1 - 1e-9)


@pytest.mark.parametrize("name", ["wide scatter", "three steps", "all equal"])
def test_repeats_that_scatter_over_steps_or_not_at_all_equal_gtc(name: str) -> None:
    (reduced,) = reduce([Observation(feature="body_length", readings=STEPS[name])])
    assert reduced.budget[0].contribution == pytest.approx(type_a.estimate_digitized(STEPS[name], 0.01).u, rel=1e-9)


def test_two_or_three_equal_readings_count_less_than_in_gtc_since_the_edge_is_added() -> None:
    (reduced,) = reduce([Observation(feature="body_length", readings=(6.5, 6.5))])
    theirs = type_a.estimate_digitized((6.5, 6.5), 0.01)
    assert reduced.budget[0].contribution < theirs.u < reduced.u


def test_a_result_of_repeats_agrees_with_gtc_in_value_uncertainty_and_degrees_of_freedom() -> None:
    readings = STEPS["wide scatter"]
    theirs = type_a.estimate(readings) + ureal(0, 0.02) + ureal(0, type_b.uniform(0.02))
    ours = measured(Observation(feature="body_length", readings=readings))
    assert (ours.value, ours.u) == pytest.approx((theirs.x, theirs.u), rel=1e-12)
    assert ours.degrees_of_freedom == pytest.approx(theirs.df, rel=1e-9)


def test_a_budget_agrees_with_gtc() -> None:
    readings = STEPS["wide scatter"]
    scatter = type_a.estimate(readings, label="scatter")
    edge, zero = ureal(0, 0.02, label="edge"), ureal(0, type_b.uniform(0.02), label="zero")
    theirs = sorted(part.u for part in reporting.budget(scatter + edge + zero))
    ours = measured(Observation(feature="body_length", readings=readings))
    assert sorted(line.contribution for line in ours.budget) == pytest.approx(theirs, rel=1e-12)


def test_outer_minus_width_agrees_with_gtc_where_the_zero_error_cancels() -> None:
    zero = ureal(0, type_b.uniform(0.02))
    outer = ureal(4.55, 0.02) + ureal(0, type_b.uniform(0.005)) + zero
    width = ureal(0.15, 0.02) + ureal(0, type_b.uniform(0.005)) + zero
    theirs = (outer - width) / 11
    ours = measured(Observation(feature="pitch", value=4.55, less=0.15, spans=11))
    assert (ours.value, ours.u) == pytest.approx((theirs.x, theirs.u), rel=1e-12)


def test_a_zero_corrected_reading_agrees_with_gtc() -> None:
    jaws = (0.03, 0.05, 0.04, 0.06, 0.02)
    theirs = ureal(6.5, 0.02) + ureal(0, type_b.uniform(0.005)) - type_a.estimate(jaws)
    instruments = with_closed_jaws(closed_jaws={"caliper": jaws})
    (ours,) = measure_readings([Observation(feature="body_length", value=6.5)], instruments).measured
    assert (ours.value, ours.u, ours.degrees_of_freedom) == pytest.approx((theirs.x, theirs.u, theirs.df), rel=1e-9)
    assert ours.k == pytest.approx(reporting.k_factor(theirs.df), rel=2e-3)  # a small rectangle is included


# Weighted mean

VALUES, U = (6.50, 6.55, 6.47, 6.52), (0.02, 0.05, 0.03, 0.01)


def test_the_weighted_mean_and_its_chi_squared_agree_with_scipy() -> None:
    fitted, variance = scipy.optimize.curve_fit(
        lambda x, size: size + 0 * x, np.arange(4), VALUES, p0=[6.5], sigma=U, absolute_sigma=True
    )
    ours = weighted_mean(VALUES, U)
    chi2 = float((((np.array(VALUES) - fitted[0]) / U) ** 2).sum())
    assert (ours.value, ours.u) == pytest.approx((fitted[0], math.sqrt(variance[0, 0])), rel=1e-7)
    assert (ours.chi2, ours.degrees_of_freedom) == (pytest.approx(chi2, rel=1e-7), 3)
    assert ours.p == pytest.approx(scipy.stats.chi2.sf(chi2, 3), rel=1e-7)


def test_the_weighted_mean_agrees_with_uncertainties_and_gtc() -> None:
    weights = np.array(U) ** -2 / (np.array(U) ** -2).sum()
    ours = weighted_mean(VALUES, U)
    assert ours.weights == pytest.approx(weights, rel=1e-12)
    theirs = sum(w * uncertainties.ufloat(x, u) for w, x, u in zip(weights, VALUES, U, strict=True))
    assert (ours.value, ours.u) == pytest.approx((theirs.nominal_value, theirs.std_dev), rel=1e-12)
    of_gtc = sum(float(w) * ureal(x, u) for w, x, u in zip(weights, VALUES, U, strict=True))
    assert (ours.value, ours.u) == pytest.approx((of_gtc.x, of_gtc.u), rel=1e-12)


@pytest.mark.parametrize(("dof", "printed"), [(1, 3.841), (2, 5.991), (3, 7.815), (4, 9.488), (5, 11.070), (6, 12.592)])
def test_chi_squared_has_its_tabulated_values(dof: int, printed: float) -> None:
    # χ² at 95 %, as tables print it (C): two clusters of readings, so far apart that their χ² is the printed number.
    values = [0.0] * dof + [math.sqrt(printed * (dof + 1) / dof)]
    assert weighted_mean(values, [1.0] * (dof + 1)).chi2 == pytest.approx(printed, rel=1e-9)
    assert weighted_mean(values, [1.0] * (dof + 1)).p == pytest.approx(0.05, abs=5e-5)


def test_the_birge_ratio_is_the_root_of_chi_squared_over_its_degrees_of_freedom() -> None:
    # √(χ²/(n − 1)) of the weighted mean (Birge 1932, M): external over internal uncertainty.
    ours, weights = weighted_mean(VALUES, U), np.array(U) ** -2
    external = math.sqrt((weights * (np.array(VALUES) - ours.value) ** 2).sum() / (3 * weights.sum()))
    assert math.sqrt(ours.chi2 / 3) == pytest.approx(external / ours.u, rel=1e-9)


def test_two_readings_at_the_limit_of_contradiction_have_the_expected_normalised_error() -> None:
    # E_n = (x − X)/√(U_x² + U_X²) (ISO 13528, M) is with k = 2 half the root of χ² of two readings.
    ours = weighted_mean([6.5, 6.6], [0.02, 0.03])
    assert math.sqrt(ours.chi2) / 2 == pytest.approx(0.1 / math.hypot(0.04, 0.06), rel=1e-9)


def test_two_instruments_combined_agree_with_gtc_in_uncertainty_and_shared_error() -> None:
    zeros = [ureal(0, each[3]) for each in (CALIPER, VERNIER)]
    readings = [
        ureal(x, feel) + ureal(0, step) + z for (x, feel, step, _), z in zip((CALIPER, VERNIER), zeros, strict=True)
    ]
    weights = np.array([each.u**-2 for each in readings])
    theirs = sum(float(w) * each for w, each in zip(weights / weights.sum(), readings, strict=True))
    another = ureal(2.5, 0.02) + zeros[0]
    given = [
        Observation(feature="body_length", value=CALIPER[0]),
        Observation(feature="body_length", value=VERNIER[0], instrument="vernier"),
        Observation(feature="body_width", value=2.5),
    ]
    both, width = reduce(given)
    assert (both.number, both.total_u) == pytest.approx((theirs.x, theirs.u), rel=1e-9)
    assert covariance([both, width])[0, 1] == pytest.approx(get_covariance(theirs, another), rel=1e-9)


def test_instruments_that_share_an_error_are_combined_by_least_squares_as_in_gtc() -> None:
    zero = ureal(0, CALIPER[3])
    readings = [ureal(x, feel) + ureal(0, CALIPER[2]) + zero for x, feel in ((6.50, 0.02), (6.55, 0.05))]
    matrix = np.array([[get_covariance(a, b) for b in readings] for a in readings])
    precision = np.linalg.inv(matrix).sum(axis=0)
    theirs = sum(float(w) * each for w, each in zip(precision / precision.sum(), readings, strict=True))
    on_board = Observation(feature="body_length", value=6.55, instrument="caliper_on_board")
    ours = measured(Observation(feature="body_length", value=6.50), on_board)
    assert (ours.value, ours.u) == pytest.approx((theirs.x, theirs.u), rel=1e-9)


# Coverage


def lines(*parts: tuple[str, float]) -> list[BudgetLine]:
    """Budget lines with the given distribution and contribution."""
    return [BudgetLine(source="any", distribution=d, u=u, sensitivity=1.0, contribution=u) for d, u in parts]


def test_the_vernier_calliper_of_ea_4_02_s10_has_the_factor_1_83() -> None:
    # EA-4/02 S10 (M, C): 0.46, 2.0, 15 and 29 µm, two rectangles dominate: k 1.83, U 0.06 mm.
    parts = [("normal", 0.46), ("normal", 2.0), ("rectangular", 50 / math.sqrt(12)), ("rectangular", 50 / math.sqrt(3))]
    result = coverage(lines(*parts))
    assert result.u == pytest.approx(32.34, abs=5e-3)
    assert result.k == pytest.approx(1.83, abs=5e-3)
    assert result.expanded / 1000 == pytest.approx(0.06, abs=5e-3)


def test_a_vernier_reading_has_the_coverage_of_ea_4_02_s10() -> None:
    sharp = Observation(feature="body_length", value=100.1, instrument="vernier")
    lines_of_display = [line for line in measured(sharp).budget if line.distribution == "rectangular"]
    assert coverage(lines_of_display).k == pytest.approx(1.8339, abs=5e-4)


def test_four_normals_and_four_rectangles_agree_with_jcgm_101_9_2() -> None:
    # JCGM 101 9.2.2 and 9.2.3 (S, C): ± 3.92 and ± 3.88 (exact 3.8794); beyond two, rectangles count as normal.
    assert coverage(lines(*[("normal", 1.0)] * 4)).expanded == pytest.approx(3.92, abs=5e-3)
    assert coverage(lines(*[("rectangular", 1.0)] * 4)).expanded == pytest.approx(3.8794, rel=5e-3)


def test_budget_lines_reproduce_gum_g_4_1() -> None:
    # GUM G.4.1 (S, C): 0.25, 0.57 and 0.82 % from 10, 5 and 15 readings: 19.0 degrees of freedom, 2.09, 2.2 %.
    parts = ((0.25, 9.0), (0.57, 4.0), (0.82, 14.0))
    budget = [
        BudgetLine(
            source="any", distribution="normal, type A", u=u, sensitivity=1.0, contribution=u, degrees_of_freedom=v
        )
        for u, v in parts
    ]
    result = coverage(budget)
    assert result.degrees_of_freedom == pytest.approx(19.0, abs=0.05)
    assert (result.k, result.expanded) == (pytest.approx(2.09, abs=5e-3), pytest.approx(2.2, abs=0.05))
