"""Rendered pictures of contact rows with a known truth; a seeded generator draws the difficulty.

Own renderer, NumPy only (Pillow for the JPEG round trip). The distributions are invented, wide enough to hold every
difficulty that bench photos have shown. Two mixes: ``harsh``, fixed before anything was tuned, with four or five
difficulties in a picture at once; and the usual one, with the same ranges of pitch, count, light, wide ends, margins,
tilt and JPEG quality, but each of dirt, glare, double lines, missing contacts rarer, and noise and blur up to three
quarters. The usual one was stated when the harsh one had shown a right count in 92 of 100 pictures. Lengths are px,
levels 0..1.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import numpy as np
from PIL import Image
from scipy.fft import next_fast_len

from matcher.columns.columns import Floats

SUPERSAMPLED = 3
"""Sampled points per pixel along each axis; a pixel's level is their mean."""


@dataclass(frozen=True, kw_only=True)
class Difficulty:
    """What one picture is like. ``contrast`` is the level of contacts over plastic (negative: dark contacts);
    ``noise`` per pixel as a part of it; widths and distances marked ``_p`` are in pitches; ``margins_p`` how far the
    line goes beyond the end contacts' centres (negative: not reached)."""

    count: int
    pitch: float
    contrast: float
    width_p: float
    height_p: float
    blur: float
    noise: float
    double_p: float | None
    light: float
    glare: tuple[tuple[float, float, float], ...]
    dirt: tuple[tuple[float, float, float], ...]
    missing: int | None
    wide_ends: tuple[tuple[float, float] | None, tuple[float, float] | None]
    margins_p: tuple[float, float]
    housing_p: tuple[float, float]
    housing_step: float
    jitter_p: float
    unlike: float
    tilt: float
    jpeg: int | None

    def kinds(self) -> list[str]:
        """Names of this picture's difficulties."""
        has = {
            "blurred (sigma above 0.12 pitch)": self.blur > 0.12 * self.pitch,
            "noisy (above 0.15 of contrast)": self.noise > 0.15,
            "uneven light (above 25 %)": abs(self.light) > 0.25,
            "glare": bool(self.glare),
            "dirt": bool(self.dirt),
            "missing contact": self.missing is not None,
            "double lines": self.double_p is not None,
            "wide ends": any(self.wide_ends),
            "line ends at a contact": min(self.margins_p) < 0.4,
            "low contrast (below 0.15)": abs(self.contrast) < 0.15,
            "dark contacts": self.contrast < 0,
            "tilted row": abs(self.tilt) * self.count > 0.2 * self.height_p,
            "JPEG 30-50": self.jpeg is not None and self.jpeg <= 50,
            "pitch 6-10 px": self.pitch < 10,
            "4-6 contacts": self.count <= 6,
        }
        return [name for name, present in has.items() if present] or ["none of these"]


@dataclass(frozen=True, kw_only=True)
class Rendered:
    """A picture (8 bit), the line drawn along its row, and its truth: ``first`` is the position of the first
    contact's centre along the line; ``look`` names what is special in the look, if the picture has one of its own."""

    image: np.ndarray
    line: tuple[float, float, float, float]
    first: float
    difficulty: Difficulty
    look: tuple[str, ...] = ()


