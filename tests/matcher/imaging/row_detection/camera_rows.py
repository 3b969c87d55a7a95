"""Rows rendered in another look than `rendered_rows`, one that no tuning has seen: as a phone or a USB microscope
shows a small connector of two rows.

Counts, pitches and difficulties are drawn as there. What differs in kind: contacts have round corners or are round
pads, and shine on one side; the facing row is in the picture; the row is turned against the pixels and the line is
aimed by hand; light falls off from the middle, and shadows have edges; the plastic has a grain, the housing's end an
edge that shines or is dark; half of the dirt is lint; defocus is a disc; noise grows with light and is smoothed by
interpolation between colours; the camera sharpens and bends levels. Distributions are invented, from memory of such
pictures. Perspective is left out, as in all figures here: pictures are straightened first. Lengths are px unless marked
``_p`` (pitches), levels 0..1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import convolve, gaussian_filter

from matcher.columns.columns import Floats
from matcher.imaging.row_detection.profile import rows_read
from tests.matcher.imaging.row_detection.rendered_rows import Difficulty, Rendered, drawn_difficulty, reach, saved

INTERPOLATED = np.outer([0.25, 0.5, 0.25], [0.25, 0.5, 0.25])
"""Weights of bilinear interpolation between pixels of one colour."""

HALO = 1.2
"""Standard deviation of the blur that sharpening takes away, px. From memory."""


@dataclass(frozen=True, kw_only=True)
class Look:
    """What a picture looks like beyond its `Difficulty`.

    ``length_p`` is that of contacts across the row, ``round`` the radius of their corners as a part of the largest
    possible; ``shine`` the place (widths from the middle), standard deviation (widths) and relative height of the
    bright or dark stripe along each contact. ``facing`` is the distance and the shift of the other row. ``turn`` of the
    row in rad, ``aim_p`` how far the line's ends are off the row's middle. ``shadow``: place, direction (rad), softness
    and depth (0..1). ``edges`` are the housing's, as parts of the contrast; ``grain`` likewise. ``disc`` is the part of
    the blur's variance that is defocus, ``sharpened`` how much, ``tone`` the exponent of the levels.
    """

    length_p: float
    round: float
    shine: tuple[float, float, float]
    facing: tuple[float, float] | None
    turn: float
    aim_p: tuple[float, float]
    shadow: tuple[float, float, float, float] | None
    edges: tuple[float, float]
    grain: float
    lint: tuple[bool, ...]
    disc: float
    sharpened: float
    tone: float

    def kinds(self) -> list[str]:
        """Names of what is special in this look."""
        has = {
            "round pads": self.round == 1.0,
            "facing row": self.facing is not None,
            "shadow": self.shadow is not None,
            "housing's edge": any(self.edges),
            "lint": any(self.lint),
            "sharpened": self.sharpened > 0.0,
        }
        return [name for name, present in has.items() if present]


def drawn_look(rng: np.random.Generator, made: Difficulty) -> Look:
    """One picture's look."""
    pads = made.double_p is None and rng.random() < 0.2
    length = made.width_p if pads else made.height_p
    facing = (float((length + rng.uniform(0.6, 3.0)) * rng.choice([-1, 1])), float(rng.choice([0.0, 0.5])))
    return Look(
        length_p=length,
        round=1.0 if pads else float(rng.uniform(0.0, 0.8)),
        shine=(float(rng.uniform(-0.35, 0.35)), float(rng.uniform(0.1, 0.3)), float(rng.uniform(-0.4, 1.0))),
        facing=facing if rng.random() < 0.75 else None,
        turn=float(np.deg2rad(rng.uniform(-2.0, 2.0))),
        aim_p=(float(rng.uniform(-0.15, 0.15) * length), float(rng.uniform(-0.15, 0.15) * length)),
        shadow=_drawn_shadow(rng, made.count) if rng.random() < 0.3 else None,
        edges=(_drawn_edge(rng), _drawn_edge(rng)),
        grain=float(rng.uniform(0.0, 0.08)),
        lint=tuple(bool(rng.random() < 0.5) for _ in made.dirt),
        disc=float(rng.uniform(0.0, 1.0)),
        sharpened=float(rng.uniform(0.3, 1.2)) if rng.random() < 0.5 else 0.0,
        tone=float(rng.uniform(0.7, 1.0)),
    )


