"""The measurement code agrees with the GUM, JCGM 100:2008, and with GTC and scipy.

Numbers are those the clause prints, as transcribed by secondary sources and recomputed, unless a line says "from
memory". Printed numbers are rounded; the tolerance is half of their last figure.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import scipy.stats
from GTC import cos as gtc_cos
from GTC import get_covariance, reporting, type_a, type_b, ureal
from GTC import sin as gtc_sin

from matcher.observations import Observation
from matcher.uncertainty import gum
from matcher.uncertainty.reduce import reduce

# GUM 4.4.3, table 1: twenty temperatures, °C.
TEMPERATURES = (
    96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07,
    100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
)  # fmt: skip


def test_type_a_reproduces_gum_4_4_3() -> None:
    ours = gum.type_a(TEMPERATURES)
    assert ours.mean == pytest.approx(100.145, abs=5e-4)
    assert ours.s == pytest.approx(1.489, abs=5e-4)
    assert ours.u == pytest.approx(0.333, abs=5e-4)


def test_type_a_agrees_with_gtc_and_scipy() -> None:
    ours, theirs = gum.type_a(TEMPERATURES), type_a.estimate(TEMPERATURES)
    assert (ours.mean, ours.u, ours.degrees_of_freedom) == pytest.approx((theirs.x, theirs.u, theirs.df), rel=1e-12)
    assert ours.u == pytest.approx(scipy.stats.sem(TEMPERATURES), rel=1e-12)


def test_readings_repeated_as_in_gum_4_4_3_have_that_type_a_line_in_the_budget() -> None:
    (reduced,) = reduce([Observation(feature="body_length", readings=TEMPERATURES, instrument="micrometer")])
    assert reduced.number == pytest.approx(100.145, abs=5e-4)
    assert reduced.budget[0].contribution == pytest.approx(0.333, abs=5e-4)
    assert reduced.budget[0].degrees_of_freedom == 19


@pytest.mark.parametrize(
    ("ours", "theirs", "distribution", "divisor"),
    [
        (gum.rectangular, type_b.uniform, scipy.stats.uniform(-1, 2), math.sqrt(3)),  # GUM 4.3.7
    ],
    ids=["rectangular"],
)
def test_limits_become_standard_uncertainties_as_in_gum_4_3(ours, theirs, distribution, divisor) -> None:  # type: ignore[no-untyped-def]
    assert ours(0.5) == pytest.approx(0.5 / divisor, rel=1e-14)
    assert ours(0.5) == pytest.approx(theirs(0.5), rel=1e-12)
    assert ours(1.0) == pytest.approx(distribution.std(), rel=1e-12)


@pytest.mark.parametrize(("step", "printed"), [(0.01, 0.0028868), (0.05, 0.014434)])
def test_a_display_step_contributes_its_length_over_root_twelve_as_in_gum_f_2_2_1(step: float, printed: float) -> None:
    assert gum.resolution(step) == pytest.approx(printed, rel=2e-5)
    assert gum.resolution(step) == pytest.approx(0.29 * step, rel=5e-3)  # GUM F.2.2.1 prints 0.29 δ
    assert gum.resolution(step) == pytest.approx(type_b.uniform(step / 2), rel=1e-12)


def test_independent_contributions_add_in_quadrature_as_in_gum_5_1_2() -> None:
    assert gum.combine([3.0, 4.0]) == pytest.approx(5.0, rel=1e-15)
    assert gum.combine([3.0, 4.0]) == pytest.approx((ureal(0, 3.0) + ureal(0, 4.0)).u, rel=1e-12)


def test_welch_satterthwaite_reproduces_gum_g_4_1() -> None:
    parts, dofs = (0.25, 0.57, 0.82), (9, 4, 14)  # per cent, from n = 10, 5, 15 readings
    effective = gum.effective_dof(parts, dofs)
    assert effective == pytest.approx(19.0, abs=0.05)
    assert gum.coverage_factor(19) == pytest.approx(2.09, abs=5e-3)
    assert gum.coverage_factor(19) * gum.combine(parts) == pytest.approx(2.2, abs=0.05)
    total = sum(ureal(0, u, dof) for u, dof in zip(parts, dofs, strict=True))
    assert (gum.combine(parts), effective) == pytest.approx((total.u, total.df), rel=1e-9)


@pytest.mark.parametrize(
    ("dof", "level", "printed"),
    [(4, 0.95, 2.78), (10, 0.95, 2.23), (16, 0.99, 2.92), (math.inf, 0.95, 1.960)],
)
def test_coverage_factors_reproduce_gum_table_g_2(dof: float, level: float, printed: float) -> None:
    ours = gum.coverage_factor(dof, level)
    assert ours == pytest.approx(printed, abs=5e-3)
    assert ours == pytest.approx(scipy.stats.t.ppf((1 + level) / 2, dof), rel=1e-9)
    assert ours == pytest.approx(reporting.k_factor(dof, p=100 * level), rel=1e-6)


def test_the_misprint_of_gum_table_g_2_is_not_followed() -> None:
    assert gum.coverage_factor(35, 0.90) == pytest.approx(1.6896, abs=5e-5)  # printed 1.70; recomputed (C)


# GUM H.1, table H.1: contributions in nm. Degrees of freedom from memory: 18, 25.6, 50 and 2; the two zeros none.
END_GAUGE = (25.0, 9.7, 0.0, 0.0, 2.9, 16.6)
END_GAUGE_DOF = (18.0, 25.6, math.inf, math.inf, 50.0, 2.0)


def test_the_end_gauge_of_gum_h_1_is_reproduced_to_first_order() -> None:
    u = gum.combine(END_GAUGE)
    effective = gum.effective_dof(END_GAUGE, END_GAUGE_DOF)
    assert u**2 == pytest.approx(1002, abs=2)  # printed from unrounded contributions
    assert u == pytest.approx(32, abs=0.5)
    assert math.floor(effective) == 16
    assert gum.coverage_factor(16, 0.99) == pytest.approx(2.92, abs=5e-3)
    assert gum.coverage_factor(16, 0.99) * u == pytest.approx(
        93, abs=1
    )  # printed from the rounded 32 nm; unrounded 92.5
    total = sum(ureal(0, part, dof) for part, dof in zip(END_GAUGE, END_GAUGE_DOF, strict=True) if part)
    assert (u, effective) == pytest.approx((total.u, total.df), rel=1e-9)


# GUM H.2, table H.2: five simultaneous readings of V (volt), I (mA), φ (radian).
IMPEDANCE = np.array(
    [
        (5.007, 19.663, 1.0456),
        (4.994, 19.639, 1.0438),
        (5.005, 19.640, 1.0468),
        (4.990, 19.685, 1.0428),
        (4.999, 19.678, 1.0433),
    ]
)
# Printed values with standard uncertainties: R, X, Z in ohm.
PRINTED = {"R": (127.732, 0.071), "X": (219.847, 0.295), "Z": (254.260, 0.236)}


def _sensitivities(volt: float, ampere: float, phi: float) -> dict[str, tuple[float, np.ndarray]]:
    z = volt / ampere
    r, x = z * math.cos(phi), z * math.sin(phi)
    return {
        "R": (r, np.array([r / volt, -r / ampere, -x])),
        "X": (x, np.array([x / volt, -x / ampere, r])),
        "Z": (z, np.array([z / volt, -z / ampere, 0.0])),
    }


def _impedance() -> tuple[dict[str, tuple[float, np.ndarray]], np.ndarray]:
    """Value and signed contributions of R, X, Z, and the correlation matrix of the means."""
    readings = IMPEDANCE * (1.0, 1e-3, 1.0)
    columns = [gum.type_a(column.tolist()) for column in readings.T]
    u = np.array([column.u for column in columns])
    by_name = _sensitivities(*(column.mean for column in columns))
    return {name: (value, c * u) for name, (value, c) in by_name.items()}, np.corrcoef(readings.T)


def _correlated(contributions: np.ndarray, correlation: np.ndarray) -> float:
    """Combined standard uncertainty of signed contributions (GUM 5.2.2)."""
    return math.sqrt(float(contributions @ correlation @ contributions))


def test_the_impedance_of_gum_h_2_is_reproduced_with_correlated_inputs() -> None:
    outputs, correlation = _impedance()
    for name, (printed, printed_u) in PRINTED.items():
        value, contributions = outputs[name]
        assert value == pytest.approx(printed, abs=5e-4)
        assert _correlated(contributions, correlation) == pytest.approx(printed_u, abs=6e-4)


def test_the_outputs_of_gum_h_2_correlate_as_printed() -> None:
    outputs, correlation = _impedance()
    printed = {("R", "X"): -0.588, ("R", "Z"): -0.485, ("X", "Z"): 0.993}
    for (one, other), r in printed.items():
        a, b = outputs[one][1], outputs[other][1]
        u_sum, u_a, u_b = (_correlated(part, correlation) for part in (a + b, a, b))
        assert (u_sum**2 - u_a**2 - u_b**2) / (2 * u_a * u_b) == pytest.approx(r, abs=6e-4)


def test_the_impedance_of_gum_h_2_agrees_with_gtc() -> None:
    outputs, correlation = _impedance()
    volt, milliampere, phi = type_a.multi_estimate_real(IMPEDANCE.T.tolist())
    z = volt / (milliampere * 1e-3)
    theirs = {"R": z * gtc_cos(phi), "X": z * gtc_sin(phi), "Z": z}
    for name, result in theirs.items():
        value, contributions = outputs[name]
        ours = (value, _correlated(contributions, correlation))
        assert ours == pytest.approx((result.x, result.u), rel=1e-9)
    for one, other in itertools.combinations(theirs, 2):
        covariance = outputs[one][1] @ correlation @ outputs[other][1]
        assert covariance == pytest.approx(get_covariance(theirs[one], theirs[other]), rel=1e-6)
