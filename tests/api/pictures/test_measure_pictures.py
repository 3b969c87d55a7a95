"""Decoding pictures: the grey levels, and pictures refused before or during decoding."""

from __future__ import annotations

from contextlib import suppress

import numpy as np
import pytest
from PIL import Image

from api.pictures import decoding
from api.pictures.decoding import ON_WHITE, TURNED, read_picture
from api.service.problems import ApiError
from tests.api.web.photographed import BOMB, UNUSABLE, WHOLE, Rows, encoded, held, photographed, png

GREY = photographed(Rows())


def read(data: bytes, **options: object) -> decoding.GreyPicture:
    return read_picture(data, field="body", **options)  # type: ignore[arg-type]


def test_a_grey_png_is_decoded_unchanged() -> None:
    assert np.array_equal(read(encoded(GREY)).levels, GREY)
    assert read(encoded(GREY)).notes == ()


def test_sixteen_bits_stay_sixteen_bits() -> None:
    fine = GREY.astype(np.uint16) * 257
    found = read(encoded(fine))
    assert found.levels.dtype == np.uint16
    assert np.array_equal(found.levels, fine)


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "LA", "P", "L"])
def test_colours_become_grey_levels(mode: str) -> None:
    found = read(encoded(Image.fromarray(GREY).convert(mode)))
    assert np.array_equal(found.levels, GREY)
    assert found.notes == ()


@pytest.mark.parametrize("mode", ["L", "RGB", "CMYK"])
def test_a_jpeg_is_decoded_to_grey(mode: str) -> None:
    found = read(encoded(Image.fromarray(GREY).convert(mode), "JPEG", quality=95))
    assert found.levels.shape == GREY.shape
    assert np.abs(found.levels.astype(int) - GREY).mean() < 3


def test_black_and_white_has_two_levels() -> None:
    assert set(np.unique(read(encoded(Image.fromarray(GREY).convert("1"))).levels)) == {0, 255}


def test_transparent_parts_become_white_with_a_note() -> None:
    clear = Image.fromarray(GREY).convert("RGBA")
    clear.paste((0, 0, 0, 0), (0, 0, 50, 50))
    found = read(encoded(clear))
    assert np.all(found.levels[:50, :50] == 255)
    assert np.array_equal(found.levels[60:, 60:], GREY[60:, 60:])
    assert found.notes == (ON_WHITE,)


@pytest.mark.parametrize("form", ["PNG", "JPEG"])
@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_a_picture_is_rotated_upright_as_its_camera_recorded_with_a_note(orientation: int, form: str) -> None:
    found = read(held(GREY, orientation, form))
    assert found.levels.shape == GREY.shape
    assert np.abs(found.levels.astype(int) - GREY).mean() < 3
    assert found.notes == (TURNED,)


def test_a_picture_recorded_as_upright_is_not_rotated() -> None:
    assert read(held(GREY, 1)).notes == ()


@pytest.mark.parametrize("name", UNUSABLE)
def test_an_unusable_picture_is_refused_with_a_remedy(name: str) -> None:
    data, told = UNUSABLE[name]
    with pytest.raises(ApiError) as caught:
        read(data)
    assert caught.value.name == "invalid-picture"
    (field,) = caught.value.errors
    assert field.field == "body"
    assert told in field.message
    assert field.remedy


def test_a_picture_that_differs_from_its_declared_kind_is_refused() -> None:
    with pytest.raises(ApiError, match="not a JPEG picture"):
        read(WHOLE, media_type="image/jpeg")


def test_no_pixel_of_a_decompression_bomb_is_decoded(monkeypatch: pytest.MonkeyPatch) -> None:
    def decoded(picture: Image.Image) -> None:
        raise AssertionError("it was decoded")

    monkeypatch.setattr("PIL.PngImagePlugin.PngImageFile.load", decoded)
    for data in (BOMB, png(8_000, 8_000)):
        with pytest.raises(ApiError, match="too many pixels"):
            read(data)


def test_the_limit_of_pixels_is_exact() -> None:
    assert read(encoded(np.zeros((40, 50), np.uint8)), max_pixels=2_000).levels.size == 2_000
    with pytest.raises(ApiError, match="too many pixels"):
        read(encoded(np.zeros((40, 50), np.uint8)), max_pixels=1_999)


