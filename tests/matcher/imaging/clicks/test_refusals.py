"""Clicks that cannot be measured are refused by name; all others give finite readings."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given as drawn
from hypothesis import settings
from hypothesis import strategies as st

from matcher.errors import ObservationError, ObservationErrors
from matcher.imaging.clicks.inputs import (
    ClickedRow,
    ContactLattice,
    KnownRectangle,
    Outline,
    Picture,
    PlaneDepth,
    ScaleSegment,
    Segment,
    StatedScale,
)
from matcher.imaging.clicks.picture_results import PictureResult
from matcher.imaging.clicks.reduction import measure_picture
from matcher.uncertainty.reduce import reduce
from tests.matcher.imaging.clicks.scene import SQUARE, clicks, outlined, picture, refused

# Refusals: every error names the point


def with_points(points: tuple[Any, ...]) -> Picture:
    good = picture()
    return replace(good, rows=(good.rows[0], ClickedRow(points=points)))


@pytest.mark.parametrize(
    ("given", "field"),
    [
        (with_points(((0.0, 0.0), (20.0, 0.0))), "rows[1].points"),
        (with_points(((0.0, 0.0), (20.0, 0.0), (40.0, math.nan))), "rows[1].points[2]"),
        (with_points(((0.0, 0.0), (20.0, 0.0), (1e9, 0.0))), "rows[1].points[2]"),
        (with_points(((0.0, 0.0), (20.0, 0.0), (20.2, 0.1), (40.0, 0.0))), "rows[1].points[2]"),
        (with_points(picture().rows[0].points), "rows[1].points"),
        (picture(rows=picture().rows * 3), "rows"),
        (picture(rows=(ClickedRow(points=picture().rows[0].points, feature="body_length"),)), "rows[0].feature"),
        (picture(rows=(ClickedRow(points=picture().rows[0].points, plane="ceiling"),)), "rows[0].plane"),
        (outlined(SQUARE[:3]), "outlines[0].corners"),
        (outlined((*SQUARE, (5.0, 5.0))), "outlines[0].corners"),
        (outlined(((0.0, 0.0), (200.0, 0.0), (400.0, 0.0), (0.0, 200.0))), "outlines[0].corners[1]"),
        (outlined((SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3])), "outlines[0].corners[1]"),
        (outlined((SQUARE[0], SQUARE[1], SQUARE[3], SQUARE[2])), "outlines[0].corners[2]"),
        (outlined((SQUARE[0], SQUARE[1], (100.0, 60.0), SQUARE[3])), "outlines[0].corners[2]"),
        (outlined((SQUARE[0], SQUARE[1], SQUARE[1], SQUARE[3])), "outlines[0].corners[2]"),
        (outlined((SQUARE[0], SQUARE[1], (400.0, math.inf), SQUARE[3])), "outlines[0].corners[2]"),
        (outlined(((0.0, 0.0), (400.0, 0.0), (250.0, 200.0), (150.0, 200.0))), "outlines[0].corners"),
        (outlined(((0.0, 0.0), (400.0, 0.0), (640.0, 200.0), (240.0, 200.0))), "outlines[0].corners[0]"),
        (outlined(((0.0, 0.0), (210.0, 0.0), (210.0, 200.0), (0.0, 200.0))), "outlines[0].corners"),
        (picture(outlines=(Outline(corners=SQUARE),)), "outlines[0].along"),
        (picture(outlines=(Outline(corners=SQUARE, along="body_width"),)), "outlines[0].along"),
        (picture(outlines=(Outline(corners=SQUARE, across="height"),)), "outlines[0].across"),
        (picture(segments=(Segment(start=(5.0, 5.0), end=(5.0, 5.0), feature="body_length"),)), "segments[0].end"),
        (picture(segments=(Segment(start=(5.0, 5.0), end=(5.0, 95.0), feature="body_length"),)), "segments[0].end"),
        (picture(segments=(Segment(start=(5.0, 5.0), end=(95.0, 5.0), feature="colour"),)), "segments[0].feature"),
        (picture(segments=(Segment(start=(5, 5), end=(95, 5), feature="pitch", spans=0),)), "segments[0].spans"),
        (picture(segments=(Segment(start=(5, 5), end=(95, 5), feature="body_length", spans=2),)), "segments[0].spans"),
        (picture(scale=ScaleSegment(start=(5.0, 5.0), end=(5.0, 5.0), length_mm=10.0)), "scale.end"),
        (picture(scale=ScaleSegment(start=(5.0, 5.0), end=(7.0, 5.0), length_mm=10.0)), "scale.end"),
        (picture(scale=ScaleSegment(start=(5.0, 5.0), end=(5.0, None), length_mm=10.0)), "scale.end"),  # type: ignore[arg-type]
        (picture(scale=ScaleSegment(start=(5.0, 5.0), end=(405.0, 5.0), length_mm=0.0)), "scale.length_mm"),
        (picture(scale=ScaleSegment(start=(5.0, 5.0), end=(405.0, 5.0), length_mm=1.0, u_mm=2.0)), "scale.u_mm"),
        (picture(scale=ScaleSegment(start=(5, 5), end=(405, 5), length_mm=1.0, plane="roof")), "scale.plane"),
        (picture(scale=StatedScale(px_per_mm=-3.0)), "scale.px_per_mm"),
        (picture(scale=StatedScale(px_per_mm=30.0, rel=0.5)), "scale.rel"),
        (picture(scale=StatedScale(px_per_mm=30.0), instrument="unscaled_photo"), "instrument"),
        (picture(instrument="caliper"), "instrument"),
        (picture(name=" "), "name"),
        (picture(rows=(), outlines=()), "rows"),
        (picture(rows=(), perspective=ContactLattice()), "perspective"),
        (picture(perspective=KnownRectangle(corners=SQUARE[:3], length=2.0, width=1.0)), "perspective.corners"),
        (picture(perspective=KnownRectangle(corners=SQUARE, length=0.0, width=1.0)), "perspective.length"),
        (picture(perspective=KnownRectangle(corners=SQUARE, length=1.0, width=math.nan)), "perspective.width"),
        (picture(perspective=KnownRectangle(corners=SQUARE, length=500.0, width=1.0)), "perspective.length"),
        (picture(perspective=KnownRectangle(corners=SQUARE, length=2.0, width=1.0, rel_u=-1.0)), "perspective.rel_u"),
        (picture(perspective=KnownRectangle(corners=SQUARE, length=2.0, width=1.0, plane="x")), "perspective.plane"),
        (picture(planes=(PlaneDepth(plane="attic", rel=0.1),)), "planes[0].plane"),
        (picture(planes=(PlaneDepth(plane="housing_top", rel=0.1),)), "planes[0].plane"),
        (picture(planes=(PlaneDepth(plane="lands", rel=0.1),) * 2), "planes[1].plane"),
        (picture(planes=(PlaneDepth(plane="lands"),)), "planes[0].depth_mm"),
        (picture(planes=(PlaneDepth(plane="lands", depth_mm=2.0),)), "planes[0].camera_distance_mm"),
        (picture(planes=(PlaneDepth(plane="lands", depth_mm=-60.0, camera_distance_mm=100.0),)), "planes[0].depth_mm"),
        (picture(planes=(PlaneDepth(plane="lands", rel=1.5),)), "planes[0].rel"),
        (
            picture(planes=(PlaneDepth(plane="lands", depth_mm=2.0, camera_distance_mm=99.0, u_depth_mm=-1.0),)),
            "planes[0].u_depth_mm",
        ),
        (picture(segments=(Segment(start=(0.0, 0.0), end=(1.2, 0.0), feature="body_length"),)), "segments[0].end"),
        (with_points(((0.0, 0.0), (20.0, 0.0), (90_000.0, 0.0))), "rows[1].points"),
        (picture(rows=(ClickedRow(points=picture().rows[0].points, of="mine"),)), "rows[0].of"),  # type: ignore[arg-type]
        (picture(perspective=KnownRectangle(corners=SQUARE, length=1.0, width=3.0)), "perspective.corners[0]"),
        (
            picture(perspective=KnownRectangle(corners=SQUARE, length=2.0, width=1.0, in_mm=True, rel_u=0.4)),
            "perspective.corners",
        ),
        (picture(reference_plane="moon", planes=(PlaneDepth(plane="lands", rel=0.1),)), "reference_plane"),
    ],
)
def test_clicks_that_cannot_be_measured_are_refused_by_field(given: Picture, field: str) -> None:
    assert refused(given).field == field


@settings(max_examples=150, deadline=None)
@drawn(seed=st.integers(0, 10**6))
def test_any_clicks_are_refused_by_name_or_measured(seed: int) -> None:
    rng = np.random.default_rng(seed)

    def anywhere() -> tuple[float, float]:
        return float(rng.uniform(-50.0, 1500.0)), float(rng.choice([0.0, 1e6, *rng.uniform(0.0, 900.0, 6)]))

    def steps() -> tuple[Any, ...]:
        line = np.array(anywhere()) * 0.5 + np.arange(rng.integers(2, 9))[:, None] * rng.normal(0.0, 30.0, 2)
        return clicks(line, rng, float(rng.choice([0.0, 0.5, 3.0])))

    def quad() -> tuple[Any, ...]:
        across = rng.uniform(0.2, 1.0)
        edge = rng.normal(0.0, 300.0, 2)
        other = across * np.array([-edge[1], edge[0]])
        return clicks(
            500.0 + np.array([edge * 0.0, edge, edge + other, other]), rng, float(rng.choice([0.0, 2.0, 30.0]))
        )

    known = KnownRectangle(corners=quad(), length=2.0, width=1.0, in_mm=bool(rng.integers(2)))
    given = Picture(
        name="any",
        instrument=str(rng.choice(["photo", "scanner"])),
        rows=tuple(ClickedRow(points=steps()) for _ in range(rng.integers(0, 3))),
        outlines=(Outline(corners=quad(), along="body_length", across="body_width"),)[: rng.integers(2)],
        segments=(Segment(start=anywhere(), end=anywhere(), feature="land_span"),)[: rng.integers(2)],
        scale=(None, ScaleSegment(start=anywhere(), end=anywhere(), length_mm=10.0))[rng.integers(2)],
        perspective=(None, ContactLattice(), known)[rng.integers(3)],
    )
    result, refusals = outcome(given)
    assert all(error.field and error.remedy for error in refusals)
    for reading in result.readings if result else ():
        assert 0.0 < reading.u < reading.value < math.inf
        assert reading.u < reading.u95 < math.inf
    # what is left to `reduce`: sizes in mm that no half has
    assert result is None or {error.field.split(".")[-1] for error in refusals} <= {"value"}


def outcome(given: Picture) -> tuple[PictureResult | None, list[ObservationError]]:
    """What a picture gives, and the refusals: by the picture itself or by the reduction of its observations."""
    try:
        result = measure_picture(given)
    except ObservationError as error:
        return None, [error]
    try:
        reduce(result.observations)
    except ObservationErrors as several:
        return result, list(several.errors)
    return result, []
