"""Weighted mean, Birge ratio and E_n of evidence agree with independent libraries and their definitions.

The Birge ratio √(χ²/(n−1)) and E_n = (x − X)/√(U_x² + U_X²), |E_n| ≤ 1 (ISO 13528, ISO/IEC 17043) are from
memory; weighted means, χ² and their distribution are compared with numpy, scipy, uncertainties and GTC.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.optimize
import scipy.stats
import uncertainties
from GTC import type_b, ureal

from catalog.evidence.agreement import Verdict, agreement, stated
from catalog.evidence.values import MeasuredValue
from matcher.uncertainty.interlaboratory import consensus_value, normalised_error
from tests.catalog.evidence.evidence_examples import half

CASES = {
    "two people": ([6.45, 6.58], [0.03, 0.05], [0.1, 0.1]),
    "very unequal": ([6.45, 6.60, 6.50], [0.002, 0.3, 0.03], [0.0, 0.0, 0.0]),
    "pitches over other gaps": ([0.4995, 0.5012, 0.5003, 0.4988], [2e-3, 2e-3, 5e-4, 1e-2], [5e-3, 5e-3, 2.5e-3, 5e-2]),
    "one far off": ([6.50, 6.51, 6.49, 7.40], [0.03] * 4, [0.05] * 4),
    "far from zero": ([250.001, 250.012, 249.996], [0.004, 0.009, 0.003], [0.0, 0.01, 0.02]),
}


def spreads(u: list[float], half_widths: list[float]) -> list[float]:
    """Own uncertainty and the rectangle of the process combined by GTC."""
    return [
        float((ureal(0.0, own) + ureal(0.0, type_b.uniform(half_width))).u)
        for own, half_width in zip(u, half_widths, strict=True)
    ]


@pytest.mark.parametrize(("values", "u", "half_widths"), CASES.values(), ids=CASES.keys())
def test_the_weighted_mean_is_least_squares_by_numpy_and_scipy(
    values: list[float], u: list[float], half_widths: list[float]
) -> None:
    found, sigma = consensus_value(values, u, half_widths), spreads(u, half_widths)
    # polyfit of degree 0 minimises Σ(w·(x−m))² with w = 1/σ; "unscaled" keeps σ absolute
    fitted, covariance = np.polyfit(range(len(values)), values, 0, w=1 / np.array(sigma), cov="unscaled")
    assert found.value == pytest.approx(fitted[0], rel=1e-10)
    own_u = found.u / max(found.birge_ratio or 1.0, 1.0)
    assert own_u == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-9)
    theirs, pcov = scipy.optimize.curve_fit(
        lambda x, m: m + 0.0 * x, np.arange(len(values)), values, p0=[values[0]], sigma=sigma, absolute_sigma=True
    )
    assert found.value == pytest.approx(theirs[0], rel=1e-8)
    assert own_u == pytest.approx(math.sqrt(pcov[0, 0]), rel=1e-6)


@pytest.mark.parametrize(("values", "u", "half_widths"), CASES.values(), ids=CASES.keys())
def test_an_inflated_uncertainty_equals_that_of_scipy_scaled_by_the_residuals(
    values: list[float], u: list[float], half_widths: list[float]
) -> None:
    # curve_fit with relative sigma multiplies the covariance by χ²/(n−1): the square of the Birge ratio.
    _, pcov = scipy.optimize.curve_fit(
        lambda x, m: m + 0.0 * x, np.arange(len(values)), values, p0=[values[0]], sigma=spreads(u, half_widths)
    )
    found = consensus_value(values, u, half_widths)
    assert found.birge_ratio is not None
    scaled = found.u if found.birge_ratio > 1.0 else found.u * found.birge_ratio
    assert scaled == pytest.approx(math.sqrt(pcov[0, 0]), rel=1e-5)


@pytest.mark.parametrize(("values", "u", "half_widths"), CASES.values(), ids=CASES.keys())
def test_value_and_uncertainty_agree_with_gtc_and_uncertainties(
    values: list[float], u: list[float], half_widths: list[float]
) -> None:
    found, sigma = consensus_value(values, u, half_widths), spreads(u, half_widths)
    weights = [1 / each**2 for each in sigma]
    in_gtc = sum(w * ureal(x, s) for w, x, s in zip(weights, values, sigma, strict=True)) / sum(weights)
    in_uncertainties = sum(
        w * uncertainties.ufloat(x, s) for w, x, s in zip(weights, values, sigma, strict=True)
    ) / sum(weights)
    own_u = found.u / max(found.birge_ratio or 1.0, 1.0)
    assert (found.value, own_u) == pytest.approx((in_gtc.x, in_gtc.u), rel=1e-9)
    assert (found.value, own_u) == pytest.approx((in_uncertainties.n, in_uncertainties.s), rel=1e-9)


def test_a_worked_example_by_hand() -> None:
    # 10.1(1), 10.3(2), 9.9(2): weights 100, 25, 25; mean 10.1; χ² = 0 + 1 + 1; ratio √(2/2) = 1; u = 1/√150
    found = consensus_value([10.1, 10.3, 9.9], [0.1, 0.2, 0.2], [0.0, 0.0, 0.0])
    assert (found.value, found.u, found.birge_ratio) == pytest.approx((10.1, 1 / math.sqrt(150), 1.0), rel=1e-9)
    assert found.p == pytest.approx(scipy.stats.chi2.sf(2.0, 2), rel=1e-9)


@pytest.mark.parametrize("people", [2, 3, 6])
def test_the_birge_ratio_of_normal_values_follows_the_chi_squared_distribution(people: int) -> None:
    rng = np.random.default_rng(20261125 + people)
    ratios = []
    for _ in range(3000):
        u = rng.uniform(0.01, 0.1, people)
        found = consensus_value(rng.normal(6.5, u).tolist(), u.tolist(), [0.0] * people)
        assert found.birge_ratio is not None
        ratios.append(found.birge_ratio)
    test = scipy.stats.kstest(np.square(ratios) * (people - 1), scipy.stats.chi2(people - 1).cdf)
    assert test.pvalue > 0.001


def test_values_that_scatter_by_the_process_alone_are_explained_by_it() -> None:
    """If only the process scatters, the Birge ratios have a mean square of 1, by the variance of the rectangle."""
    rng = np.random.default_rng(1)
    squares = []
    for _ in range(3000):
        found = consensus_value(rng.uniform(6.4, 6.6, 5).tolist(), [1e-4] * 5, [0.1] * 5)
        squares.append((found.birge_ratio or 0.0) ** 2)
    assert np.mean(squares) == pytest.approx(1.0, abs=0.03)


# E_n

EN = (
    # x, X, U_x, U_X: a reference laboratory's and a participant's value; |E_n| by the definition, from memory
    (10.30, 10.00, 0.30, 0.40, 0.6),
    (10.50, 10.00, 0.30, 0.40, 1.0),
    (9.25, 10.00, 0.30, 0.40, 1.5),
    (5.00, 5.00, 0.01, 0.02, 0.0),
)


@pytest.mark.parametrize(("x", "reference", "expanded", "reference_expanded", "e_n"), EN)
def test_e_n_follows_its_definition(
    x: float, reference: float, expanded: float, reference_expanded: float, e_n: float
) -> None:
    assert normalised_error(x - reference, expanded, reference_expanded) == pytest.approx(e_n, abs=1e-12)
    assert normalised_error(reference - x, reference_expanded, expanded) == pytest.approx(e_n, abs=1e-12)


@pytest.mark.parametrize(("x", "reference", "expanded", "reference_expanded", "e_n"), EN)
def test_the_agreement_of_an_entry_is_e_n_with_tolerance_and_expanded_uncertainty(
    x: float, reference: float, expanded: float, reference_expanded: float, e_n: float
) -> None:
    entry = stated(half(dimensions={"body_length": {"value": reference, "tolerance": reference_expanded}}))
    value = MeasuredValue.model_validate({"feature": "body_length", "value": x, "expanded_u": expanded, "k": 2})
    found = agreement(value, entry)
    assert found.e_n == pytest.approx(e_n, abs=1e-9)
    assert found.difference == pytest.approx(abs(x - reference), abs=1e-9)


def test_one_in_twenty_right_measurements_of_an_exact_size_is_off_and_few_contradict() -> None:
    """U = 2u: beyond |E_n| = 1 lie 4.55 % of a normal, beyond 1.5 lie 0.27 % (scipy)."""
    rng = np.random.default_rng(3)
    entry = stated(half(dimensions={"body_length": {"value": 6.5, "tolerance": 0.0}}))
    verdicts = [
        agreement(MeasuredValue(feature="body_length", value=x, u=0.03, given=x), entry).verdict
        for x in rng.normal(6.5, 0.03, 20_000)
    ]
    against = sum(verdict.against for verdict in verdicts) / len(verdicts)
    contradict = verdicts.count(Verdict.CONTRADICTS) / len(verdicts)
    assert against == pytest.approx(2 * scipy.stats.norm.sf(2.0), abs=0.005)
    assert contradict == pytest.approx(2 * scipy.stats.norm.sf(3.0), abs=0.0012)
