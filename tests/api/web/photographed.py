"""Pictures of invented rows of contacts with a known truth, and pictures that must not be decoded."""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image

SIGNATURE = b"\x89PNG\r\n\x1a\n"
DARK, BRIGHT = 60.0, 205.0


@dataclass(frozen=True, kw_only=True)
class Rows:
    """Straight rows of bright contacts on dark plastic; lengths in pixels."""

    count: int = 12
    pitch: float = 24.7
    first: float = 61.3
    heights: tuple[float, ...] = (70.0,)
    shifts: tuple[float, ...] = (0.0,)
    missing: tuple[int, ...] = ()
    size: tuple[int, int] = (420, 200)
    noise: float = 3.0

    @property
    def lines(self) -> list[list[float]]:
        """A line along each row, from one and a half pitches before its first contact to as far beyond its last."""
        length = (self.count - 1) * self.pitch
        starts = [self.first + shift - 1.5 * self.pitch for shift in self.shifts]
        return [
            [start, height, start + length + 3.0 * self.pitch, height]
            for start, height in zip(starts, self.heights, strict=True)
        ]


def photographed(rows: Rows) -> NDArray[np.uint8]:
    """The grey levels of the rows: soft-edged bars 0.4 pitch wide and one pitch high, with some noise."""
    width, height = rows.size
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    level = np.full((height, width), DARK)
    for at, shift in zip(rows.heights, rows.shifts, strict=True):
        for place in set(range(rows.count)) - set(rows.missing):
            centre = rows.first + shift + place * rows.pitch
            bar = _soft(x - centre, 0.2 * rows.pitch) * _soft(y - at, 0.5 * rows.pitch)
            level += (BRIGHT - DARK) * bar
    noise = np.random.default_rng(7).normal(0.0, rows.noise, level.shape)
    return np.asarray(np.clip(level + noise, 0, 255).round(), dtype=np.uint8)


def _soft(distance: NDArray[np.float64], half_width: float) -> NDArray[np.float64]:
    """1 inside, 0 outside, with an edge about two pixels wide."""
    return np.asarray(1.0 / (1.0 + np.exp(np.clip((np.abs(distance) - half_width) / 0.6, -50.0, 50.0))))


def encoded(picture: NDArray[Any] | Image.Image, form: str = "PNG", **options: Any) -> bytes:
    """The picture's bytes as PNG or JPEG."""
    image = picture if isinstance(picture, Image.Image) else Image.fromarray(picture)
    stream = io.BytesIO()
    image.save(stream, form, **options)
    return stream.getvalue()


def held(picture: NDArray[np.uint8], orientation: int, form: str = "JPEG") -> bytes:
    """The picture as stored by a camera held this way: rotated, with metadata to turn it upright."""
    back = {3: 2, 6: 1, 8: 3, 1: 0}[orientation]  # quarter turns anticlockwise
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    return encoded(np.rot90(picture, back).copy(), form, exif=exif, **({"quality": 95} if form == "JPEG" else {}))


def chunk(name: bytes, data: bytes) -> bytes:
    """One chunk of a PNG file (W3C PNG, 5.3)."""
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(width: int, height: int, data: bytes = b"", *more: bytes) -> bytes:
    """A grey 8-bit PNG file made by hand: its header and its data need not agree."""
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    parts = (chunk(b"IHDR", header), *more, chunk(b"IDAT", zlib.compress(data)), chunk(b"IEND", b""))
    return SIGNATURE + b"".join(parts)


BOMB = png(60_000, 60_000, b"\0" * 1_000_000)
"""A few kilobytes that would be 3.6 GB of pixels."""

TEXT_BOMB = png(8, 8, b"\0" * 72, chunk(b"zTXt", b"Comment\0\0" + zlib.compress(b"Z" * 60_000_000)))
"""About 60 kB of compressed comment that would be 60 MB."""

WHOLE = encoded(photographed(Rows()))

UNUSABLE: dict[str, tuple[bytes, str]] = {
    "a bomb": (BOMB, "too many pixels"),
    "a bomb of text": (TEXT_BOMB, "damaged"),
    "more pixels than are taken": (png(8_000, 8_000), "too many pixels"),
    "nothing": (b"", "not a PNG"),
    "no picture": (b"pitch=4.41/11", "not a PNG"),
    "a picture of another format": (encoded(photographed(Rows()), "GIF"), "not a PNG"),
    "a header without pixels": (SIGNATURE + chunk(b"IHDR", struct.pack(">IIBBBBB", 9, 9, 8, 0, 0, 0, 0)), "not a PNG"),
    "a picture that breaks off": (WHOLE[: len(WHOLE) // 2], "damaged"),
    "a picture with a wrong byte": (WHOLE[:900] + bytes([WHOLE[900] ^ 0xFF]) + WHOLE[901:], "damaged"),
    "fewer pixels than promised": (png(50, 50, b"\0" * 100), "damaged"),
}
"""Pictures that are refused as PNG, with their error messages."""
