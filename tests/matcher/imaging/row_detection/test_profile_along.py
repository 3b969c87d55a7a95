from __future__ import annotations

import numpy as np
import pytest

from matcher.errors import ObservationError
from matcher.imaging.row_detection.detection import find_contacts
from matcher.imaging.row_detection.profile import profile_along, rows_read

Y, X = np.mgrid[0:60, 0:200]
RAMP = (X / 200.0).astype(np.float64)


def stripes(angle: float, pitch: float, size: int) -> np.ndarray:
    """Stripes across a direction (rad), one every ``pitch`` px along it, the first through (0, 0)."""
    y, x = np.mgrid[0:size, 0:size]
    along = x * np.cos(angle) + y * np.sin(angle)
    return np.asarray(0.3 + 0.3 * np.cos(2 * np.pi * along / pitch))


def test_a_profile_gives_the_levels_along_the_line() -> None:
    profile = profile_along(RAMP, (20.0, 30.0, 120.0, 30.0), 3.0)
    assert profile.values == pytest.approx(np.linspace(0.1, 0.6, 101))
    assert (profile.step, profile.width) == (1.0, 3.0)
    assert profile.ahead[-1] == pytest.approx(19 / 200)
    assert profile.behind[0] == pytest.approx(121 / 200)


def test_a_line_drawn_backwards_gives_the_reversed_profile() -> None:
    there = profile_along(RAMP, (20.0, 30.0, 120.0, 30.0), 3.0)
    back = profile_along(RAMP, (120.0, 30.0, 20.0, 30.0), 3.0)
    assert back.values == pytest.approx(there.values[::-1])
    assert back.ahead == pytest.approx(there.behind[::-1])


@pytest.mark.parametrize("angle", [0.0, 0.3, 0.9, 1.5])
def test_a_line_at_any_angle_sees_the_pitch_along_it(angle: float) -> None:
    image, length = stripes(angle, 14.0, 420), 260.0
    x0, y0 = 40.0, 40.0
    line = (x0, y0, x0 + length * np.cos(angle), y0 + length * np.sin(angle))
    profile = profile_along(image, line, 5.0)
    x, y = profile.point(100.0)
    assert (x, y) == pytest.approx((x0 + 100.0 * np.cos(angle), y0 + 100.0 * np.sin(angle)))
    row = find_contacts(profile.values, step=profile.step, ahead=profile.ahead, behind=profile.behind)
    assert row.pitch_px == pytest.approx(14.0, abs=0.02)


def test_the_band_reaches_as_far_as_the_contacts() -> None:
    image = np.where((np.abs(Y - 30) <= 6) & (X % 16 < 8), 0.7, 0.2)
    assert profile_along(image, (4.0, 30.0, 190.0, 30.0)).width == pytest.approx(13.0, abs=2.5)


def test_a_speck_in_the_band_does_not_show() -> None:
    image = np.full((60, 200), 0.5)
    image[29:32, 100:104] = 0.0
    assert profile_along(image, (10.0, 30.0, 190.0, 30.0), 15.0).values == pytest.approx(0.5)


@pytest.mark.parametrize(("dtype", "white"), [(np.uint8, 255), (np.uint16, 65535)])
def test_whole_numbers_are_scaled_to_white(dtype: type, white: int) -> None:
    image = np.full((40, 100), white, dtype=dtype)
    assert profile_along(image, (5.0, 20.0, 90.0, 20.0)).values == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ((50.0, 20.0, 50.0, 20.0), "0 px long"),
        ((50.0, 20.0, 60.0, 20.0), "10 px long"),
        ((-3.0, 20.0, 100.0, 20.0), "starts"),
        ((10.0, 20.0, 100.0, 75.0), "ends"),
        ((10.0, np.nan, 100.0, 20.0), "finite"),
        ((10.0, 20.0, 100.0), "four"),
    ],
)
def test_a_line_without_contrast_is_refused(line: tuple[float, ...], words: str) -> None:
    with pytest.raises(ObservationError, match=words) as refused:
        profile_along(RAMP, line)  # type: ignore[arg-type]
    assert refused.value.field == "line"
    assert refused.value.remedy


@pytest.mark.parametrize("width", [0.0, -2.0, 51.0, 1e9, np.nan, np.inf])
def test_an_absurd_band_is_refused(width: float) -> None:
    with pytest.raises(ObservationError) as refused:
        profile_along(RAMP, (10.0, 30.0, 110.0, 30.0), width)
    assert refused.value.field == "width"


@pytest.mark.parametrize(
    "image", [np.zeros((40, 100, 3)), np.zeros((0, 100)), np.zeros((40, 100), dtype=np.int32), [[0.1, 0.2]]]
)
def test_an_array_that_is_not_a_grey_image_is_refused(image: np.ndarray) -> None:
    with pytest.raises(ObservationError) as refused:
        profile_along(image, (5.0, 20.0, 90.0, 20.0))
    assert refused.value.field == "image"


def test_levels_that_are_not_numbers_are_refused_only_on_the_line() -> None:
    image = RAMP.copy()
    image[55, 50] = np.nan
    profile_along(image, (10.0, 20.0, 150.0, 20.0), 5.0)
    with pytest.raises(ObservationError) as refused:
        profile_along(image, (10.0, 55.0, 150.0, 55.0), 5.0)
    assert refused.value.field == "image"


@pytest.mark.parametrize("width", [None, 7.5])
def test_levels_outside_the_rows_read_do_not_matter(width: float | None) -> None:
    rng = np.random.default_rng(8)
    image = rng.uniform(0.0, 1.0, (200, 260))
    for _ in range(100):
        line = tuple(rng.uniform((0, 0, 0, 0), (259, 199, 259, 199)))
        if np.hypot(line[2] - line[0], line[3] - line[1]) < 16:
            continue
        low, high = rows_read(line, width)
        other = np.full_like(image, 9.0)
        kept = slice(max(0, int(np.floor(low))), int(np.ceil(high)) + 1)
        other[kept] = image[kept]
        whole, part = profile_along(image, line, width), profile_along(other, line, width)
        for levels in ("values", "ahead", "behind"):
            assert np.array_equal(getattr(whole, levels), getattr(part, levels))
