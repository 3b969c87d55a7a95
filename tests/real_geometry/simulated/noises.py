"""Other kinds of noise than the main study's, each with its seed: do stated probabilities hold under them too?

A noise makes observations of a specimen from the true sizes of its half and a random generator. It knows numpy and
nothing of the matcher's own formulas. In the main study a part deviates uniformly, a caliper errs normally by
0.03 mm and reads to 0.01 mm, and 4 % of the contact counts are off; each noise changes one thing of that.

All magnitudes are common practice, no source, unless a comment names one. Seeds and magnitudes were fixed before the
model was changed to bear these noises: change none of them, add a noise instead.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matcher.columns.columns import Dim, HalfRow
from matcher.observations import Observation
from tests.real_geometry.simulated.simulation import BASIC, LAND_LIMITS, LAND_SIZES, MISCOUNTS, PART, SPAN
from tests.real_geometry.simulated.tools import (
    AT_BOARD,
    LANDS_MEASURED,
    Draw,
    Tool,
    bare_board,
    caliper,
    camera,
    heavy_tailed_error,
    jaws_not_zeroed,
    microscope,
)

PartDeviation = Callable[[Draw, float], float]
"""Deviation of a part's size from its entry's, mm; the second argument is the limit stated on the drawing."""

COUNTED = ("contact_count", "rows", "hold_down_count")
SEEN = ("mounting", "orientation", "half_kind")
MEASURED = ("pitch", "body_length", "body_width", "overall_length", "height")

FEATURE_SETS: Mapping[str, tuple[str, ...]] = {
    "five numbers": BASIC,
    "and mounting": (*BASIC, "mounting"),
    "and land span": (*BASIC, "mounting", "land_span"),
    "and height": (*BASIC, "mounting", "land_span", "height"),
    "all": (*COUNTED, *SEEN, *MEASURED, *LANDS_MEASURED),
    "well measured": (*BASIC, "land_span", "height"),
    "all and lands": (*COUNTED, *SEEN, *MEASURED, *LANDS_MEASURED, *LAND_SIZES),
}
"""What is observed of a specimen. All sets see the same readings of one specimen; footprints have no heights, so
those are invented (`with_heights`)."""

LIMITS = {"pitch": SPAN, **LAND_LIMITS}
"""Limits of a part's deviation that differ from the usual ± 0.10 mm; the pitch's is that over all gaps."""


@dataclass(frozen=True, kw_only=True)
class Noise:
    """One way in which specimens and readings differ from the catalogue.

    ``says`` describes it in one sentence. ``found_lands`` are the smallest and largest deviation, mm, of the span
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
        counted = [
            Observation(feature=name, value=self._count(draw, half, name)) for name in COUNTED if name in half.counts
        ]
        seen = [Observation(feature=name, value=value) for name in SEEN if (value := _category(half, name)) is not None]
        read, gaps = self.tool(draw, half), _gaps(half)
        measured = [
            read(name, self._size(draw, half, name, gaps), gaps if name == "pitch" else 1)
            for name in (*MEASURED, *AT_BOARD)
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
    """Anywhere within the limit, as in the main study."""
    return float(draw.uniform(-limit, limit))


def normal_part(draw: Draw, limit: float) -> float:
    """Normal, with the limit at two standard deviations: one part in 22 lies outside."""
    return float(draw.normal() * limit / 2)


_TABLE = (
    Noise(
        name="standing",
        says="The main study's own noise, to compare the others with.",
        seed=1112,
        tool=caliper(),
        part=even_part,
    ),
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
        says="A bare board's lands, by microscope, within 0.14 mm of the entry, which states no tolerance.",
        seed=1108,
        tool=bare_board,
        part=even_part,
        found_lands=(-0.14, 0.14),
    ),
    Noise(
        name="lands_0_to_0.4",
        says="A bare board's lands, by microscope, 0 to 0.4 mm larger than the entry, which states no tolerance.",
        seed=1109,
        tool=bare_board,
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

COPIED_HEIGHTS = 0.5
"""Share of bodies with the height of the first body of their shape, whatever its series; the others have their own."""


def with_heights(rows: Sequence[HalfRow]) -> list[HalfRow]:
    """The halves with invented heights, since footprints have none.

    Halves of one series with the same shape (rows, pitch, mounting, width) have one height, whatever their contact
    count. Heights are rounded to 0.05 mm and their tolerance is stated.
    """
    draw = np.random.default_rng(HEIGHTS_SEED)
    of_shape, of_body = dict[Shape, float](), dict[tuple[str, Shape], float]()
    made = []
    for row in rows:
        shape = _shape(row)
        if (row.series, shape) not in of_body:
            ratio = np.exp(draw.uniform(np.log(LOWEST), np.log(HIGHEST)))
            own = float(round(row.dimensions["pitch"].value * ratio / 0.05) * 0.05)
            first = of_shape.setdefault(shape, own)
            of_body[row.series, shape] = first if draw.random() < COPIED_HEIGHTS else own
        height = Dim(value=of_body[row.series, shape], tolerance=PART)
        made.append(replace(row, dimensions={**row.dimensions, "height": height}))
    return made


Shape = tuple[int, float, str | None, int]


def _shape(row: HalfRow) -> Shape:
    """Rows, pitch, mounting, and width in steps of 0.1 mm."""
    pitch, width = (row.dimensions[name].value for name in ("pitch", "body_width"))
    return row.counts["rows"], round(pitch, 2), _category(row, "mounting"), round(width / 0.1)
