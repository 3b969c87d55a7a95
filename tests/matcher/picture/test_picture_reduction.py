"""From a whole picture's clicks to what the likelihood uses: values, uncertainties, planes, scale, refusals."""

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
from matcher.instruments import BUILT_IN, OTHER_PLANE_REL
from matcher.measurement import reduce
from matcher.observations import Of, Reduced
from matcher.picture.given import (
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
from matcher.picture.homography import homographies, mapped
from matcher.picture.measured import PictureResult
from matcher.picture.perspective import from_rectangle
from matcher.picture.reduction import measure_picture
from matcher.picture.relations import layout_of
from matcher.picture.setting import FORESHORTENING, LENS

PX_PER_MM = 40.0
PITCH, SPACING, LENGTH, WIDTH = 0.5, 2.0, 6.4, 3.1
CENTRE = np.array([900.0, 700.0])


def camera(points_mm: Any, *, tilt: tuple[float, float] = (0.0, 0.0), below: float = 0.0) -> np.ndarray:
    """Where a pinhole camera 100 mm above sees points (n × 2, mm) of a plane ``below`` mm under the reference plane.

    ``tilt`` turns the part about the x and y axes, rad; without it the reference plane has PX_PER_MM.
    """
    points = np.asarray(points_mm, dtype=np.float64)
    ax, ay = tilt
    about_x = np.array([[1, 0, 0], [0, math.cos(ax), -math.sin(ax)], [0, math.sin(ax), math.cos(ax)]])
    about_y = np.array([[math.cos(ay), 0, math.sin(ay)], [0, 1, 0], [-math.sin(ay), 0, math.cos(ay)]])
    space = np.column_stack([points, np.full(len(points), below)]) @ (about_y @ about_x).T
    return CENTRE + 100.0 * PX_PER_MM * space[:, :2] / (100.0 + space[:, 2:])


def clicks(points: np.ndarray, rng: np.random.Generator | None = None, sd: float = 0.0) -> tuple[Any, ...]:
    noise = 0.0 if rng is None else rng.normal(0.0, sd, points.shape)
    return tuple(map(tuple, (points + noise).tolist()))


def row_mm(y: float, *, start: float = 0.0, count: int = 12) -> np.ndarray:
    return np.column_stack([(np.arange(count) - (count - 1) / 2) * PITCH + start, np.full(count, y)])


def corners_mm(length: float, width: float) -> np.ndarray:
    return np.array([[-length, -width], [length, -width], [length, width], [-length, width]]) / 2.0


def picture(rng: np.random.Generator | None = None, sd: float = 0.0, tilt: Any = (0.0, 0.0), **parts: Any) -> Picture:
    """Two rows and the body of one half, seen by the camera."""

    def seen(points: np.ndarray) -> tuple[Any, ...]:
        return clicks(camera(points, tilt=tilt), rng, sd)

    shown = Picture(
        name="front",
        rows=(ClickedRow(points=seen(row_mm(-SPACING / 2))), ClickedRow(points=seen(row_mm(SPACING / 2)))),
        outlines=(Outline(corners=seen(corners_mm(LENGTH, WIDTH)), along="body_length", across="body_width"),),
    )
    return replace(shown, **parts)


def rectangle(rng: np.random.Generator | None = None, sd: float = 0.0, tilt: Any = (0.0, 0.0)) -> KnownRectangle:
    corners = clicks(camera(corners_mm(20.0, 12.0), tilt=tilt), rng, sd)
    return KnownRectangle(corners=corners, length=20.0, width=12.0, in_mm=True)


def ruler(length_mm: float = 10.0, **options: Any) -> ScaleSegment:
    start, end = clicks(camera([[-length_mm / 2, 4.0], [length_mm / 2, 4.0]]))
    return ScaleSegment(start=start, end=end, length_mm=length_mm, **options)


def reduced(given: Picture) -> dict[str, Reduced]:
    return {one.feature: one for one in reduce(measure_picture(given).observations)}


def refused(given: Picture) -> ObservationError:
    with pytest.raises(ObservationError) as caught:
        measure_picture(given)
    assert caught.value.remedy
    return caught.value


# The whole way


def test_a_scaled_picture_gives_millimetres() -> None:
    found = reduced(picture(scale=ruler(plane="mating_face")))
    assert found["pitch"].value == pytest.approx(PITCH)
    assert found["pitch"].spans == 11
    assert found["row_spacing"].value == pytest.approx(SPACING)
    assert found["body_length"].value == pytest.approx(LENGTH)
    assert found["body_width"].value == pytest.approx(WIDTH)
    assert found["contact_layout"].values == {"aligned"}


def test_readings_of_a_picture_share_its_scale_and_that_alone() -> None:
    found = reduced(picture(scale=ruler(plane="mating_face")))
    shares = {found[name].shared for name in ("pitch", "row_spacing", "body_length", "body_width")}
    (share,) = shares
    assert share is not None
    assert share.group == "scale:photo:front"
    # two ends of half a pixel each on 400 px, and the lens
    assert share.sd == pytest.approx(math.hypot(math.sqrt(0.5) / 400.0, LENS), rel=1e-6)


def test_own_and_total_uncertainty_of_the_pitch() -> None:
    """Two rows of twelve perfect clicks: the floor rules; sums of squared sites 143 each."""
    pitch = reduced(picture(scale=ruler(plane="mating_face")))["pitch"]
    assert pitch.u == pytest.approx(0.5 / math.sqrt(286.0) / PX_PER_MM, rel=1e-6)
    assert pitch.shared is not None
    assert pitch.total_u == pytest.approx(math.hypot(pitch.u, PITCH * pitch.shared.sd), rel=1e-9)


def test_own_uncertainty_of_the_row_spacing() -> None:
    """Two centroids of twelve clicks each, and the unseen tilt across the rows."""
    spacing = reduced(picture(scale=ruler(plane="mating_face")))["row_spacing"]
    by_clicks = 0.5 * math.sqrt(2.0 / 12.0) / PX_PER_MM
    assert spacing.u == pytest.approx(math.hypot(by_clicks, FORESHORTENING * SPACING), rel=1e-6)


def test_a_picture_without_scale_gives_pixels_of_an_unscaled_photo() -> None:
    result = measure_picture(picture())
    found = {one.feature: one for one in reduce(result.observations)}
    assert result.scale is None
    assert found["body_length"].value == pytest.approx(LENGTH * PX_PER_MM)
    assert {one.instrument for one in result.observations if one.feature != "contact_layout"} == {"unscaled_photo"}
    for name in ("pitch", "row_spacing", "body_length", "body_width"):
        assert found[name].shared is not None
        assert found[name].shared.unscaled
        assert found[name].shared.group == "scale:unscaled_photo:front"


def test_a_stated_scale_keeps_its_own_or_the_instruments_uncertainty() -> None:
    own = reduced(picture(scale=StatedScale(px_per_mm=PX_PER_MM, rel=0.001)))
    default = reduced(picture(scale=StatedScale(px_per_mm=PX_PER_MM), instrument="usb_microscope"))
    assert own["pitch"].shared is not None
    assert own["pitch"].shared.sd == 0.001
    assert default["pitch"].shared is not None
    assert default["pitch"].shared.sd == BUILT_IN["usb_microscope"].scale_rel
    assert default["body_length"].value == pytest.approx(LENGTH)


def test_the_budget_adds_up_to_the_uncertainty() -> None:
    result = measure_picture(picture(rng=np.random.default_rng(1), sd=1.5, scale=ruler()))
    for reading, budget in zip(result.readings, result.budgets, strict=False):
        assert math.hypot(*(line.contribution for line in budget)) == pytest.approx(reading.u, rel=1e-12)
        assert all(line.contribution == pytest.approx(abs(line.u * line.sensitivity)) for line in budget)
    assert len(result.budgets) == len(result.observations)


def test_the_other_half_and_tails_are_told_apart() -> None:
    rows = (
        ClickedRow(points=clicks(camera(row_mm(-1.0))), of=Of.OTHER),
        ClickedRow(points=clicks(camera(row_mm(2.0))), feature="tail_pitch"),
        ClickedRow(points=clicks(camera(row_mm(-2.0))), feature="tail_pitch"),
    )
    observations = measure_picture(picture(rows=rows, outlines=())).observations
    found = {(one.feature, one.of, one.plane) for one in observations}
    assert found == {
        ("pitch", Of.OTHER, "mating_face"),
        ("tail_pitch", Of.THIS, "lands"),
        ("land_row_spacing", Of.THIS, "lands"),
        ("contact_layout", Of.THIS, None),
    }


# Rows


def test_staggered_rows_are_told_from_aligned_ones_and_from_neither() -> None:
    def layout(start: float) -> tuple[str, float]:
        rows = tuple(ClickedRow(points=clicks(camera(row_mm(y, start=x)))) for y, x in ((-1.0, 0.0), (1.0, start)))
        (relation,) = measure_picture(picture(rows=rows)).relations
        return relation.layout, relation.offset

    assert layout(0.0) == ("aligned", pytest.approx(0.0, abs=1e-9))
    assert layout(PITCH / 2)[0] == "staggered"
    assert layout(5 * PITCH)[0] == "aligned"
    assert layout(PITCH / 4) == ("unclear", pytest.approx(0.25))


def test_a_layout_that_is_unclear_is_no_observation_but_a_note() -> None:
    rows = tuple(ClickedRow(points=clicks(camera(row_mm(y, start=y * PITCH / 8)))) for y in (-1.0, 1.0))
    result = measure_picture(picture(rows=rows))
    assert result.layouts == ()
    assert any("half a pitch" in note for note in result.notes)


@pytest.mark.parametrize("offset", [-0.5, -0.49, 0.0, 0.02, 0.5])
def test_the_layout_goes_round_the_pitch(offset: float) -> None:
    assert layout_of(offset, 0.01) == pytest.approx(layout_of(-offset, 0.01))
    assert layout_of(offset, 0.01)[0] == ("aligned" if abs(offset) < 0.25 else "staggered")


def test_three_equal_row_spacings_are_one_reading_over_two_gaps() -> None:
    rows = tuple(ClickedRow(points=clicks(camera(row_mm(y)))) for y in (1.0, -1.0, 0.0))
    result = measure_picture(picture(rows=rows, outlines=(), scale=ruler(plane="mating_face")))
    (spacing,) = [one for one in reduce(result.observations) if one.feature == "row_spacing"]
    assert (spacing.value, spacing.spans) == (pytest.approx(1.0), 2)
    assert [relation.rows for relation in result.relations] == [(1, 2), (2, 0)]


def test_unequal_row_spacings_stay_apart() -> None:
    rows = tuple(ClickedRow(points=clicks(camera(row_mm(y)))) for y in (-1.0, 0.0, 1.5))
    observations = measure_picture(picture(rows=rows, scale=ruler(plane="mating_face"))).observations
    spacings = [one.value / PX_PER_MM for one in observations if one.feature == "row_spacing"]  # type: ignore[operator]
    assert spacings == pytest.approx([1.0, 1.5])


def test_rows_that_differ_in_pitch_are_kept_apart_and_it_is_said() -> None:
    wide = np.column_stack([(np.arange(12) - 5.5) * 0.52, np.ones(12)])
    rows = (ClickedRow(points=clicks(camera(row_mm(-1.0)))), ClickedRow(points=clicks(camera(wide))))
    result = measure_picture(picture(rows=rows, scale=ruler(plane="mating_face")))
    pitches = [one.value for one in reduce(result.observations) if one.feature == "pitch"]
    assert pitches == pytest.approx([0.5, 0.52])
    assert not result.relations[0].agree
    assert any("oblique" in note for note in result.notes)


def test_a_row_may_be_clicked_from_either_end() -> None:
    rows = (ClickedRow(points=clicks(camera(row_mm(-1.0)))), ClickedRow(points=clicks(camera(row_mm(1.0))[::-1])))
    turned = [ClickedRow(points=tuple((-y, x) for x, y in row.points)) for row in rows]
    for given in (rows, tuple(turned)):
        assert measure_picture(picture(rows=given, outlines=())).relations[0].layout == "aligned"


def test_strays_and_missing_contacts_are_named() -> None:
    points = list(clicks(camera(row_mm(-1.0))))
    points[3] = (points[3][0] + 8.0, points[3][1])
    rows = (ClickedRow(points=tuple(points)),)
    notes = measure_picture(picture(rows=rows)).notes
    assert any("rows[0].points[3] was left out: 8.0 px" in note for note in notes)
    assert any("no point at contact site 3" in note for note in notes)


# Perspective


def test_a_known_rectangle_takes_the_perspective_out() -> None:
    tilt = (0.25, -0.2)
    given = picture(tilt=tilt, perspective=rectangle(tilt=tilt), instrument="photo")
    found = reduced(given)
    truth = {"pitch": PITCH, "row_spacing": SPACING, "body_length": LENGTH, "body_width": WIDTH}
    for name, expected in truth.items():
        assert found[name].value == pytest.approx(expected, rel=1e-9)


def test_without_it_the_same_picture_is_off_and_says_so() -> None:
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
    """What the module claims: one vanishing line for all parallel planes; a plane below is only smaller."""
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
    # across against along: off by the cosine of the tilt, which no lattice shows
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
    """The scatter of each reading over 400 clicked pictures is its u, within 12 % (400 runs show it to 3.5 %)."""
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


def test_without_any_depth_an_unscaled_picture_keeps_the_majoritys_plane() -> None:
    result = measure_picture(picture())
    assert {one.plane_rel for one in result.observations} == {None}


def test_a_planes_relative_uncertainty_may_be_stated_itself() -> None:
    depth = PlaneDepth(plane="mating_face", rel=0.004)
    found = reduced(picture(outlines=(), scale=ruler(plane="housing_top"), planes=(depth,)))
    assert next(line for line in found["pitch"].budget if "plane" in line.source).u == 0.004


# Segments


def test_a_segment_counts_along_or_across_the_rows() -> None:
    start, end = clicks(camera([[-LENGTH / 2, 0.3], [LENGTH / 2, -0.6]]))
    given = picture(outlines=(), segments=(Segment(start=start, end=end, feature="body_length"),), scale=ruler())
    assert reduced(given)["body_length"].value == pytest.approx(LENGTH)


def test_a_segment_without_rows_counts_as_drawn_and_spans_divide() -> None:
    segment = Segment(start=(0.0, 0.0), end=(300.0, 400.0), feature="pitch", spans=10)
    pitch = reduced(picture(rows=(), outlines=(), segments=(segment,)))["pitch"]
    assert (pitch.value, pitch.spans) == (pytest.approx(50.0), 10)


def test_edges_are_no_sharper_than_the_instrument_shows_them() -> None:
    segment = Segment(start=(100.0, 0.0), end=(500.0, 0.0), feature="body_length")
    reading = measure_picture(picture(rows=(), outlines=(), segments=(segment,), instrument="scanner")).readings[0]
    assert reading.budget[0].contribution == pytest.approx(BUILT_IN["unscaled_photo"].feel_px)


# Refusals: every error names the point


def with_points(points: tuple[Any, ...]) -> Picture:
    good = picture()
    return replace(good, rows=(good.rows[0], ClickedRow(points=points)))


def outlined(corners: tuple[Any, ...]) -> Picture:
    return picture(rows=(), outlines=(Outline(corners=corners, along="body_length", across="body_width"),))


SQUARE = ((0.0, 0.0), (400.0, 0.0), (400.0, 200.0), (0.0, 200.0))


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
def test_what_cannot_be_measured_is_refused_at_its_place(given: Picture, field: str) -> None:
    assert refused(given).field == field


@settings(max_examples=150, deadline=None)
@drawn(seed=st.integers(0, 10**6))
def test_whatever_is_clicked_is_refused_by_name_or_measured_for_the_likelihood(seed: int) -> None:
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
    """What a picture gives, and what is refused of it: by the picture, or by the reduction of its observations."""
    try:
        result = measure_picture(given)
    except ObservationError as error:
        return None, [error]
    try:
        reduce(result.observations)
    except ObservationErrors as several:
        return result, list(several.errors)
    return result, []


@pytest.mark.parametrize("turned", [False, True])
def test_corners_may_go_round_either_way_and_start_anywhere(turned: bool) -> None:
    corners = SQUARE[::-1] if turned else SQUARE
    for first in range(4):
        found = reduced(outlined((*corners[first:], *corners[:first])))
        assert (found["body_length"].value, found["body_width"].value) == pytest.approx((400.0, 200.0))


def test_maps_of_many_quadrilaterals_are_those_of_each() -> None:
    rng = np.random.default_rng(4)
    many = np.array(SQUARE) + rng.normal(0.0, 20.0, (5, 4, 2))
    together = mapped(homographies(many, np.array(SQUARE)), many)
    for one in together:
        assert one == pytest.approx(np.array(SQUARE), abs=1e-8)
