"""The measurement code agrees with JCGM 106, EA-4/02, NIST TN 1297 and DIN 862, and with scipy and GTC.

Each number names its document and how it is known: P read in the publisher's text, S in a secondary transcription,
C recomputed, M from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.stats
from GTC import type_b, ureal

from matcher.likelihood.error_model.tolerance_density import rectangle_normal
from matcher.observations import RECTANGULAR, BudgetLine, Observation
from matcher.uncertainty import gum
from matcher.uncertainty.coverage import coverage
from matcher.uncertainty.instruments import BUILT_IN
from matcher.uncertainty.reduce import reduce


@pytest.mark.parametrize("distance", [0.0, 0.05, 0.1, 0.3, 0.6])
def test_the_likelihood_of_a_dimension_is_the_conformity_probability_over_the_width(distance: float) -> None:
    t, u = 0.1, 0.05
    density = rectangle_normal(np.array([distance]), np.array([t]), np.array([u]))[0]
    conformity = scipy.stats.norm(distance, u).cdf(t) - scipy.stats.norm(distance, u).cdf(-t)
    assert density == pytest.approx(conformity / (2 * t), rel=1e-6)


# EA-4/02 supplement S10, vernier calliper with 0.05 mm steps, micrometres: from memory (M), recomputed (C).
CALLIPER = (0.46, 2.0, gum.resolution(50.0), gum.rectangular(50.0))


def test_the_vernier_calliper_of_ea_4_02_s10_is_reproduced() -> None:
    assert CALLIPER[2:] == pytest.approx((15, 29), abs=0.6)
    u = gum.combine(CALLIPER)
    assert u == pytest.approx(33, abs=1)
    assert u == pytest.approx(32.34, abs=5e-3)  # C
    assert u == pytest.approx(sum(ureal(0, part) for part in CALLIPER).u, rel=1e-12)


def test_the_coverage_of_ea_4_02_s10_is_that_of_a_trapezoid() -> None:
    shapes = ("normal", "normal", RECTANGULAR, RECTANGULAR)
    lines = [
        BudgetLine(source="", distribution=shape, u=part, sensitivity=1.0, contribution=part)
        for part, shape in zip(CALLIPER, shapes, strict=True)
    ]
    found = coverage(lines)
    assert found.k == pytest.approx(1.83, abs=5e-3)
    assert found.expanded / 1000 == pytest.approx(0.06, abs=5e-3)


def test_a_vernier_reading_uses_the_terms_of_ea_4_02_s10() -> None:
    (reduced,) = reduce([Observation(feature="body_length", value=100.10, instrument="vernier")])
    contributions = {line.source: 1000 * line.contribution for line in reduced.budget}
    assert contributions["step of the display"] == pytest.approx(CALLIPER[2], rel=1e-12)
    assert contributions["limit of error of the tool (shared)"] == pytest.approx(CALLIPER[3], rel=1e-12)


@pytest.mark.parametrize(("level", "printed"), [(0.95, 1.960), (0.99, 2.576)])
def test_quoted_intervals_convert_as_in_nist_tn_1297_4_3(level: float, printed: float) -> None:
    assert gum.coverage_factor(math.inf, level) == pytest.approx(printed, abs=5e-4)  # P


def test_an_even_chance_interval_converts_as_in_nist_tn_1297_4_4() -> None:
    a = 0.02
    assert a / gum.coverage_factor(math.inf, 0.5) == pytest.approx(1.48 * a, rel=3e-3)  # P


def test_a_quoted_interval_becomes_a_standard_uncertainty_as_in_gum_4_3_4() -> None:
    # GUM 4.3.4, from memory (M): a resistor certified to ± 129 µΩ at 99 % has a standard uncertainty of 50 µΩ.
    assert 129 / gum.coverage_factor(math.inf, 0.99) == pytest.approx(50, abs=0.5)


def test_a_stated_limit_is_treated_as_a_rectangle() -> None:
    (reduced,) = reduce([Observation(feature="body_length", value=6.5, plus_minus=0.03)])
    assert reduced.u == pytest.approx(type_b.uniform(0.03), rel=1e-12)  # GUM 4.3.7


def test_calliper_limits_are_those_of_din_862() -> None:
    # DIN 862 to 200 mm (S): digital 0.01: 20 µm; vernier 0.05: 50 µm; 20 µm more for inside and depth.
    digital, vernier = BUILT_IN["caliper"], BUILT_IN["vernier"]
    assert (digital.step_mm, digital.limit_mm, digital.inside_and_depth_extra_mm) == (0.01, 0.020, 0.020)
    assert (vernier.step_mm, vernier.limit_mm, vernier.inside_and_depth_extra_mm) == (0.05, 0.050, 0.020)


@pytest.mark.parametrize("name", ["caliper", "caliper_on_board", "vernier"])
def test_no_calliper_limit_is_below_its_step_as_iso_13385_1_demands(name: str) -> None:
    assert BUILT_IN[name].limit_mm >= BUILT_IN[name].step_mm  # P
