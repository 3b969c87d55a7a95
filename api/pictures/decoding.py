"""From the bytes of a PNG or JPEG picture to grey levels. Nothing is stored, and no other format is tried.

A picture whose header states too many pixels is refused before any pixel is decoded. A picture that breaks off or is
damaged is refused and not filled up with grey, since measuring would go on as if it were whole.
"""

from __future__ import annotations

import io
import struct
import threading
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pyspng
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from api.service.problems import ApiError
from api.service.settings import MAX_PICTURE_PIXELS

FORMATS: Mapping[str, str] = {"image/png": "PNG", "image/jpeg": "JPEG"}
"""Accepted media types, and Pillow's names for them."""

DECODED_AT_ONCE = 2
"""Most pictures decoded at the same time: each takes some 150 MB for a moment, and more would only wait for the
processor."""

_DAMAGED = (
    OSError,
    SyntaxError,
    ValueError,
    TypeError,
    KeyError,
    IndexError,
    EOFError,
    OverflowError,
    struct.error,
    zlib.error,
    UserWarning,
)
"""Exceptions of Pillow for damaged data: its readers have no error class of their own. Broken metadata only cause a
warning; where warnings are errors, such a picture counts as damaged too."""

_SIGNATURE, _FRAME = 8, 12
"""Bytes of a PNG's signature, and of a chunk's length, name and checksum together (W3C PNG, 5)."""

_PLAIN = frozenset((b"IHDR", b"PLTE", b"IDAT", b"IEND", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"pHYs", b"sBIT", b"tIME"))
"""Chunks of a PNG that is not turned (by text or EXIF), not transparent and not animated."""

_BOMB = (Image.DecompressionBombError, Image.DecompressionBombWarning)

_TURNED = range(2, 9)
"""EXIF orientations other than upright (CIPA DC-008, tag 0x0112)."""

OPAQUE = 255
"""Alpha of an opaque pixel."""

Levels = NDArray[np.uint8] | NDArray[np.uint16]

TURNED = (
    "The picture was turned upright, as its camera recorded; points refer to the upright picture, as viewers show it."
)
ON_WHITE = "The picture is transparent in places; these were taken as white."

_decoding = threading.BoundedSemaphore(DECODED_AT_ONCE)


@dataclass(frozen=True, kw_only=True, eq=False)
class GreyPicture:
    """A picture's grey levels, rows from the top, of 8 or 16 bit as they came; ``notes`` says what was done to it."""

    levels: Levels
    notes: tuple[str, ...] = ()


def read_picture(
    data: bytes,
    *,
    field: str,
    media_type: str | None = None,
    max_pixels: int = MAX_PICTURE_PIXELS,
    rows: tuple[int, int] | None = None,
) -> GreyPicture:
    """Decode a picture to grey.

    The orientation that a camera records (EXIF) is applied, as in viewers, so that coordinates read off in a viewer
    fit. Transparent parts become white.

    Parameters
    ----------
    field: where the picture stands in the request, for the error.
    media_type: what the sender says it is, one of `FORMATS`; None: found out from the data.
    max_pixels: most pixels, width × height.
    rows: the first row that is needed and the one after the last; None: all. The levels of other rows may stay 0.

    Raises
    ------
    ApiError
        invalid-picture, at ``field``: of no known format, of another than declared, too many pixels, damaged.
    """
    formats = list(FORMATS.values()) if media_type is None else [FORMATS[media_type]]
    with _decoding:
        picture = _opened(data, formats, field, max_pixels)
        with picture:
            try:
                plain = picture.format == "PNG" and _is_plain_colour(data)
                return _colour(data, rows) if plain else _grey(picture)
            except (*_DAMAGED, RuntimeError) as error:
                raise _damaged(field, error) from error


def _opened(data: bytes, formats: list[str], field: str, max_pixels: int) -> Image.Image:
    try:
        picture = Image.open(io.BytesIO(data), formats=formats)
    except _BOMB as error:
        raise _too_many(str(error), field, max_pixels) from error
    except UnidentifiedImageError as error:
        names = " or ".join(formats)
        remedy = "send a whole PNG or JPEG picture and declare which of the two it is"
        raise _refusal(field, f"the data are not a {names} picture", remedy) from error
    except _DAMAGED as error:
        raise _damaged(field, error) from error
    width, height = picture.size
    if width * height > max_pixels:
        picture.close()
        raise _too_many(f"{width} × {height} pixels", field, max_pixels)
    return picture


