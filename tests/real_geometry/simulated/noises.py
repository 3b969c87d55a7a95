"""Noises of other kinds than the standing study's, each with its seed: does a stated probability hold under them too?

A noise makes observations of a specimen from the true sizes of its half and a random generator. It knows numpy and
nothing of the matcher's own formulas. In the standing study a part deviates uniformly, a caliper errs normally by
0.03 mm and reads to 0.01 mm, and 4 % of the contact counts are off; each noise changes one thing of that, and states
the uncertainty that the person at the bench would state: the caliper's 0.03 mm, or the microscope or photo by name.

All magnitudes are common practice, no source, unless a comment names one. Seeds and magnitudes were fixed before the
model was changed to bear these noises: change none of them, add a noise instead.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from matcher.columns.columns import Dim, Floats, HalfRow
from matcher.observations import Observation
from tests.real_geometry.simulated.simulation import BASIC, CALIPER_U, LANDS, MISCOUNTS, PART, SPAN, STEP

Draw = np.random.Generator
PartDeviation = Callable[[Draw, float], float]
"""How far a part's size lies from its entry's, mm; the second argument is the limit that the drawing states."""

Reader = Callable[[str, float, int], Observation]
"""Reads a feature's size, mm, measured over a number of gaps (1 for all but the pitch)."""

Tool = Callable[[Draw, HalfRow], Reader]
"""Sets the tool up for one specimen: errors that its readings share are drawn here."""

COUNTED = ("contact_count", "rows", "hold_down_count")
SEEN = ("mounting", "orientation", "half_kind")
MEASURED = ("pitch", "body_length", "body_width", "overall_length", "height")
LANDS_MEASURED = ("land_span", "land_row_spacing", "hold_down_land_span", "peg_hole_span")

FEATURE_SETS: Mapping[str, tuple[str, ...]] = {
    "five numbers": BASIC,
    "and mounting": (*BASIC, "mounting"),
    "and land span": (*BASIC, "mounting", "land_span"),
    "and height": (*BASIC, "mounting", "land_span", "height"),
    "all": (*COUNTED, *SEEN, *MEASURED, *LANDS_MEASURED),
    "well measured": (*BASIC, "land_span", "height"),
}
"""What is observed of a specimen. All sets see the same readings of one specimen; footprints have no heights, so
those are invented (`with_heights`)."""

LIMITS = {"pitch": SPAN, "land_span": LANDS}
"""Limits of a part's deviation that differ from the usual ± 0.10 mm; the pitch's is that over all gaps."""


@dataclass(frozen=True, kw_only=True)
class Noise:
    """One way in which specimens and readings differ from the catalogue.

    ``says`` tells in one sentence what it does. ``found_lands`` are the smallest and largest deviation, mm, of the span
    over a found board's lands from an entry that states no tolerance for it; None: lands keep to a stated tolerance.
    """

    name: str
    says: str
    seed: int
    tool: Tool
    part: PartDeviation
    found_lands: tuple[float, float] | None = None

    def specimen(self, half: HalfRow, number: int) -> list[Observation]:
        """Everything that can be observed of specimen ``number``, a part of the half; the same at every call."""
        draw = np.random.default_rng([self.seed, number])
        counted = [Observation(feature=name, value=self._count(draw, half, name)) for name in COUNTED]
        seen = [Observation(feature=name, value=value) for name in SEEN if (value := _category(half, name)) is not None]
        read, gaps = self.tool(draw, half), _gaps(half)
        measured = [
            read(name, self._size(draw, half, name, gaps), gaps if name == "pitch" else 1)
            for name in (*MEASURED, *LANDS_MEASURED)
            if name in half.dimensions and (name != "pitch" or gaps >= 1)
        ]
        return [*counted, *seen, *measured]

    def _count(self, draw: Draw, half: HalfRow, name: str) -> int:
        true = half.counts[name]
        if name != "contact_count" or draw.random() >= MISCOUNTS:
            return true
        step = int(draw.choice([1, half.counts["rows"]]))
        return max(true + int(draw.choice([-step, step])), 1)

    def _size(self, draw: Draw, half: HalfRow, name: str, gaps: int) -> float:
        true = half.dimensions[name].value * (gaps if name == "pitch" else 1)
        if name == "land_span" and self.found_lands is not None:
            return true + draw.uniform(*self.found_lands)
        return true + self.part(draw, LIMITS.get(name, PART))


def _category(half: HalfRow, name: str) -> str | None:
    """What is seen of a category whose value the entry states; None where it states none or several."""
    values = half.categories.get(name, frozenset())
    return next(iter(values)) if len(values) == 1 else None