def drawn_difficulty(rng: np.random.Generator, *, harsh: bool = False) -> Difficulty:
    """One picture's difficulty. Its probabilities and ranges are defined here and nowhere else."""
    pitch = float(np.exp(rng.uniform(np.log(6.0), np.log(80.0))))
    longest = min(60.0, 4000.0 / pitch)
    count = round(float(np.exp(rng.uniform(np.log(4.0), np.log(longest)))))
    doubled = rng.random() < (0.15 if harsh else 0.1)
    rare = 1.0 if harsh else 0.6
    ends = [_drawn_end(rng) for _ in range(2)]
    both = rng.random()
    if both > 0.35:
        ends = [None, None]
    elif both > 0.28:
        ends[int(rng.integers(2))] = None
    height = float(rng.uniform(0.8, 3.0))
    return Difficulty(
        count=count,
        pitch=pitch,
        contrast=float(np.exp(rng.uniform(np.log(0.08 if harsh else 0.1), np.log(0.6))))
        * (-1 if rng.random() < 0.25 else 1),
        width_p=float(rng.uniform(0.12, 0.18) if doubled else rng.uniform(0.3, 0.6)),
        height_p=height,
        blur=float(np.exp(rng.uniform(np.log(0.4), np.log(min(4.0, (0.22 if harsh else 0.16) * pitch))))),
        noise=float(rng.uniform(0.02, 0.25 if harsh else 0.18)),
        double_p=float(rng.uniform(0.2, 0.45)) if doubled else None,
        light=float(rng.uniform(-0.5, 0.5)),
        glare=tuple(_drawn_glare(rng, count) for _ in range(rng.integers(1, 3))) if rng.random() < 0.25 * rare else (),
        dirt=tuple(_drawn_dirt(rng, count, height) for _ in range(rng.integers(1, 5 if harsh else 3)))
        if rng.random() < 0.3 * rare
        else (),
        missing=int(rng.integers(1, count - 1)) if count >= 5 and rng.random() < 0.2 * rare else None,
        wide_ends=(ends[0], ends[1]),
        margins_p=(_drawn_margin(rng), _drawn_margin(rng)),
        housing_p=(float(rng.uniform(1.2, 4.0)), float(rng.uniform(1.2, 4.0))),
        housing_step=float(rng.uniform(-0.2, 0.2)),
        jitter_p=float(rng.uniform(0.002, 0.01)),
        unlike=float(rng.uniform(0.03, 0.15)),
        tilt=float(rng.uniform(-0.3, 0.3)) * height / count,
        jpeg=int(rng.integers(30, 91)) if rng.random() < 0.8 else None,
    )


def _drawn_end(rng: np.random.Generator) -> tuple[float, float] | None:
    """A wide contact: how many times wider than a contact, and the clear distance from the last contact, pitches."""
    return float(rng.uniform(1.5, 3.0)), float(rng.uniform(0.6, 2.0))


def _drawn_margin(rng: np.random.Generator) -> float:
    return float(rng.uniform(0.0, 0.5) if rng.random() < 0.2 else rng.uniform(0.5, 4.0))


def _drawn_glare(rng: np.random.Generator, count: int) -> tuple[float, float, float]:
    """Place along the row, standard deviation (both pitches), and height in levels."""
    return float(rng.uniform(-2, count + 1)), float(rng.uniform(1.0, 3.0)), float(rng.uniform(0.1, 0.6))


def _drawn_dirt(rng: np.random.Generator, count: int, height: float) -> tuple[float, float, float]:
    """Place along and across the row and radius of a dark speck, pitches."""
    return float(rng.uniform(-2, count + 1)), float(rng.uniform(-height / 2, height / 2)), float(rng.uniform(0.1, 0.4))


def rendered(rng: np.random.Generator, difficulty: Difficulty | None = None) -> Rendered:
    """A picture of the drawn (or given) difficulty."""
    made = difficulty or drawn_difficulty(rng)
    pitch, count = made.pitch, made.count
    left, right = (margin * pitch for margin in made.margins_p)
    start = 10.0 + 1.5 * pitch + float(rng.uniform(0, 1))
    rows = int(np.ceil(max(16.0, (made.height_p + 1.0) * pitch)))
    middle = rows / 2 + float(rng.uniform(-0.5, 0.5))
    columns = int(np.ceil(start + left + (count - 1) * pitch + right + 1.5 * pitch + 10.0))
    along, down = (_points(columns) - start - left) / pitch, (_points(rows) - middle) / pitch
    levels = _blurred(_scene(rng, made, along, down), made.blur)
    noisy = levels + rng.normal(0.0, made.noise * abs(made.contrast), levels.shape)
    end = start + left + (count - 1) * pitch + right
    return Rendered(image=saved(noisy, made.jpeg), line=(start, middle, end, middle), first=left, difficulty=made)


def _points(pixels: int) -> Floats:
    """Positions of the sampled points within that many pixels, px."""
    return (np.arange(pixels * SUPERSAMPLED) + 0.5) / SUPERSAMPLED - 0.5