def _grey(picture: Image.Image) -> GreyPicture:
    """Decode, straight to grey where the format can."""
    picture.draft("L", picture.size)  # the decoder of JPEGs then computes no colours
    picture.load()
    orientation = picture.getexif().get(ExifTags.Base.Orientation, 1)
    clear = _is_clear(picture)
    grey = ImageOps.exif_transpose(_one_channel(_on_white(picture) if clear else picture))
    levels = np.asarray(grey)
    done = {TURNED: orientation in _TURNED, ON_WHITE: clear}
    return GreyPicture(levels=levels, notes=tuple(note for note, so in done.items() if so))


def _is_plain_colour(data: bytes) -> bool:
    """Whether a PNG has three channels of 8 bit (bit depth and colour type of its header: W3C PNG, 11.2.1), and is
    neither turned nor transparent. Raises ValueError for a file that breaks off or a wrong checksum."""
    names = list(_chunks(data))
    return data[24:26] == b"\x08\x02" and names.count(b"IHDR") == 1 and _PLAIN.issuperset(names)


def _chunks(data: bytes) -> Iterator[bytes]:
    """Names of a PNG's chunks in order, each chunk's checksum checked: Pillow does not check those of the pixels."""
    view, place = memoryview(data), _SIGNATURE
    while place + _FRAME <= len(data):
        length, name = struct.unpack_from(">I4s", data, place)
        end = place + _FRAME + length
        if end > len(data):
            break
        if struct.unpack_from(">I", data, end - 4) != (zlib.crc32(view[place + 4 : end - 4]),):
            raise ValueError(f"wrong checksum of {name!r} at byte {place}")
        yield name
        if name == b"IEND":
            return
        place = end
    raise ValueError("the file ends before its last chunk")


def _colour(data: bytes, rows: tuple[int, int] | None) -> GreyPicture:
    """A plain PNG in colour, decoded by spng, which takes half of Pillow's time for the filters of 12 million pixels.

    With Pillow a camera's PNG takes over 300 ms from request to answer (`tests.bench.measure_row`), and decoding only
    the rows that are needed would save less than spng does. Raises RuntimeError for damaged data.
    """
    coloured = pyspng.load(data)
    first, end = rows or (0, len(coloured))
    top, bottom = max(0, first), max(0, end)
    levels = np.zeros(coloured.shape[:2], np.uint8)
    if len(seen := coloured[top:bottom]):
        levels[top:bottom] = np.asarray(Image.fromarray(seen).convert("L"))
    return GreyPicture(levels=levels)


def _is_clear(picture: Image.Image) -> bool:
    """Whether any pixel is transparent."""
    if not picture.has_transparency_data:
        return False
    smallest, _ = picture.convert("RGBA").getchannel("A").getextrema()
    return smallest != OPAQUE


def _on_white(picture: Image.Image) -> Image.Image:
    """The picture on white: what lies under transparent parts is unknown, and most viewers show white."""
    coloured = picture.convert("RGBA")
    return Image.alpha_composite(Image.new("RGBA", coloured.size, "white"), coloured)


def _one_channel(picture: Image.Image) -> Image.Image:
    """Grey of 8 bit; 16 bit stay as they are, since Pillow clips rather than scales them."""
    return picture if picture.mode in ("L", "I;16") else picture.convert("L")


def _too_many(what: str, field: str, max_pixels: int) -> ApiError:
    message = f"the picture has too many pixels ({what}); at most {max_pixels // 1_000_000} million are accepted"
    return _refusal(field, message, "crop it to the rows of contacts; do not make it smaller")


def _damaged(field: str, error: Exception) -> ApiError:
    remedy = "copy it again from its source, or save it again as PNG"
    return _refusal(field, f"the picture is damaged or breaks off ({error})", remedy)


def _refusal(field: str, message: str, remedy: str) -> ApiError:
    return ApiError.at(field, message, remedy, name="invalid-picture")