def _gaps(half: HalfRow) -> int:
    """Gaps between the contacts of one row."""
    return -(-half.counts["contact_count"] // half.counts["rows"]) - 1


def even_part(draw: Draw, limit: float) -> float:
    """Anywhere within the limit, as in the standing study."""
    return float(draw.uniform(-limit, limit))


def normal_part(draw: Draw, limit: float) -> float:
    """Normal, with the limit at two standard deviations: one part in 22 lies outside."""
    return float(draw.normal() * limit / 2)


def normal_error(draw: Draw) -> float:
    """Error of a caliper reading, mm, as in the standing study."""
    return float(draw.normal() * CALIPER_U)


def heavy_tailed_error(draw: Draw) -> float:
    """Student's t with 3 degrees of freedom, scaled by the caliper's uncertainty, mm: one in 17 beyond 3 of it."""
    return float(draw.standard_t(3) * CALIPER_U)


def no_zero(draw: Draw) -> float:
    """Closed jaws show zero."""
    return 0.0


def jaws_not_zeroed(draw: Draw) -> float:
    """All readings of a specimen are 0.04 mm too large, or all too small.

    That is twice the limit of error of a digital caliper (0.02 mm, DIN 862 as quoted by secondary sources).
    """
    return float(draw.choice([-0.04, 0.04]))


def caliper(
    error: Callable[[Draw], float] = normal_error,
    zero: Callable[[Draw], float] = no_zero,
    step: float = STEP,
    slips: float = 0.0,
) -> Tool:
    """A caliper; ``slips`` is the share of lengths that are read or written down wrongly."""

    def set_up(draw: Draw, half: HalfRow) -> Reader:
        shared = zero(draw)

        def read(feature: str, size: float, spans: int) -> Observation:
            reading = size + error(draw) + shared
            if draw.random() < slips:
                reading = _slip(draw, reading)
            shown = max(round(reading / step), 1) * step
            return Observation(feature=feature, value=max(shown, LEAST_SHOWN), u=CALIPER_U, spans=spans)

        return read

    return set_up


LEAST_SHOWN = 0.05
"""Nobody writes down a smaller length, mm."""


def _slip(draw: Draw, reading: float) -> float:
    """A whole or half a millimetre misread, or another size altogether, equally often."""
    kind = int(draw.integers(3))
    if kind == 2:
        return reading * float(np.exp(draw.uniform(-1.0, 1.0)))
    wrong = reading + float(draw.choice([-1.0, 1.0])) * (1.0, 0.5)[kind]
    return wrong if wrong > LEAST_SHOWN else reading


def microscope(draw: Draw, half: HalfRow) -> Reader:
    """A microscope from above: edges, its calibration and the lands' own scale are off; the height is by caliper.

    Edges are off normally by 0.01 mm, the calibration evenly within 0.8 %, the scale at the lands, which lie deeper,
    evenly within another 1.5 %.
    """
    scale = 1.0 + draw.uniform(-0.008, 0.008)
    at_lands = scale * (1.0 + draw.uniform(-0.015, 0.015))
    by_caliper = caliper()(draw, half)

    def read(feature: str, size: float, spans: int) -> Observation:
        if feature == "height":
            return by_caliper(feature, size, spans)
        seen = size * (at_lands if feature in LANDS_MEASURED else scale) + draw.normal() * 0.01
        value = max(round(seen, 3), LEAST_SHOWN)
        return Observation(feature=feature, value=value, instrument="microscope", image="from above", spans=spans)

    return read


ACROSS = ("body_width", "land_span", "land_row_spacing")
"""Sizes across the rows; all others in a picture from above lie along them."""

NEAREST, FARTHEST = 150.0, 400.0
"""Distances of a camera, mm."""

COARSEST, FINEST = 20.0, 300.0
"""Scales of a picture, px/mm, as in the standing study."""


def camera(*, distortion: float = 0.0, tilt: float = 0.0) -> Tool:
    """A photo from above without a scale; the height is by caliper.

    A pinhole: what is nearer is larger. ``distortion`` is the largest relative shift, outwards or inwards, of the ends
    of a part in the middle of the picture; parts lie up to a fifth of their size off it each way. ``tilt`` is the angle
    between board and sensor, degrees, about an axis of any direction. Each end of a length is clicked 1 px off (normal,
    each way).
    """

    def set_up(draw: Draw, half: HalfRow) -> Reader:
        sizes = {name: dim.value for name, dim in half.dimensions.items()}
        reach = max(sizes["body_length"], sizes["body_width"], sizes["land_span"])
        distance, bent = draw.uniform(NEAREST, FARTHEST), draw.uniform(-distortion, distortion)
        scale = float(np.exp(draw.uniform(np.log(COARSEST), np.log(FINEST))))
        middle = draw.uniform(-0.2, 0.2, 2) * reach
        turn = rotation(draw.uniform(0.0, 2.0 * np.pi), np.radians(tilt))
        by_caliper = caliper()(draw, half)

        def clicked(point: Floats) -> Floats:
            x, y, z = turn @ point
            seen = np.array([x, y]) / (1.0 - z / distance)
            seen *= 1.0 + bent * (seen @ seen) / (reach / 2) ** 2
            return np.asarray(seen * scale + draw.normal(size=2))

        def read(feature: str, size: float, spans: int) -> Observation:
            if feature == "height":
                return by_caliper(feature, size, spans)
            end = np.array([0.0, size / 2]) if feature in ACROSS else np.array([size / 2, 0.0])
            depth = 0.0 if feature in LANDS_MEASURED else sizes["height"]
            first, last = (clicked(np.append(middle + sign * end, depth)) for sign in (-1.0, 1.0))
            length = max(float(np.hypot(*(last - first))), 2.0)
            return Observation(
                feature=feature, value=length, unit="px", instrument="unscaled_photo", image="from above", spans=spans
            )

        return read

    return set_up


def rotation(direction: float, angle: float) -> Floats:
    """Rotation by ``angle`` about an axis in the board's plane pointing in ``direction``, both radians (Rodrigues)."""
    x, y = np.cos(direction), np.sin(direction)
    cross = np.array([[0.0, 0.0, y], [0.0, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * cross @ cross)


_TABLE = (
    Noise(
        name="bias",
        says="The caliper was not set to zero: all readings of a specimen are 0.04 mm too large, or all too small.",
        seed=1101,
        tool=caliper(zero=jaws_not_zeroed),
        part=even_part,
    ),
    Noise(
        name="heavy_tails",
        says="Reading errors follow Student's t with 3 degrees of freedom times 0.03 mm.",
        seed=1102,
        tool=caliper(error=heavy_tailed_error),
        part=even_part,
    ),
    Noise(
        name="rounding",
        says="Readings are rounded to 0.05 mm, as on a vernier.",
        seed=1103,
        tool=caliper(step=0.05),
        part=even_part,
    ),
    Noise(
        name="normal_parts",
        says="Parts deviate normally, with the stated limit at two standard deviations.",
        seed=1104,
        tool=caliper(),
        part=normal_part,
    ),
    Noise(
        name="slips_2",
        says="2 % of the lengths are off by 1 mm or 0.5 mm, or are another size altogether.",
        seed=1105,
        tool=caliper(slips=0.02),
        part=even_part,
    ),
    Noise(
        name="slips_5",
        says="5 % of the lengths are off by 1 mm or 0.5 mm, or are another size altogether.",
        seed=1106,
        tool=caliper(slips=0.05),
        part=even_part,
    ),
    Noise(
        name="microscope",
        says="A microscope with an error of scale up to 0.8 %, and up to 1.5 % more at the lands.",
        seed=1107,
        tool=microscope,
        part=even_part,
    ),
    Noise(
        name="lands_0.14",
        says="By microscope, the lands of a found board within 0.14 mm of the entry, which states no tolerance.",
        seed=1108,
        tool=microscope,
        part=even_part,
        found_lands=(-0.14, 0.14),
    ),
    Noise(
        name="lands_0_to_0.4",
        says="By microscope, the lands of a found board 0 to 0.4 mm larger than the entry, which states no tolerance.",
        seed=1109,
        tool=microscope,
        part=even_part,
        found_lands=(0.0, 0.4),
    ),
    Noise(
        name="photo_distorted",
        says="A photo without a scale, straight from above, by a lens that distorts by up to 2 %.",
        seed=1110,
        tool=camera(distortion=0.02),
        part=even_part,
    ),
    Noise(
        name="photo_tilted",
        says="A photo without a scale by a camera tilted 10° in any direction.",
        seed=1111,
        tool=camera(tilt=10.0),
        part=even_part,
    ),
)

NOISES: Mapping[str, Noise] = {noise.name: noise for noise in _TABLE}
"""Every noise by name."""

HEIGHTS_SEED = 1100
LOWEST, HIGHEST = 1.3, 6.0
"""Smallest and largest ratio of an invented height to the pitch, evenly in its logarithm."""


def with_heights(rows: list[HalfRow]) -> list[HalfRow]:
    """The halves with invented heights: one for all halves of a series that have rows, pitch, mounting and width alike.

    Footprints have none. Heights are rounded to 0.05 mm and their tolerance is stated.
    """
    draw, heights = np.random.default_rng(HEIGHTS_SEED), dict[tuple[object, ...], float]()
    made = []
    for row in rows:
        pitch = row.dimensions["pitch"].value
        width = round(row.dimensions["body_width"].value / 0.05)
        body = (row.series, row.counts["rows"], round(pitch, 2), _category(row, "mounting"), width)
        if body not in heights:
            ratio = np.exp(draw.uniform(np.log(LOWEST), np.log(HIGHEST)))
            heights[body] = float(round(pitch * ratio / 0.05) * 0.05)
        height = Dim(value=heights[body], tolerance=PART)
        made.append(replace(row, dimensions={**row.dimensions, "height": height}))
    return made