def _scene(rng: np.random.Generator, made: Difficulty, along: Floats, down: Floats) -> Floats:
    """Levels of the scene at places along the picture's columns (pitches from the first contact), means over the places
    down each row of pixels (pitches from the middle of the line)."""
    base = 0.12 if made.contrast > 0 else 0.2 - made.contrast
    outside = (along < -made.housing_p[0] - reach(made, 0)) | (
        along > made.count - 1 + made.housing_p[1] + reach(made, 1)
    )
    middle = (along - (made.count - 1) / 2) / max(made.count / 2 + 2, 1.0)
    light = 1.0 + made.light * (0.7 * middle + 0.3 * middle**2)
    metal = (base + made.contrast * _metal(rng, made, along) + made.housing_step * outside) * light
    plastic = (base + made.housing_step * outside) * light
    row = (along - (made.count - 1) / 2) * made.tilt
    total = np.zeros((len(down) // SUPERSAMPLED, len(along)))
    # One place of each row of pixels at a time: a table that fits the processor's cache.
    for below in down.reshape(-1, SUPERSAMPLED).T[:, :, None]:
        levels = np.where((below > row - made.height_p / 2) & (below < row + made.height_p / 2), metal, plastic)
        for place, sd, height in made.glare:
            levels += height * np.exp(-0.5 * (((along - place) / sd) ** 2 + ((below - row) / 2.0) ** 2))
        for place, off, radius in made.dirt:
            near = np.abs(along - place) < radius
            dirty = (along[near] - place) ** 2 + (below - row[near] - off) ** 2 < radius**2
            levels[:, near] = np.where(dirty, 0.06, levels[:, near])
        total += levels
    total /= SUPERSAMPLED
    return total


def reach(made: Difficulty, side: int) -> float:
    """How far wide contacts push the housing's edge out, pitches."""
    wide = made.wide_ends[side]
    return 0.0 if wide is None else wide[1] + wide[0] * made.width_p


def _metal(rng: np.random.Generator, made: Difficulty, along: Floats) -> Floats:
    """How bright the metal is (0: none, 1: a typical contact) along the row."""
    metal = np.zeros_like(along)
    for index in range(made.count):
        centre = index + rng.normal(0, made.jitter_p)
        bright = max(0.3, rng.normal(1.0, made.unlike))
        if index == made.missing:
            continue
        for offset in (0.0,) if made.double_p is None else (-made.double_p / 2, made.double_p / 2):
            metal[np.abs(along - centre - offset) < made.width_p / 2] = bright
    full = made.width_p if made.double_p is None else made.double_p + made.width_p
    for side, wide in enumerate(made.wide_ends):
        if wide is not None:
            times, clear = wide
            centre = -full / 2 - clear - times * full / 2
            place = centre if side == 0 else made.count - 1 - centre
            metal[np.abs(along - place) < times * full / 2] = 1.0
    return metal


def _blurred(high: Floats, sigma: float) -> Floats:
    """Gaussian blur (sigma px) of levels supersampled along the row, then the mean over each pixel.

    They are means across the row: both are linear, and the blur along the row is the one that matters.
    """
    fine = SUPERSAMPLED
    reach = int(np.ceil(4 * sigma * fine))
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / (sigma * fine)) ** 2)
    weights /= weights.sum()
    # Most rows are like the row above: plastic beside the contacts, or metal along them.
    changes = np.append(True, (high[1:] != high[:-1]).any(axis=1))
    padded = np.pad(high[changes], ((0, 0), (reach, reach)), mode="edge")
    size = next_fast_len(padded.shape[1], real=True)
    spectrum = np.fft.rfft(padded, size, axis=1) * np.fft.rfft(weights, size)
    along = np.fft.irfft(spectrum, size, axis=1)[:, 2 * reach : padded.shape[1]]
    pixels = np.sum([along[:, place::fine] for place in range(fine)], axis=0) / fine
    return np.asarray(pixels[np.cumsum(changes) - 1])


def saved(levels: Floats, quality: int | None) -> np.ndarray:
    """The picture in 8 bits, after a round trip through a JPEG of that quality."""
    grey = np.round(levels.clip(0, 1) * 255).astype(np.uint8)
    if quality is None:
        return grey
    kept = io.BytesIO()
    Image.fromarray(grey).save(kept, "JPEG", quality=quality)
    return np.asarray(Image.open(kept))


def easy(**changes: object) -> Difficulty:
    """A plain picture: 12 bright contacts at 20 px and nothing else; ``changes`` make it harder."""
    plain = Difficulty(
        count=12,
        pitch=20.0,
        contrast=0.4,
        width_p=0.45,
        height_p=1.5,
        blur=1.2,
        noise=0.05,
        double_p=None,
        light=0.0,
        glare=(),
        dirt=(),
        missing=None,
        wide_ends=(None, None),
        margins_p=(1.7, 1.3),
        housing_p=(2.5, 2.5),
        housing_step=0.0,
        jitter_p=0.004,
        unlike=0.05,
        tilt=0.0,
        jpeg=80,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]
