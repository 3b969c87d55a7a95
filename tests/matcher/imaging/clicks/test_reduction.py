"""From the clicks of a whole picture to the values, uncertainties, scale, rows and segments the likelihood uses."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from matcher.imaging.clicks.context import FORESHORTENING, LENS
from matcher.imaging.clicks.inputs import ClickedRow, ContactLattice, Segment, StatedScale
from matcher.imaging.clicks.reduction import measure_picture
from matcher.imaging.clicks.row_relations import layout_of
from matcher.observations import Of
from matcher.uncertainty.instruments import BUILT_IN, Taken
from matcher.uncertainty.reduce import reduce
from tests.matcher.imaging.clicks.scene import (
    LENGTH,
    PITCH,
    PX_PER_MM,
    SPACING,
    WIDTH,
    camera,
    clicks,
    picture,
    rectangle,
    reduced,
    row_mm,
    ruler,
)

RECTANGLE = replace(rectangle(), in_mm=False)
"""Of known proportions, without a scale."""

# From clicks to readings


def test_a_scaled_picture_gives_millimetres() -> None:
    found = reduced(picture(scale=ruler(plane="mating_face")))
    assert found["pitch"].value == pytest.approx(PITCH)
    assert found["pitch"].spans == 11
    assert found["row_spacing"].value == pytest.approx(SPACING)
    assert found["body_length"].value == pytest.approx(LENGTH)
    assert found["body_width"].value == pytest.approx(WIDTH)
    assert found["contact_layout"].values == {"aligned"}


def test_readings_of_a_picture_share_its_scale_and_nothing_else() -> None:
    found = reduced(picture(scale=ruler(plane="mating_face")))
    shares = {found[name].shared for name in ("pitch", "row_spacing", "body_length", "body_width")}
    (share,) = shares
    assert share is not None
    assert share.group == "scale:photo:front"
    # two ends of half a pixel each on 400 px, and the lens
    assert share.sd == pytest.approx(math.hypot(math.sqrt(0.5) / 400.0, LENS), rel=1e-6)


def test_own_and_total_uncertainty_of_the_pitch() -> None:
    """Two rows of twelve perfect clicks: the floor decides; the sum of squared sites is 143 for each row."""
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


@pytest.mark.parametrize(
    ("parts", "name"),
    [
        ({}, "unscaled_photo"),
        ({"instrument": "usb_microscope"}, "unscaled_photo"),
        ({"instrument": "microscope"}, "unscaled_photo_from_above"),
        ({"instrument": "scanner"}, "unscaled_photo_from_above"),
        ({"instrument": "scanner", "taken": Taken.BY_HAND}, "unscaled_photo"),
        ({"taken": Taken.FROM_ABOVE}, "unscaled_photo_from_above"),
        ({"taken": Taken.RECTIFIED}, "unscaled_photo_rectified"),
        ({"perspective": ContactLattice()}, "unscaled_photo"),
        ({"perspective": RECTANGLE}, "unscaled_photo_rectified"),
        ({"perspective": RECTANGLE, "taken": Taken.BY_HAND}, "unscaled_photo_rectified"),
    ],
)
def test_a_picture_without_scale_says_how_it_was_taken(parts: dict[str, Any], name: str) -> None:
    result = measure_picture(picture(**parts))
    readings = [one.observation for one in result.readings]
    assert {one.instrument for one in readings} == {name}
    assert not any("foreshortening" in line.source for budget in result.budgets for line in budget)
    assert len(reduce(readings)) == len(readings)


@pytest.mark.parametrize("taken", [None, *Taken])
def test_how_a_picture_with_a_scale_was_taken_changes_nothing(taken: Taken | None) -> None:
    scaled = picture(scale=StatedScale(px_per_mm=PX_PER_MM))
    assert measure_picture(replace(scaled, taken=taken)).observations == measure_picture(scaled).observations


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


def test_the_other_half_and_tails_are_distinguished() -> None:
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
        ("tail_layout", Of.THIS, None),
    }


# Rows


def test_staggered_aligned_and_other_rows_are_distinguished() -> None:
    def layout(start: float) -> tuple[str, float]:
        rows = tuple(ClickedRow(points=clicks(camera(row_mm(y, start=x)))) for y, x in ((-1.0, 0.0), (1.0, start)))
        (relation,) = measure_picture(picture(rows=rows)).relations
        return relation.layout, relation.offset

    assert layout(0.0) == ("aligned", pytest.approx(0.0, abs=1e-9))
    assert layout(PITCH / 2)[0] == "staggered"
    assert layout(5 * PITCH)[0] == "aligned"
    assert layout(PITCH / 4) == ("unclear", pytest.approx(0.25))


def test_rows_of_lands_show_the_tails_and_rows_at_the_mating_face_the_contacts() -> None:
    def pair(start: float, **more: Any) -> tuple[ClickedRow, ...]:
        return tuple(
            ClickedRow(points=clicks(camera(row_mm(y, start=x))), **more) for y, x in ((-1.0, 0.0), (1.0, start))
        )

    both = (*pair(0.0), *pair(PITCH / 2, feature="tail_pitch"))
    layouts = measure_picture(picture(rows=both)).layouts
    assert [(one.feature, one.value) for one in layouts] == [
        ("contact_layout", "aligned"),
        ("tail_layout", "staggered"),
    ]
    (only,) = measure_picture(picture(rows=pair(PITCH / 2, plane="lands"))).layouts
    assert (only.feature, only.value) == ("tail_layout", "staggered")


def test_an_unclear_layout_gives_a_note_and_no_observation() -> None:
    rows = tuple(ClickedRow(points=clicks(camera(row_mm(y, start=y * PITCH / 8)))) for y in (-1.0, 1.0))
    result = measure_picture(picture(rows=rows))
    assert result.layouts == ()
    assert any("half a pitch" in note for note in result.notes)


@pytest.mark.parametrize("offset", [-0.5, -0.49, 0.0, 0.02, 0.5])
def test_the_layout_is_counted_modulo_the_pitch(offset: float) -> None:
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


def test_rows_that_differ_in_pitch_are_kept_apart_with_a_note() -> None:
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


# Segments


def test_a_segment_counts_along_or_across_the_rows() -> None:
    start, end = clicks(camera([[-LENGTH / 2, 0.3], [LENGTH / 2, -0.6]]))
    given = picture(outlines=(), segments=(Segment(start=start, end=end, feature="body_length"),), scale=ruler())
    assert reduced(given)["body_length"].value == pytest.approx(LENGTH)


def test_a_segment_without_rows_counts_as_drawn_and_is_divided_by_its_spans() -> None:
    segment = Segment(start=(0.0, 0.0), end=(300.0, 400.0), feature="pitch", spans=10)
    pitch = reduced(picture(rows=(), outlines=(), segments=(segment,)))["pitch"]
    assert (pitch.value, pitch.spans) == (pytest.approx(50.0), 10)


def test_edges_are_as_uncertain_as_the_instrument_shows_them() -> None:
    segment = Segment(start=(100.0, 0.0), end=(500.0, 0.0), feature="body_length")
    reading = measure_picture(picture(rows=(), outlines=(), segments=(segment,), instrument="scanner")).readings[0]
    assert reading.budget[0].contribution == pytest.approx(BUILT_IN["unscaled_photo"].feel_px)
