"""Perspective corrected by a rectangle or by the contacts' own lattice, and the scales of other planes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from matcher.imaging.clicks.inputs import ClickedRow, ContactLattice, PlaneDepth, StatedScale
from matcher.imaging.clicks.rectification import from_rectangle, homographies, mapped
from matcher.imaging.clicks.reduction import measure_picture
from matcher.uncertainty.instruments import OTHER_PLANE_REL
from matcher.uncertainty.reduce import reduce
from tests.matcher.imaging.clicks.scene import (
    LENGTH,
    PITCH,
    PX_PER_MM,
    SPACING,
    SQUARE,
    WIDTH,
    camera,
    clicks,
    corners_mm,
    outlined,
    picture,
    rectangle,
    reduced,
    row_mm,
    ruler,
)

# Perspective


def test_a_known_rectangle_corrects_the_perspective() -> None:
    tilt = (0.25, -0.2)
    given = picture(tilt=tilt, perspective=rectangle(tilt=tilt), instrument="photo")
    found = reduced(given)
    truth = {"pitch": PITCH, "row_spacing": SPACING, "body_length": LENGTH, "body_width": WIDTH}
    for name, expected in truth.items():
        assert found[name].value == pytest.approx(expected, rel=1e-9)


def test_without_a_rectangle_the_same_picture_is_off_and_says_so() -> None:
    tilt = (0.25, -0.2)
    found = measure_picture(picture(tilt=tilt, scale=ruler(plane="housing_top")))
    length = next(one for one in found.readings if one.observation.feature == "body_length")
    assert any(line.source == "opposite edges differ" and line.contribution > 0.1 for line in length.budget)
    assert abs(length.value / PX_PER_MM - LENGTH) > 0.1


def test_the_rectangles_proportions_are_enough_for_ratios() -> None:
    tilt = (0.25, -0.2)
    known = replace(rectangle(tilt=tilt), length=200.0, width=120.0, in_mm=False)
    result = measure_picture(picture(tilt=tilt, perspective=known))
    found = {one.feature: one for one in reduce(result.observations)}
    assert result.scale is None
    assert found["body_length"].number / found["body_width"].number == pytest.approx(LENGTH / WIDTH, rel=1e-9)
    assert found["row_spacing"].number / found["pitch"].number == pytest.approx(SPACING / PITCH, rel=1e-9)


def test_parallel_planes_are_straightened_by_one_map() -> None:
    """All parallel planes share one vanishing line; a lower plane only looks smaller."""
    tilt = (0.2, 0.15)
    straight = from_rectangle(rectangle(tilt=tilt), 0.5)
    below = straight.now(camera(corners_mm(LENGTH, WIDTH), tilt=tilt, below=3.0))
    edges = np.linalg.norm(np.roll(below, -1, axis=0) - below, axis=1)
    assert edges[0] == pytest.approx(edges[2], rel=1e-9)
    assert edges[0] / edges[1] == pytest.approx(LENGTH / WIDTH, rel=1e-9)


def test_two_rows_of_contacts_show_lengths_along_them_in_pitches() -> None:
    tilt = (0.12, -0.2)
    result = measure_picture(picture(tilt=tilt, perspective=ContactLattice()))
    found = {one.feature: one for one in reduce(result.observations)}
    assert found["body_length"].number / found["pitch"].number == pytest.approx(LENGTH / PITCH, rel=1e-3)
    assert result.click_u == 0.5
    # across compared with along: off by the cosine of the tilt, which no lattice shows
    ratio = found["row_spacing"].number / found["pitch"].number / (SPACING / PITCH)
    assert ratio == pytest.approx(math.cos(0.12) / math.cos(0.2), rel=5e-3)


def test_one_row_shows_the_change_of_scale_along_itself_alone() -> None:
    def measured(tilt: tuple[float, float]) -> dict[str, Any]:
        given = picture(tilt=tilt, perspective=ContactLattice())
        result = measure_picture(replace(given, rows=given.rows[:1]))
        return {reading.observation.feature: reading for reading in result.readings}

    def differing(reading: Any) -> float:
        return sum(line.contribution for line in reading.budget if "opposite" in line.source)

    along, both = measured((0.0, 0.3)), measured((0.3, 0.3))
    assert along["body_length"].value / along["pitch"].value * 11 == pytest.approx(LENGTH / PITCH, rel=2e-3)
    assert differing(along["body_width"]) == pytest.approx(0.0, abs=1e-3)
    assert differing(both["body_length"]) > 0.5


def test_a_scanner_held_square_has_no_foreshortening() -> None:
    result = measure_picture(picture(instrument="scanner", scale=StatedScale(px_per_mm=PX_PER_MM)))
    assert not any("foreshortening" in line.source for budget in result.budgets for line in budget)


@pytest.mark.parametrize("kind", ["none", "rectangle", "two rows", "one row"])
def test_uncertainty_through_the_perspective_agrees_with_monte_carlo(kind: str) -> None:
    """The scatter of each reading over 400 clicked pictures equals its u within 12 % (400 runs give it to 3.5 %)."""
    tilt, sd = (0.2, -0.15), 1.5
    rng = np.random.default_rng(100)
    runs: dict[str, list[tuple[float, float]]] = {}
    for _ in range(400):
        known = {"none": None, "rectangle": rectangle(rng, sd, tilt)}.get(kind, ContactLattice())
        given = picture(rng, sd, (0.0, 0.0) if kind == "none" else tilt, perspective=known, instrument="scanner")
        given = replace(given, rows=given.rows[:1]) if kind == "one row" else given
        for reading in measure_picture(given).readings:
            clicks_u = math.hypot(*(line.contribution for line in reading.budget if "click" in line.source))
            spans = reading.observation.spans  # a stray at the row's end changes it
            runs.setdefault(reading.observation.feature, []).append((reading.value / spans, clicks_u / spans))
    for feature, pairs in runs.items():
        values, us = np.array(pairs).T
        assert np.std(values, ddof=1) == pytest.approx(np.sqrt(np.mean(us**2)), rel=0.12), feature


# Planes


def test_another_plane_carries_the_default_uncertainty_even_where_most_readings_lie() -> None:
    """The ruler lies on the housing; all readings of contacts are in the mating face."""
    found = reduced(picture(outlines=(), scale=ruler(plane="housing_top")))
    assert found["pitch"].u == pytest.approx(
        math.hypot(0.5 / math.sqrt(286.0) / PX_PER_MM, OTHER_PLANE_REL * PITCH), rel=1e-6
    )


def test_a_stated_depth_corrects_the_scale_and_leaves_the_uncertainty_of_the_correction() -> None:
    rows = (ClickedRow(points=clicks(camera(row_mm(0.0), below=2.0))),)
    depth = PlaneDepth(
        plane="mating_face", depth_mm=2.0, camera_distance_mm=100.0, u_depth_mm=0.1, u_camera_distance_mm=5.0
    )
    given = picture(rows=rows, outlines=(), scale=ruler(plane="housing_top"), planes=(depth,))
    pitch = reduced(given)["pitch"]
    assert pitch.value == pytest.approx(PITCH, rel=1e-9)
    residual = math.hypot(0.1 / 100.0, 2.0 * 5.0 / 100.0**2) / 1.02
    plane = next(line for line in pitch.budget if "plane" in line.source)
    assert plane.u == pytest.approx(residual, rel=1e-9)


def test_a_stated_depth_corrects_an_unscaled_picture_to_its_reference_plane() -> None:
    rows = (ClickedRow(points=clicks(camera(row_mm(0.0), below=2.0))),)
    depth = PlaneDepth(plane="mating_face", depth_mm=2.0, camera_distance_mm=100.0)
    found = reduced(picture(rows=rows, planes=(depth,)))
    assert found["body_length"].number / found["pitch"].number == pytest.approx(LENGTH / PITCH, rel=1e-9)
    assert not any("plane" in line.source for line in found["body_length"].budget)
    assert any("plane" in line.source for line in found["pitch"].budget)


def test_without_a_stated_depth_an_unscaled_picture_keeps_the_plane_of_most_readings() -> None:
    result = measure_picture(picture())
    assert {one.plane_rel for one in result.observations} == {None}


def test_a_planes_relative_uncertainty_may_be_stated_itself() -> None:
    depth = PlaneDepth(plane="mating_face", rel=0.004)
    found = reduced(picture(outlines=(), scale=ruler(plane="housing_top"), planes=(depth,)))
    assert next(line for line in found["pitch"].budget if "plane" in line.source).u == 0.004


@pytest.mark.parametrize("turned", [False, True])
def test_corners_may_be_given_in_either_direction_from_any_corner(turned: bool) -> None:
    corners = SQUARE[::-1] if turned else SQUARE
    for first in range(4):
        found = reduced(outlined((*corners[first:], *corners[:first])))
        assert (found["body_length"].value, found["body_width"].value) == pytest.approx((400.0, 200.0))


def test_mapping_many_quadrilaterals_at_once_equals_mapping_each() -> None:
    rng = np.random.default_rng(4)
    many = np.array(SQUARE) + rng.normal(0.0, 20.0, (5, 4, 2))
    together = mapped(homographies(many, np.array(SQUARE)), many)
    for one in together:
        assert one == pytest.approx(np.array(SQUARE), abs=1e-8)
