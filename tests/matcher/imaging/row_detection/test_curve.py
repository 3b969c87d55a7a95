from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from matcher.imaging.row_detection.curve import Curve

SAMPLES = np.random.default_rng(3).normal(size=40)
CURVE = Curve(samples=SAMPLES)


def test_the_curve_is_scipys_spline_that_is_level_at_both_ends() -> None:
    places = np.linspace(0.0, 39.0, 1001)
    spline = CubicSpline(np.arange(40), SAMPLES, bc_type="clamped")
    assert CURVE.levels(places) == pytest.approx(spline(places), abs=1e-12)


def test_the_curve_goes_through_every_sample() -> None:
    assert CURVE.levels(np.arange(40.0)) == pytest.approx(SAMPLES, abs=1e-12)


def test_beyond_the_ends_lies_the_mirror_image() -> None:
    off = np.linspace(0.0, 12.0, 49)
    assert CURVE.levels(-off) == pytest.approx(CURVE.levels(off), abs=1e-12)
    assert CURVE.levels(39.0 + off) == pytest.approx(CURVE.levels(39.0 - off), abs=1e-12)


def test_tables_of_places_keep_their_shape() -> None:
    places = np.random.default_rng(4).uniform(0.0, 39.0, (5, 7))
    assert CURVE.levels(places)[2, 3] == pytest.approx(CURVE.levels(places[2, 3:4])[0], abs=1e-15)