def test_twelve_million_pixels_are_within_the_limit() -> None:
    assert read(encoded(np.zeros((3_000, 4_000), np.uint8))).levels.shape == (3_000, 4_000)


def test_a_truncated_jpeg_is_not_filled_up_with_grey() -> None:
    whole = encoded(GREY, "JPEG", quality=95)
    with pytest.raises(ApiError, match="damaged"):
        read(whole[: len(whole) // 2])


@pytest.mark.filterwarnings("ignore:.*EXIF:UserWarning", "ignore:Tag data larger:UserWarning")
def test_any_single_wrong_byte_is_refused_or_harmless() -> None:
    """No value of a byte may cause any other kind of error."""
    draw = np.random.default_rng(3)
    small = GREY[40:70, 50:90]
    for whole in (encoded(small), held(small, 6), encoded(Image.fromarray(small).convert("P"))):
        for place in draw.integers(0, len(whole), 400):
            wrong = whole[:place] + bytes([whole[place] ^ int(draw.integers(1, 256))]) + whole[place + 1 :]
            with suppress(ApiError):
                assert read(wrong).levels.ndim == 2


ROWS = (60, 90)


@pytest.mark.parametrize("mode", ["RGB", "P", "L", "1"])
def test_the_decoded_rows_of_a_png_equal_those_of_the_whole_picture(mode: str) -> None:
    data = encoded(Image.fromarray(GREY).convert(mode))
    whole, part = read(data), read(data, rows=ROWS)
    assert part.levels.shape == whole.levels.shape
    assert np.array_equal(part.levels[slice(*ROWS)], whole.levels[slice(*ROWS)])


@pytest.mark.parametrize("rows", [(-50, 5000), (-9, -3), (900, 950), (80, 80)])
def test_rows_beyond_the_picture_are_not_an_error(rows: tuple[int, int]) -> None:
    assert np.array_equal(read(encoded(GREY), rows=rows).levels, GREY)
    seen = slice(max(0, rows[0]), max(0, rows[1]))
    colour = read(encoded(Image.fromarray(GREY).convert("RGB")), rows=rows)
    assert np.array_equal(colour.levels[seen], GREY[seen])


def test_sixteen_bits_stay_sixteen_bits_when_only_some_rows_are_decoded() -> None:
    fine = GREY.astype(np.uint16) * 257
    assert np.array_equal(read(encoded(fine), rows=ROWS).levels[slice(*ROWS)], fine[slice(*ROWS)])


def test_a_rotated_or_transparent_png_is_decoded_completely() -> None:
    turned = read(held(GREY, 6, "PNG"), rows=ROWS)
    assert np.array_equal(turned.levels, GREY)
    assert turned.notes == (TURNED,)
    clear = Image.fromarray(GREY).convert("RGBA")
    clear.paste((0, 0, 0, 0), (0, 150, 50, 200))
    assert read(encoded(clear), rows=ROWS).notes == (ON_WHITE,)


@pytest.mark.parametrize("name", sorted(UNUSABLE.keys() - {"fewer pixels than promised"}))
def test_an_unusable_picture_is_refused_whichever_rows_are_decoded(name: str) -> None:
    data, told = UNUSABLE[name]
    with pytest.raises(ApiError, match=told):
        read(data, rows=(0, 1))


def test_a_second_header_does_not_raise_the_limit_of_pixels() -> None:
    large = encoded(np.zeros((400, 400), np.uint8))
    second = large[8:33]
    with pytest.raises(ApiError):
        read(WHOLE[:33] + second + WHOLE[33:], rows=(0, 9), max_pixels=GREY.size)


def test_any_single_wrong_byte_below_the_rows_is_refused() -> None:
    whole = encoded(GREY)
    for place in np.random.default_rng(4).integers(33, len(whole), 100):
        wrong = whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :]
        with pytest.raises(ApiError):
            read(wrong, rows=(0, 2))


def test_rows_of_a_colour_picture_have_the_grey_levels_of_the_whole_picture() -> None:
    colour = np.random.default_rng(5).integers(0, 256, (*GREY.shape, 3), dtype=np.uint8)
    picture = Image.fromarray(colour)
    part = read(encoded(picture), rows=ROWS).levels
    assert np.array_equal(part[slice(*ROWS)], np.asarray(picture.convert("L"))[slice(*ROWS)])
