"""How a dimension was measured: the instrument, the picture and plane, and the unit in millimetres."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from matcher.features import FEATURES, Direction, Feature, Plane
from matcher.observations import Observation
from matcher.uncertainty.instruments import UNSCALED, Instrument, Scale, Taken
from matcher.vocabulary import MM_PER_UNIT, PIXEL, canonical_unit

BEYOND = 1000.0
"""Factor outside its plausible range at which a length is refused: an inch, mil or micrometre typed as mm passes."""

UNSCALED_LOW, UNSCALED_HIGH = 1e-3, 1e6
"""Smallest and largest reading in a picture without scale, px or its own unit: no picture is larger."""

SIDE_VIEW = "side_view"
"""Plane of features that only a picture from the side shows: heights."""

PLANE_ORDER = (Plane.HOUSING_TOP, Plane.MATING_FACE, Plane.LANDS, SIDE_VIEW)
"""Order that decides which plane has the picture's scale when two hold equally many readings: nearest the camera."""


def default_instrument(given: Observation) -> str | None:
    """Name of the instrument assumed when none is named; None where the reading has its own uncertainty."""
    if given.px_per_mm is not None:
        return "photo"
    if canonical_unit(given.unit) == PIXEL:
        return UNSCALED[Taken.BY_HAND]
    if given.image is not None:
        return "photo"
    return None if given.u is not None or given.plus_minus is not None else "caliper"


def instrument_of(given: Observation, instruments: Mapping[str, Instrument]) -> Instrument | None:
    """The instrument of a reading; None where the reading has its own uncertainty, or the name is unknown.

    A height in mm that names neither picture nor plane is no length in a picture: a microscope took it by its focus.
    """
    name = given.instrument if given.instrument is not None else default_instrument(given)
    tool = None if name is None else instruments.get(name)
    if tool is None or any(part is not None for part in (given.image, given.plane, given.plane_rel)):
        return tool
    return tool if canonical_unit(given.unit) == PIXEL else tool.taking(FEATURES[given.feature])


def mm_per_unit(given: Observation, instrument: Instrument | None) -> float:
    """Millimetres per unit of a reading; 1 for the pixels of a picture without scale."""
    unit = canonical_unit(given.unit)
    if unit != PIXEL:
        return MM_PER_UNIT[unit]
    if given.px_per_mm is None or (instrument is not None and instrument.unscaled):
        return 1.0
    return 1.0 / given.px_per_mm


def net_mm(given: Observation, instrument: Instrument | None, number: float) -> float:
    """A number of an observation in millimetres (pixels in a picture without scale), over all its gaps.

    ``less`` is subtracted, and so is what is known to be too much (`correction_mm`).
    """
    return (number - (given.less or 0.0)) * mm_per_unit(given, instrument) - correction_mm(given, instrument)


def correction_mm(given: Observation, instrument: Instrument | None) -> float:
    """What every reading is known to be too large by, mm (GUM 3.2.4): a zero error that closed jaws showed, which
    cancels in a difference of two readings by one tool, and the gap under a half on its board."""
    if instrument is None:
        return 0.0
    zero = 0.0 if instrument.zero is None or given.less is not None else instrument.zero.value_mm
    return zero + (instrument.seating_mm if FEATURES[given.feature].seated else 0.0)


def limits_of(feature: Feature, instrument: Instrument | None) -> tuple[float, float, str]:
    """Smallest and largest size that is accepted, and its unit."""
    if instrument is not None and instrument.unscaled:
        return UNSCALED_LOW, UNSCALED_HIGH, "in the picture"
    return feature.low / BEYOND, feature.high * BEYOND, "mm"


def picture_of(given: Observation, instrument: Instrument) -> str:
    """Name of the picture whose readings share one scale error: the image, or all unnamed images of the instrument.

    It does not matter whether px_per_mm was determined once or for each reading: a rule that lies too high or too low
    is wrong for all of them. Where planes have rules of their own, give the picture as several images.
    """
    return f"{instrument.name}:{given.image or ''}"


def group_of(given: Observation, instrument: Instrument) -> str:
    """Name of the group of readings that share a scale error: one picture, for a scanner one direction of it."""
    axis = ""
    if instrument.scale is Scale.AXIS:
        axis = ":along" if FEATURES[given.feature].direction is Direction.ALONG else ":across"
    return f"scale:{picture_of(given, instrument)}{axis}"


def plane_of(given: Observation) -> str:
    """Plane of a reading: as given, or the feature's usual one."""
    return given.plane or FEATURES[given.feature].plane or SIDE_VIEW


def reference_planes(taken: Sequence[tuple[Observation, Instrument]]) -> dict[str, str]:
    """The reference plane of each picture, which its scale belongs to: the plane with most of its readings."""
    counts: dict[str, Counter[str]] = {}
    for given, instrument in taken:
        counts.setdefault(picture_of(given, instrument), Counter())[plane_of(given)] += 1
    return {
        picture: max(PLANE_ORDER, key=lambda plane: (planes[plane], -PLANE_ORDER.index(plane)))
        for picture, planes in counts.items()
    }
