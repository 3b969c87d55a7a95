"""A disc of known diameter and thickness (a coin, a washer) as the scale of a picture."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from GTC import type_b, ureal

from matcher.imaging.clicks.inputs import ScaleSegment
from matcher.imaging.clicks.reduction import measure_picture
from tests.matcher.imaging.clicks.scene import LENGTH, PX_PER_MM, camera, clicks, picture, reduced, refused

DIAMETER, THICKNESS = 20.0, 2.0
CAMERA_MM = 100.0
"""Distance of the scene's pinhole camera from the reference plane."""


def disc(**stated: Any) -> ScaleSegment:
    """A disc on the reference plane: its upper rim is nearer to the camera by its thickness."""
    rim = camera([[-DIAMETER / 2, 12.0], [DIAMETER / 2, 12.0]], below=-THICKNESS)
    start, end = clicks(rim)
    return ScaleSegment(start=start, end=end, length_mm=DIAMETER, **stated)


def scale_of(**stated: Any) -> Any:
    return measure_picture(picture(scale=disc(**stated))).scale


def test_the_scale_is_that_of_the_plane_the_disc_lies_on() -> None:
    """A pinhole camera shows a size at distance D as f·size/D (exact for parallel planes)."""
    found = scale_of(thickness_mm=THICKNESS, camera_distance_mm=CAMERA_MM)
    assert found.px_per_mm == pytest.approx(PX_PER_MM, rel=1e-9)
    assert found.source == "disc 2 mm thick"
    lengths = reduced(picture(scale=disc(thickness_mm=THICKNESS, camera_distance_mm=CAMERA_MM)))
    assert lengths["body_length"].number == pytest.approx(LENGTH, rel=1e-9)


def test_the_rims_own_scale_would_be_wrong_by_the_thickness_over_the_distance() -> None:
    assert scale_of().px_per_mm / PX_PER_MM == pytest.approx(CAMERA_MM / (CAMERA_MM - THICKNESS), rel=1e-9)


def test_a_stated_distance_brings_a_tenth_of_itself_as_uncertainty() -> None:
    """JCGM 100:2008 (GUM) 5.1, propagated by GTC (PyPI)."""
    rim = scale_of()
    factor = 1 - THICKNESS / ureal(CAMERA_MM, CAMERA_MM / 10)
    whole = ureal(rim.px_per_mm, rim.rel * rim.px_per_mm) * factor
    found = scale_of(thickness_mm=THICKNESS, camera_distance_mm=CAMERA_MM)
    assert found.rel == pytest.approx(whole.u / whole.x, rel=1e-9)


def test_without_a_distance_the_rim_may_be_nearer_by_anything_that_a_camera_allows() -> None:
    """From far away, 0, to 50 mm: a rectangle (GUM 4.3.7). 50 mm is common practice, no source."""
    rim = scale_of()
    factor = 1 - (THICKNESS / 100 + ureal(0.0, type_b.uniform(THICKNESS / 100)))
    whole = ureal(rim.px_per_mm, rim.rel * rim.px_per_mm) * factor
    found = scale_of(thickness_mm=THICKNESS)
    assert (found.px_per_mm, found.rel) == pytest.approx((whole.x, whole.u / whole.x), rel=1e-9)
    assert abs(found.px_per_mm - PX_PER_MM) < math.sqrt(3) * found.rel * PX_PER_MM


def test_readings_share_the_uncertainty_of_the_disc() -> None:
    with_disc, flat = (
        reduced(picture(scale=disc(**stated)))["body_length"] for stated in ({"thickness_mm": THICKNESS}, {})
    )
    assert with_disc.shared is not None
    assert flat.shared is not None
    assert with_disc.shared.sd > flat.shared.sd


@pytest.mark.parametrize("thickness", [-0.1, DIAMETER, math.nan, None])
def test_a_thickness_that_no_disc_has_is_refused(thickness: Any) -> None:
    assert refused(picture(scale=disc(thickness_mm=thickness))).field == "scale.thickness_mm"


@pytest.mark.parametrize("distance", [0.0, -5.0, math.inf])
def test_a_distance_that_no_camera_has_is_refused(distance: float) -> None:
    error = refused(picture(scale=disc(thickness_mm=THICKNESS, camera_distance_mm=distance)))
    assert error.field == "scale.camera_distance_mm"


def test_a_rim_halfway_to_the_lens_gives_no_scale() -> None:
    error = refused(picture(scale=disc(thickness_mm=THICKNESS, camera_distance_mm=2 * THICKNESS)))
    assert error.field == "scale.thickness_mm"
    assert np.isfinite(error.value)
