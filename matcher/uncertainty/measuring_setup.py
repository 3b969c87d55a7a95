"""How a dimension was taken: with which instrument, in which picture and plane, and what a reading's unit is worth."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from matcher.features import FEATURES, Direction, Feature, Plane
from matcher.observations import Observation
from matcher.uncertainty.instruments import Instrument, Scale
from matcher.vocabulary import MM_PER_UNIT, PIXEL, canonical_unit

BEYOND = 1000.0
"""How far outside its plausible range a length is refused: an inch, mil or micrometre typed as mm still passes."""

UNSCALED_LOW, UNSCALED_HIGH = 1e-3, 1e6
"""Smallest and largest reading in a picture without scale, px or its own unit: no picture is larger."""

SIDE_VIEW = "side_view"
"""Plane of what only a picture from the side shows: heights."""

PLANE_ORDER = (Plane.HOUSING_TOP, Plane.MATING_FACE, Plane.LANDS, SIDE_VIEW)
"""Which plane a picture's scale belongs to where two hold equally many readings: the one nearest the camera."""


def default_instrument(given: Observation) -> str | None:
    """Name of what a reading is taken to be measured with when nothing is said; None where its ± says it all."""
    if given.px_per_mm is not None:
        return "photo"
    if canonical_unit(given.unit) == PIXEL:
        return "unscaled_photo"
    if given.image is not None:
        return "photo"
    return None if given.u is not None or given.plus_minus is not None else "caliper"


def instrument_of(given: Observation, instruments: Mapping[str, Instrument]) -> Instrument | None:
    """What a reading was measured with; None where its own ± says it all, or the name is unknown."""
    name = given.instrument if given.instrument is not None else default_instrument(given)
    return None if name is None else instruments.get(name)


def mm_per_unit(given: Observation, instrument: Instrument | None) -> float:
    """Millimetres per unit of a reading; 1 for the pixels of a picture without scale."""
    unit = canonical_unit(given.unit)
    if unit != PIXEL:
        return MM_PER_UNIT[unit]
    if given.px_per_mm is None or (instrument is not None and instrument.unscaled):
        return 1.0
    return 1.0 / given.px_per_mm


def net_mm(given: Observation, instrument: Instrument | None, number: float) -> float:
    """Millimetres (pixels in a picture without scale) that a number of an observation stands for, gaps undivided.

    What is to be taken off is taken off, and so is a zero error that closed jaws showed; in a difference of two
    readings by one tool it cancels.
    """
    if given.less is not None:
        return (number - given.less) * mm_per_unit(given, instrument)
    zero = 0.0 if instrument is None or instrument.zero is None else instrument.zero.value_mm
    return number * mm_per_unit(given, instrument) - zero


def limits_of(feature: Feature, instrument: Instrument | None) -> tuple[float, float, str]:
    """Smallest and largest size that is taken seriously at all, and its unit."""
    if instrument is not None and instrument.unscaled:
        return UNSCALED_LOW, UNSCALED_HIGH, "in the picture"
    return feature.low / BEYOND, feature.high * BEYOND, "mm"


def picture_of(given: Observation, instrument: Instrument) -> str:
    """Name of what shares one scale error: the image, or all unnamed ones of the instrument.

    Whether px_per_mm was read off once or for each reading does not matter: a rule that lies too high or low is
    wrong for all of them. A picture whose planes have rules of their own is given as several images.
    """
    return f"{instrument.name}:{given.image or ''}"


def group_of(given: Observation, instrument: Instrument) -> str:
    """Name of the readings that share a scale error: of one picture, and for a scanner of one direction."""
    axis = ""
    if instrument.scale is Scale.AXIS:
        axis = ":along" if FEATURES[given.feature].direction is Direction.ALONG else ":across"
    return f"scale:{picture_of(given, instrument)}{axis}"


def plane_of(given: Observation) -> str:
    """Plane in which a reading lies: as given, or the feature's usual one."""
    return given.plane or FEATURES[given.feature].plane or SIDE_VIEW


def reference_planes(taken: Sequence[tuple[Observation, Instrument]]) -> dict[str, str]:
    """For each picture the plane that holds most of its readings: its scale is taken to be that plane's."""
    counts: dict[str, Counter[str]] = {}
    for given, instrument in taken:
        counts.setdefault(picture_of(given, instrument), Counter())[plane_of(given)] += 1
    return {
        picture: max(PLANE_ORDER, key=lambda plane: (planes[plane], -PLANE_ORDER.index(plane)))
        for picture, planes in counts.items()
    }
