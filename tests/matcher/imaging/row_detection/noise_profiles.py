"""Profiles without contacts: noise of eight kinds, 40 to 2,000 levels long, drawn by a seeded generator.

``python -m tests.matcher.imaging.row_detection.noise_profiles 400 SEED`` prints for each kind how many of 400
profiles are answered with a row, and how many of those rows are called sure.
"""

from __future__ import annotations

import io
import math
import sys
from collections.abc import Callable, Mapping

import numpy as np
from PIL import Image

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.imaging.row_detection.detection import FoundRow, find_contacts

Kind = Callable[[np.random.Generator, int], Floats]


def white(rng: np.random.Generator, length: int) -> Floats:
    """Each level by itself."""
    return rng.normal(0.0, 1.0, length)


def smoothed(rng: np.random.Generator, length: int) -> Floats:
    """Means of 2 to 12 levels of white noise: a defocused texture."""
    return np.convolve(rng.normal(0.0, 1.0, length + 20), np.ones(int(rng.integers(2, 13))), mode="same")[10:-10]


def coloured(rng: np.random.Generator, length: int) -> Floats:
    """Amplitudes that fall with frequency to the power 0.3 to 1."""
    frequency = np.fft.rfftfreq(length)
    frequency[0] = 1.0
    return np.fft.irfft(np.fft.rfft(white(rng, length)) / frequency ** rng.uniform(0.3, 1.0), length)


def walk(rng: np.random.Generator, length: int) -> Floats:
    """The sum of white noise."""
    return np.cumsum(white(rng, length))


def ramp(rng: np.random.Generator, length: int) -> Floats:
    """White noise on uneven light."""
    x = np.linspace(0.0, 1.0, length)
    return rng.uniform(3, 30) * x + rng.uniform(-20, 20) * x**2 + white(rng, length)


def blobs(rng: np.random.Generator, length: int) -> Floats:
    """One or two soft bright or dark places in white noise."""
    x, levels = np.linspace(0.0, 1.0, length), white(rng, length)
    for _ in range(rng.integers(1, 3)):
        levels += rng.uniform(-30, 30) * np.exp(-0.5 * ((x - rng.uniform()) / rng.uniform(0.005, 0.1)) ** 2)
    return levels


def bars(rng: np.random.Generator, length: int) -> Floats:
    """One or two sharp bright or dark bars in white noise."""
    x, levels = np.linspace(0.0, 1.0, length), white(rng, length)
    for _ in range(rng.integers(1, 3)):
        levels += rng.uniform(-30, 30) * (np.abs(x - rng.uniform()) < rng.uniform(0.005, 0.05))
    return levels


def jpeg(rng: np.random.Generator, length: int) -> Floats:
    """White noise, half of it on a ramp, saved as a JPEG of quality 5 to 59: its blocks remain visible."""
    levels = 0.5 + rng.uniform(0.01, 0.1) * rng.normal(0.0, 1.0, (16, length))
    if rng.random() < 0.5:
        levels += rng.uniform(-0.3, 0.3) * np.linspace(0.0, 1.0, length)
    kept = io.BytesIO()
    Image.fromarray((levels.clip(0.0, 1.0) * 255).astype(np.uint8)).save(kept, "JPEG", quality=int(rng.integers(5, 60)))
    return np.asarray(Image.open(kept), dtype=np.float64).mean(axis=0) / 255


KINDS: Mapping[str, Kind] = {made.__name__: made for made in (white, smoothed, coloured, walk, ramp, blobs, bars, jpeg)}


def noise(kind: str, seed: int, number: int) -> Floats:
    """One profile of a kind, at 0.3 to 12 % of the range of levels; a JPEG's levels stay as they are."""
    rng = np.random.default_rng([seed, list(KINDS).index(kind), number])
    length = int(math.exp(rng.uniform(math.log(40), math.log(2000))))
    levels = KINDS[kind](rng, length)
    if kind == "jpeg":
        return levels
    spread = math.exp(rng.uniform(math.log(0.003), math.log(0.12)))
    return 0.5 + spread * (levels - levels.mean()) / levels.std()


def found_in(values: Floats) -> FoundRow | None:
    """The row found, or None where the profile is refused, as it should be."""
    try:
        return find_contacts(values)
    except ObservationError:
        return None


def main(profiles: int, seed: int) -> None:
    """Print the answers of each kind."""
    for kind in KINDS:
        rows = [row for number in range(profiles) if (row := found_in(noise(kind, seed, number)))]
        print(f"{kind}: {len(rows)} of {profiles} answered, {sum(row.sure for row in rows)} sure", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), seed=int(sys.argv[2]))