def _drawn_shadow(rng: np.random.Generator, count: int) -> tuple[float, float, float, float]:
    direction = float(rng.uniform(-1.0, 1.0) + rng.choice([0.0, np.pi]))
    return float(rng.uniform(-1, count)), direction, float(rng.uniform(0.1, 2.0)), float(rng.uniform(0.2, 0.6))


def _drawn_edge(rng: np.random.Generator) -> float:
    return float(rng.uniform(-0.5, 0.5)) if rng.random() < 0.3 else 0.0


def photographed(rng: np.random.Generator, made: Difficulty, look: Look) -> Rendered:
    """A picture of this difficulty and look, with the rows that `profile_along` may read."""
    pitch = made.pitch
    left, right = (margin * pitch for margin in made.margins_p)
    start, length = 10.0 + 1.5 * pitch + float(rng.uniform(0, 1)), left + (made.count - 1) * pitch + right
    ends = np.array([[-left, look.aim_p[0] * pitch], [length - left, look.aim_p[1] * pitch]])
    turned = ends @ np.array([[math.cos(look.turn), math.sin(look.turn)], [-math.sin(look.turn), math.cos(look.turn)]])
    low, high = rows_read((*turned[0], *turned[1]))
    first = np.array([start - turned[0, 0], math.ceil(-low) + float(rng.uniform(0, 1))])
    rows, columns = math.ceil(high + first[1]) + 1, math.ceil(turned[1, 0] + first[0] + 1.5 * pitch + 10.0)
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float64)
    right_by, down_by = (x - first[0]) / pitch, (y - first[1]) / pitch
    along = math.cos(look.turn) * right_by + math.sin(look.turn) * down_by
    across = math.cos(look.turn) * down_by - math.sin(look.turn) * right_by
    levels = _taken(rng, made, look, _scene(rng, made, look, along, across))
    (x0, y0), (x1, y1) = turned + first
    # The aim turns the line against the row: what is along the line is longer by less than a thousandth of a pitch.
    return Rendered(
        image=saved(levels, made.jpeg),
        line=(float(x0), float(y0), float(x1), float(y1)),
        first=left,
        difficulty=made,
        look=tuple(look.kinds()),
    )


def _scene(rng: np.random.Generator, made: Difficulty, look: Look, along: Floats, across: Floats) -> Floats:
    """Levels of the scene, sharp but for the pixels' size."""
    last, pitch = made.count - 1, made.pitch
    metal = _contacts(rng, made, look, along, across)
    if look.facing is not None:
        away, shift = look.facing
        metal += _contacts(rng, made, look, along - shift, across - away)
    size = (made.width_p if made.double_p is None else made.double_p + made.width_p) / 2.0
    for side, wide in enumerate(made.wide_ends):
        if wide is not None:
            times, clear = wide
            place = -size - clear - times * size if side == 0 else last + size + clear + times * size
            metal += _box(along - place, across, (times * size, look.length_p / 2.0), look.round, pitch)
    grain = gaussian_filter(rng.normal(size=along.shape), 0.15 * pitch)
    levels = made.contrast * metal + look.grain * abs(made.contrast) * grain / grain.std() * (1.0 - metal.clip(0, 1))
    levels += 0.12 if made.contrast > 0 else 0.2 - made.contrast
    for side, edge in enumerate(look.edges):
        end = -made.housing_p[0] - reach(made, 0) if side == 0 else last + made.housing_p[1] + reach(made, 1)
        levels += made.housing_step * ((along - end) * (2 * side - 1)).clip(0.0, 1.0 / pitch) * pitch
        levels += edge * abs(made.contrast) * np.exp(-0.5 * ((along - end) / 0.08) ** 2)
    middle = (along - last / 2) / max(made.count / 2 + 2, 1.0)
    levels *= 1.0 + 0.7 * made.light * middle - 0.4 * abs(made.light) * middle**2
    if look.shadow is not None:
        place, direction, soft, depth = look.shadow
        beyond = (along - place) * math.cos(direction) + across * math.sin(direction)
        levels *= 1.0 - depth / (1.0 + np.exp((-beyond / (soft / 2.0)).clip(-50.0, 50.0)))
    for place, sd, height in made.glare:
        levels += height * np.exp(-0.5 * (((along - place) / sd) ** 2 + (across / 2.0) ** 2))
    for (place, off, radius), lint in zip(made.dirt, look.lint, strict=True):
        direction = rng.uniform(0.0, np.pi) if lint else 0.0
        by, of = along - place, across - off
        shape = (3.0 * radius, 0.25 * radius) if lint else (radius, radius)
        lying = by * math.cos(direction) + of * math.sin(direction), of * math.cos(direction) - by * math.sin(direction)
        covered = _box(*lying, shape, 1.0, pitch)
        levels += covered * ((0.7 if lint and rng.random() < 0.5 else 0.06) - levels)
    return levels


