"""Pictures of two rendered rows with a known truth, as a camera would store them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from PIL import ExifTags, Image

from tests.matcher.imaging.row_detection.rendered_rows import easy, rendered

SEED = 5
COUNT, PITCH, SPACING = 20, 30.0, 250.0
"""Contacts of a row, and the pitch in px."""

PX_PER_MM = 50.0
"""The scale that the known length in the tests gives; nothing in the picture shows it."""

DARK = 40
NOISE = 2.0


@dataclass(frozen=True, kw_only=True)
class Photo:
    """A picture's file and size, and for each row the line drawn along it and the centres of its contacts, px."""

    path: Path
    size: tuple[int, int]
    lines: list[tuple[float, float, float, float]]
    contacts: list[list[tuple[float, float]]]


def two_rows(folder: Path, *, turned: float = 0.0, size: tuple[int, int] = (920, 700), **changes: Any) -> Photo:
    """Two rows below one another, the whole rotated clockwise by ``turned`` degrees around its middle."""
    row = rendered(np.random.default_rng(SEED), easy(count=COUNT, pitch=PITCH, **changes))
    width, height = size
    high, wide = row.image.shape
    left, tops = (width - wide) // 2, [height // 2 - 125 - high // 2, height // 2 + 125 - high // 2]
    picture = np.full((height, width), DARK, np.uint8)
    for top in tops:
        picture[top : top + high, left : left + wide] = row.image
    x0, y, x1, _ = row.line
    lines = [(left + x0, top + y, left + x1, top + y) for top in tops]
    contacts = [[(left + x0 + row.first + PITCH * k, top + y) for k in range(COUNT)] for top in tops]
    image = Image.fromarray(picture)
    if turned:
        image = image.rotate(-turned, Image.Resampling.BICUBIC, fillcolor=DARK)
    path = folder / f"rows-{turned:g}-{width}.png"
    image.save(path)
    return Photo(
        path=path,
        size=size,
        lines=[(*_turned(line[:2], turned, size), *_turned(line[2:], turned, size)) for line in lines],
        contacts=[[_turned(point, turned, size) for point in row] for row in contacts],
    )


def _turned(point: tuple[float, float], degrees: float, size: tuple[int, int]) -> tuple[float, float]:
    """The position of a point after the picture is rotated around its middle; pixel centres are at whole numbers."""
    middle = [(side - 1) / 2 for side in size]
    x, y = point[0] - middle[0], point[1] - middle[1]
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return middle[0] + x * cos - y * sin, middle[1] + x * sin + y * cos


def as_held_upright(photo: Photo, path: Path) -> Path:
    """The picture as stored by a camera held upright (EXIF orientation 6), with a recorded location."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    exif[ExifTags.Base.ImageDescription] = "a place nobody should learn of"
    stored = Image.open(photo.path).transpose(Image.Transpose.ROTATE_90)
    stored.save(path, "JPEG", quality=95, exif=exif)
    return path


def with_noise(photo: Photo) -> None:
    """Grain over the whole picture, so that it can hardly be compressed."""
    pixels = np.asarray(Image.open(photo.path), dtype=np.float64)
    noisy = pixels + np.random.default_rng(SEED).normal(0.0, NOISE, pixels.shape)
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(photo.path)
