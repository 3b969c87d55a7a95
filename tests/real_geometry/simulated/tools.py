"""Tools that read a specimen's sizes with errors: calipers, a microscope, a camera. They know numpy, not the matcher.

A tool states what the person at the bench would state: the caliper's standard uncertainty of 0.03 mm, or the microscope
or photo by name. All magnitudes are common practice, no source, unless a comment names one.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from matcher.columns.columns import Floats, HalfRow
from matcher.observations import Observation
from tests.real_geometry.simulated.simulation import CALIPER_U, LAND_SIZES, STEP

Draw = np.random.Generator
Reader = Callable[[str, float, int], Observation]
"""Reads a feature's size, mm, measured over a number of gaps (1 for all but the pitch)."""

Tool = Callable[[Draw, HalfRow], Reader]
"""Sets the tool up for one specimen: errors that its readings share are drawn here."""

LANDS_MEASURED = ("land_span", "land_row_spacing", "hold_down_land_span", "peg_hole_span")
AT_BOARD = (*LANDS_MEASURED, *LAND_SIZES)
"""All sizes at the board: in a picture from above they lie deeper than the others."""


def normal_error(draw: Draw) -> float:
    """Error of a caliper reading, mm, as in the main study."""
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
"""Smallest length that a person writes down, mm."""


def _slip(draw: Draw, reading: float) -> float:
    """A whole or half a millimetre misread, or another size altogether, equally often."""
    kind = int(draw.integers(3))
    if kind == 2:
        return reading * float(np.exp(draw.uniform(-1.0, 1.0)))
    wrong = reading + float(draw.choice([-1.0, 1.0])) * (1.0, 0.5)[kind]
    return wrong if wrong > LEAST_SHOWN else reading


CALIBRATION, OTHER_DEPTH, EDGE = 0.008, 0.015, 0.01
"""A microscope's largest relative error of scale, the largest of what lies deeper besides, and of an edge, mm."""


def microscope(draw: Draw, half: HalfRow) -> Reader:
    """A microscope from above on a part on its board; the height is by caliper.

    Its scale is off evenly within the limits above, for all lengths alike and for those at the lands alike; edges are
    off normally.
    """
    scale = 1.0 + draw.uniform(-CALIBRATION, CALIBRATION)
    at_lands = scale * (1.0 + draw.uniform(-OTHER_DEPTH, OTHER_DEPTH))
    by_caliper = caliper()(draw, half)

    def read(feature: str, size: float, spans: int) -> Observation:
        if feature == "height":
            return by_caliper(feature, size, spans)
        return _magnified(draw, feature, size * (at_lands if feature in AT_BOARD else scale), spans)

    return read


def bare_board(draw: Draw, half: HalfRow) -> Reader:
    """The part is loose and measured by caliper; the lands of its bare board by microscope, all in one plane."""
    scale = 1.0 + draw.uniform(-CALIBRATION, CALIBRATION)
    by_caliper = caliper()(draw, half)

    def read(feature: str, size: float, spans: int) -> Observation:
        if feature not in AT_BOARD:
            return by_caliper(feature, size, spans)
        return _magnified(draw, feature, size * scale, spans)

    return read


def _magnified(draw: Draw, feature: str, seen: float, spans: int) -> Observation:
    value = max(round(seen + draw.normal() * EDGE, 3), LEAST_SHOWN)
    return Observation(feature=feature, value=value, instrument="microscope", image="from above", spans=spans)


ACROSS = ("body_width", "land_span", "land_row_spacing", "land_length")
"""Sizes across the rows; all others in a picture from above lie along them."""

NEAREST, FARTHEST = 150.0, 400.0
"""Distances of a camera, mm."""

COARSEST, FINEST = 20.0, 300.0
"""Scales of a picture, px/mm, as in the main study."""


def camera(*, distortion: float = 0.0, tilt: float = 0.0) -> Tool:
    """A photo from above without a scale; the height is by caliper.

    The person says that it was taken by hand (`unscaled_photo`), also where the lens alone errs: nobody can tell.

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
            depth = 0.0 if feature in AT_BOARD else sizes["height"]
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