def _contacts(rng: np.random.Generator, made: Difficulty, look: Look, along: Floats, across: Floats) -> Floats:
    """How bright the metal of one row is (0: none, 1: the mean of a typical contact)."""
    jitter = rng.normal(0, made.jitter_p, made.count)
    bright = np.maximum(0.3, rng.normal(1.0, made.unlike, made.count))
    if made.missing is not None:
        bright[made.missing] = 0.0
    index = np.round(along).clip(0, made.count - 1).astype(np.intp)
    by = along - index - jitter[index]
    place, sd, height = look.shine
    metal = np.zeros_like(along)
    for offset in (0.0,) if made.double_p is None else (-made.double_p / 2, made.double_p / 2):
        widths = (by - offset) / made.width_p
        shade = 1.0 + height * np.exp(-0.5 * ((widths - place) / sd) ** 2)
        mean = 1.0 + height * float(np.mean(np.exp(-0.5 * ((np.linspace(-0.5, 0.5, 101) - place) / sd) ** 2)))
        half = (made.width_p / 2.0, look.length_p / 2.0)
        metal += shade / mean * _box(by - offset, across, half, look.round, made.pitch)
    return np.asarray(metal * bright[index])


def _box(along: Floats, across: Floats, half: tuple[float, float], part: float, pitch: float) -> Floats:
    """The part of each pixel inside a box with round corners: ``half`` its half-width and half-length in pitches,
    ``part`` the corners' radius as a part of the largest."""
    radius = part * min(half)
    out_x, out_y = np.abs(along) - half[0] + radius, np.abs(across) - half[1] + radius
    outside = np.hypot(out_x.clip(0.0), out_y.clip(0.0)) + np.minimum(np.maximum(out_x, out_y), 0.0) - radius
    return np.asarray((0.5 - outside * pitch).clip(0.0, 1.0))


def _taken(rng: np.random.Generator, made: Difficulty, look: Look, scene: Floats) -> Floats:
    """What the camera makes of the scene: out of focus, bent, sharpened, noisy."""
    # A disc of radius r has a standard deviation of r / 2 along each axis.
    focused = convolve(scene, _disc(2.0 * made.blur * math.sqrt(look.disc)), mode="nearest")
    blurred = gaussian_filter(focused, made.blur * math.sqrt(1.0 - look.disc), mode="nearest")
    levels = blurred.clip(0.0, 1.0) ** look.tone
    levels += look.sharpened * (levels - gaussian_filter(levels, HALO, mode="nearest"))
    noise = convolve(rng.normal(size=scene.shape), INTERPOLATED) / math.sqrt(float((INTERPOLATED**2).sum()))
    # Noise is as strong as stated halfway between metal and plastic, in the picture as saved.
    halfway = 0.5 * abs(made.contrast) + (0.12 if made.contrast > 0 else 0.2)
    return np.asarray(levels + made.noise * abs(made.contrast) * np.sqrt(levels.clip(0.0) / halfway) * noise)


def _disc(radius: float) -> Floats:
    """Weights of a disc, with soft edges a pixel wide."""
    size = math.ceil(radius + 0.5)
    y, x = np.mgrid[-size : size + 1, -size : size + 1]
    weights = (radius + 0.5 - np.hypot(x, y)).clip(0.0, 1.0)
    return np.asarray(weights / weights.sum())


def camera_picture(family: int, number: int) -> Rendered:
    """One picture of a family of seeds in this look."""
    rng = np.random.default_rng([family, number])
    made = drawn_difficulty(rng)
    return photographed(rng, made, drawn_look(rng, made))
