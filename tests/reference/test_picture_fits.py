"""Fits to clicked points agree with the GUM's example H.3, scipy and GTC.

H.3's readings are those of its table H.6 as transcribed by secondary sources; the printed results are from memory and
recomputed here (tolerance: half of their last figure).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.optimize
import scipy.stats
from GTC import get_covariance, type_a

from matcher.imaging.clicks.joint_fit import Occupied, fit_jointly
from matcher.imaging.clicks.lattice_fit import fit_lattice, polynomial_fit, unit_covariance
from matcher.imaging.clicks.rectification import homographies, mapped
from tests.matcher.imaging.clicks.scene import fit_row

# GUM table H.6: thermometer readings and observed corrections, °C.
READINGS = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTIONS = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)
REFERENCE = 20.0

# A row with sites 3, 4 and 9 left out; residuals above the floor.
SITES = np.array([0, 1, 2, 5, 6, 7, 8, 10, 11])
POSITIONS = np.array([101.3, 122.8, 140.2, 203.1, 219.8, 242.9, 261.4, 302.3, 319.7])


class Line:
    """The straight line of the lattice fit, for any x: with one coordinate it is the line of H.3."""

    def __init__(self, x: np.ndarray, y: np.ndarray) -> None:
        fitted = polynomial_fit(y[:, None], x, np.ones(len(x), dtype=bool))
        self.slope, self.intercept = fitted.step[0], fitted.origin[0] - fitted.step[0] * x.min()
        self.degrees_of_freedom = fitted.degrees_of_freedom
        self.residual_sd = math.sqrt(fitted.squares / fitted.degrees_of_freedom)
        self.covariance = self.residual_sd**2 * unit_covariance(x)

    def at(self, x: float) -> tuple[float, float]:
        row = np.array([1.0, x])
        return self.intercept + self.slope * x, math.sqrt(row @ self.covariance @ row)


def thermometer():  # type: ignore[no-untyped-def]
    return Line(np.array(READINGS) - REFERENCE, np.array(CORRECTIONS))


def test_a_line_reproduces_gum_h_3() -> None:
    line = thermometer()
    u_intercept, u_slope = np.sqrt(np.diag(line.covariance))
    assert (line.intercept, u_intercept) == pytest.approx((-0.1712, 0.0029), abs=5e-5)
    assert (line.slope, u_slope) == pytest.approx((0.00218, 0.00067), abs=5e-6)
    assert line.covariance[0, 1] / (u_intercept * u_slope) == pytest.approx(-0.930, abs=5e-4)
    assert line.residual_sd == pytest.approx(0.0035, abs=5e-5)
    assert line.degrees_of_freedom == 9
    assert line.at(30.0 - REFERENCE) == pytest.approx((-0.1494, 0.0041), abs=5e-5)


def test_a_line_agrees_with_gtc() -> None:
    line, theirs = thermometer(), type_a.line_fit([t - REFERENCE for t in READINGS], CORRECTIONS)
    intercept, slope = theirs.a_b
    assert (line.intercept, line.slope) == pytest.approx((intercept.x, slope.x), rel=1e-9)
    assert np.sqrt(np.diag(line.covariance)) == pytest.approx((intercept.u, slope.u), rel=1e-9)
    assert line.covariance[0, 1] == pytest.approx(get_covariance(intercept, slope), rel=1e-9)
    assert line.degrees_of_freedom == intercept.df


def test_a_line_agrees_with_scipy() -> None:
    x, y = np.array(READINGS), np.array(CORRECTIONS)
    line, theirs = Line(x, y), scipy.stats.linregress(x, y)
    assert (line.slope, line.intercept) == pytest.approx((theirs.slope, theirs.intercept), rel=1e-9)
    u = np.sqrt(np.diag(line.covariance))
    assert u == pytest.approx((theirs.intercept_stderr, theirs.stderr), rel=1e-9)


def test_a_lattice_is_the_line_of_position_on_site() -> None:
    lattice = fit_lattice(POSITIONS)
    assert lattice.indices == tuple(SITES)
    theirs = scipy.stats.linregress(SITES, POSITIONS)
    assert (lattice.pitch, lattice.phase) == pytest.approx((theirs.slope, theirs.intercept), rel=1e-9)
    assert lattice.click_u > 0.5  # the residuals decide, so both have the same variance
    assert (lattice.pitch_u, lattice.phase_u) == pytest.approx((theirs.stderr, theirs.intercept_stderr), rel=1e-9)


def test_a_lattice_agrees_with_gtc_in_covariance_and_degrees_of_freedom() -> None:
    lattice = fit_lattice(POSITIONS)
    phase, pitch = type_a.line_fit(SITES.tolist(), POSITIONS.tolist()).a_b
    assert lattice.covariance[0, 1] == pytest.approx(get_covariance(phase, pitch), rel=1e-9)
    assert lattice.degrees_of_freedom == pitch.df == len(SITES) - 2
    assert lattice.pitch_u95 == pytest.approx(scipy.stats.t.ppf(0.975, 7) * pitch.u, rel=1e-9)


def test_a_row_agrees_with_a_general_fit_of_both_coordinates() -> None:
    rng = np.random.default_rng(20)
    points = np.array([40.0, 30.0]) + SITES[:, None] * np.array([19.0, 6.0]) + rng.normal(0.0, 1.0, (len(SITES), 2))
    row = fit_row(points)

    def model(_: object, x: float, y: float, pitch: float, tilt: float) -> np.ndarray:
        return np.concatenate([x + SITES * pitch * math.cos(tilt), y + SITES * pitch * math.sin(tilt)])

    start = (40.0, 30.0, 20.0, 0.3)
    theirs, covariance = scipy.optimize.curve_fit(model, None, points.T.ravel(), start, xtol=1e-15, ftol=1e-15)
    assert row.lattice.click_u > 0.5
    assert (*row.origin, row.lattice.pitch, row.tilt) == pytest.approx(theirs, rel=1e-9)
    # curve_fit's own derivatives are numerical: its covariance is good to about 1e-7.
    assert (row.lattice.pitch_u, row.tilt_u) == pytest.approx(np.sqrt(np.diag(covariance))[2:], rel=1e-6)


def test_rows_in_perspective_agree_with_a_general_fit() -> None:
    rng = np.random.default_rng(21)
    truth = np.array([20.0, 2.0, -100.0, -30.0, -104.0, 32.0, 2e-4, -3e-4])

    def model(_: object, *theta: float) -> np.ndarray:
        steps = np.concatenate([SITES, SITES])[:, None] * np.array(theta[:2])
        flat = steps + np.repeat(np.array(theta[2:6]).reshape(2, 2), len(SITES), axis=0)
        return np.asarray(flat / (1.0 - flat @ np.array(theta[6:]))[:, None]).ravel()

    clicks = (model(None, *truth) + rng.normal(0.0, 0.7, 4 * len(SITES))).reshape(-1, 2)
    clicks -= clicks.mean(axis=0)  # the fit's own centre
    rows = [Occupied(points=part, sites=SITES.astype(float), group=0) for part in np.split(clicks, 2)]
    ours = fit_jointly(rows, basis=np.eye(2))
    theirs, covariance = scipy.optimize.curve_fit(model, None, clicks.ravel(), truth, xtol=1e-15, ftol=1e-15)
    assert ours.theta == pytest.approx(theirs, rel=1e-7)
    u = np.sqrt(np.diag(ours.unit_covariance) * ours.squares / ours.degrees_of_freedom)
    assert u == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-5)


def test_a_map_of_four_points_agrees_with_the_direct_linear_transformation() -> None:
    """Direct linear transformation by singular values, as in textbooks on multiple view geometry (from memory)."""
    source = np.array([[10.0, 20.0], [310.0, 35.0], [300.0, 240.0], [5.0, 210.0]])
    target = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 20.0], [0.0, 20.0]])
    equations = []
    for (x, y), (u, v) in zip(source, target, strict=True):
        equations += [[x, y, 1, 0, 0, 0, -u * x, -u * y, -u], [0, 0, 0, x, y, 1, -v * x, -v * y, -v]]
    theirs = np.linalg.svd(np.array(equations))[2][-1].reshape(3, 3)
    ours = homographies(source, target)
    assert ours == pytest.approx(theirs / theirs[2, 2], rel=1e-8, abs=1e-12)
    assert mapped(ours, source) == pytest.approx(target, abs=1e-9)
