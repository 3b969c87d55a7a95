"""Measuring instruments, and the error that each can have.

All magnitudes are common practice, no source, unless a comment names one. Each can be overridden.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType

from matcher.errors import ObservationError
from matcher.features import FEATURES, Direction, Feature
from matcher.uncertainty.gum import rectangular
from matcher.vocabulary import closest, remedy_for

OTHER_PLANE_REL = 0.015
"""Relative standard uncertainty of a picture's scale outside its reference plane, the plane with most readings.

Planes differ by about 1 % on low parts and 3 % on tall ones: common practice, no source. A conservative
simplification: the difference counts as independent for each reading, though readings of one plane share it.
"""

SEATING_MM, SEATING_LIMIT_MM = 0.05, 0.03
"""Gap between a soldered half and its board, mm: 0.02 to 0.08, all as likely. Common practice, no source."""

LARGEST_REL = 1.0
"""Limit of a relative uncertainty of a scale: above it, treat the picture as unscaled."""


class Taken(StrEnum):
    """How a picture without a scale was taken, which says how far its readings keep their ratios."""

    BY_HAND = "by_hand"
    """In the hand, or nobody knows: tilted by some degrees, with any lens."""
    FROM_ABOVE = "from_above"
    """Straight from above: on a stand, or held level with care."""
    RECTIFIED = "rectified"
    """In any way, and its perspective was removed since."""


UNSCALED: Mapping[Taken, str] = MappingProxyType(
    {
        Taken.BY_HAND: "unscaled_photo",
        Taken.FROM_ABOVE: "unscaled_photo_from_above",
        Taken.RECTIFIED: "unscaled_photo_rectified",
    }
)
"""Names of the instruments without a scale."""


class Scale(StrEnum):
    """Which readings share an instrument's scale error."""

    NONE = "none"
    """The scale error is negligible or not shared."""
    IMAGE = "image"
    """All readings of one picture."""
    AXIS = "axis"
    """All readings of one picture in one direction: along the rows, or across them."""
    UNKNOWN = "unknown"
    """All readings of one picture of unknown scale: only their ratios count."""


@dataclass(frozen=True, kw_only=True)
class ZeroError:
    """Zero error of a tool, mm: ``value_mm`` is subtracted from every reading; ``u_mm`` is its uncertainty."""

    value_mm: float
    u_mm: float
    distribution: str
    source: str
    degrees_of_freedom: float = math.inf


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """One way of measuring a length.

    Attributes
    ----------
    name, label: identifier and bench words.
    limit_mm: limit of error ± a, rectangular; all readings with one ``zero_tool`` share it as a zero error.
    step_mm: resolution, the smallest step that can be read.
    feel_mm: standard uncertainty of finding the edge by hand or eye; ``feel_distribution`` names its shape.
    inside_and_depth_extra_mm: further limit ± a of inside jaws and depth rods, rectangular.
    seating_mm, seating_limit_mm: the gap under a half on its board is subtracted from readings that include it
        (`Feature.seated`), and is known to ± ``seating_limit_mm``, rectangular. A simplification: readings of one half
        by several instruments count it as independent.
    focus_depth_mm: depth of field, anywhere within which a surface looks sharp: for heights read as the difference of
        two focus settings.
    zero_tool: the tool whose zero error all readings share; None: the limit is independent for each reading.
    scale, scale_rel: which readings share the scale error, and its relative standard deviation.
    other_plane_rel: relative standard uncertainty of the scale in another plane of the same picture.
    perspective_rel: relative standard uncertainty of each reading of a picture by itself: a tilted camera and its lens
        show equal lengths of different size. Tilt and distortion are not independent from reading to reading, but
        which readings they join is not known.
    step_px, feel_px: ``step_mm`` and ``feel_mm`` for readings in pixels; None: readings cannot be in pixels.
    outside_only: it closes on a part from outside, so it cannot take an inside size.
    zero: what closed jaws showed (see `matcher.uncertainty.zero_error`); None: not checked, the limit counts.
    can: names of the features it measures well; others are reduced too, and the budget says so.
    note: advice for the bench.

    Raises
    ------
    ObservationError
        For a magnitude that is negative or not finite, or a scale error that contradicts ``scale``.
    """

    name: str
    label: str
    limit_mm: float = 0.0
    step_mm: float = 0.0
    feel_mm: float = 0.0
    feel_distribution: str = "normal"
    inside_and_depth_extra_mm: float = 0.0
    seating_mm: float = 0.0
    seating_limit_mm: float = 0.0
    focus_depth_mm: float = 0.0
    zero_tool: str | None = None
    scale: Scale = Scale.NONE
    scale_rel: float = 0.0
    other_plane_rel: float = 0.0
    perspective_rel: float = 0.0
    step_px: float | None = None
    feel_px: float | None = None
    outside_only: bool = False
    zero: ZeroError | None = None
    can: frozenset[str] = frozenset()
    note: str = ""

    def __post_init__(self) -> None:
        for name in MAGNITUDES:
            self._check_magnitude(name)
        if (self.scale_rel > 0.0) != (self.scale in (Scale.IMAGE, Scale.AXIS)):
            raise self._error("scale_rel", "give it only for an instrument with a scale error per picture or axis")
        if self.perspective_rel > 0.0 and not self.optical:
            raise self._error("perspective_rel", "give it only for an instrument that takes pictures")
        for name in ("scale_rel", "other_plane_rel", "perspective_rel"):
            if getattr(self, name) >= LARGEST_REL:
                raise self._error(name, "give a relative error below 1; without any scale use unscaled_photo")
        if self.feel_mm <= 0.0 and self.step_mm <= 0.0:
            raise self._error("feel_mm", "no instrument is without error: give feel_mm or step_mm")

    @property
    def optical(self) -> bool:
        """Whether it takes pictures: their readings share a scale, and planes matter."""
        return self.scale is not Scale.NONE

    @property
    def unscaled(self) -> bool:
        """Whether its pictures have no scale at all, so that only ratios of readings count."""
        return self.scale is Scale.UNKNOWN

    @property
    def takes_pixels(self) -> bool:
        """Whether readings may be given in pixels."""
        return self.step_px is not None and self.feel_px is not None

    def taking(self, feature: Feature) -> Instrument:
        """The instrument as it takes a feature outside of a picture: a height by its focus, where it has one, without
        the errors of pictures."""
        if self.focus_depth_mm == 0.0 or feature.direction is not Direction.UPWARDS:
            return self
        return replace(self, scale=Scale.NONE, scale_rel=0.0, other_plane_rel=0.0, perspective_rel=0.0)

    @property
    def zero_error(self) -> ZeroError:
        """The zero error that readings with one ``zero_tool`` share: from closed jaws, else from the limit of error."""
        if self.zero is not None:
            return self.zero
        source = "limit of error of the tool (shared)"
        return ZeroError(value_mm=0.0, u_mm=rectangular(self.limit_mm), distribution="rectangular", source=source)

    def _check_magnitude(self, name: str) -> None:
        value = getattr(self, name)
        if value is None and name in ("step_px", "feel_px"):
            return
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value < math.inf:
            raise self._error(name, "give a finite number of at least 0")

    def _error(self, name: str, remedy: str) -> ObservationError:
        value = getattr(self, name)
        message = f"{name} of the instrument {self.name} cannot be {value!r}"
        return ObservationError(message, field=f"instruments.{self.name}.{name}", value=value, remedy=remedy)


MAGNITUDES = (
    "limit_mm",
    "step_mm",
    "feel_mm",
    "inside_and_depth_extra_mm",
    "seating_mm",
    "seating_limit_mm",
    "focus_depth_mm",
    "scale_rel",
    "other_plane_rel",
    "perspective_rel",
    "step_px",
    "feel_px",
)
"""The fields of `Instrument` that are magnitudes of its errors."""


def _can(name: str) -> frozenset[str]:
    return frozenset(feature.name for feature in FEATURES.values() if name in feature.instruments)


_CALIPER = Instrument(
    name="caliper",
    label="digital caliper, loose part",
    limit_mm=0.02,  # DIN 862 to 200 mm, digital 0.01 (as quoted by secondary sources)
    step_mm=0.01,
    feel_mm=0.02,  # where the jaws settle on a moulded wall
    inside_and_depth_extra_mm=0.02,  # DIN 862 (as quoted by secondary sources)
    zero_tool="caliper",
    note="Close the jaws, set zero, wipe them; light force only.",
)

_UNSCALED = Instrument(
    name=UNSCALED[Taken.BY_HAND],
    label="photo by hand, without a scale",
    step_mm=0.02,  # in the unit of the picture, whatever it is
    feel_mm=0.05,
    scale=Scale.UNKNOWN,
    other_plane_rel=OTHER_PLANE_REL,
    perspective_rel=0.02,
    step_px=1.0,
    feel_px=1.5,
    note="Only ratios count: give at least two readings of one picture. By hand is assumed where nothing else is said.",
)

_TABLE: tuple[Instrument, ...] = (
    _CALIPER,
    replace(
        _CALIPER,
        name="caliper_on_board",
        label="digital caliper, part on its board",
        feel_mm=0.05,  # draft, gate marks and fillets keep the jaws off the wall
        seating_mm=SEATING_MM,
        seating_limit_mm=SEATING_LIMIT_MM,
        note="Keep the jaws level and above the solder fillets.",
    ),
    Instrument(
        name="height_over_board",
        label="height over the board minus the board",
        step_mm=0.01,
        feel_mm=0.04,  # difference of two caliper readings; their common zero error cancels
        seating_mm=SEATING_MM,
        seating_limit_mm=SEATING_LIMIT_MM,
        note="Measure over part and board, then the bare board close by; subtract.",
    ),
    Instrument(
        name="vernier",
        label="vernier caliper",
        limit_mm=0.05,  # DIN 862 to 200 mm, vernier 0.05 (as quoted by secondary sources)
        step_mm=0.05,
        feel_mm=0.03,
        inside_and_depth_extra_mm=0.02,  # DIN 862 (as quoted by secondary sources)
        zero_tool="vernier",
        note="Read square to the scale.",
    ),
    Instrument(
        name="micrometer",
        label="outside micrometer",
        limit_mm=0.004,
        step_mm=0.001,
        feel_mm=0.01,  # plastic gives way under the spindle
        zero_tool="micrometer",
        outside_only=True,
        note="Ratchet only; plastic yields.",
    ),
    Instrument(
        name="pin_gauge",
        label="pin gauges",
        limit_mm=0.002,
        step_mm=0.05,  # the true width lies between the pin that enters and the next
        feel_mm=0.01,
        note="Give the middle between the largest pin that enters and the smallest that does not.",
    ),
    Instrument(
        name="steel_rule",
        label="steel rule",
        limit_mm=0.1,
        step_mm=0.5,
        feel_mm=0.1,
        note="Start at a line, not at the rule's end.",
    ),
    Instrument(
        name="loupe",
        label="loupe with reticle",
        limit_mm=0.02,
        step_mm=0.1,
        feel_mm=0.03,
        note="Lay the reticle on the part; parallax is the largest error.",
    ),
    Instrument(
        name="microscope",
        label="microscope with calibrated scale",
        step_mm=0.001,
        feel_mm=0.01,  # an edge of moulded plastic is rounded
        focus_depth_mm=0.1,  # a stereo microscope of aperture 0.1; λ/NA² + e/(M·NA), formula from memory
        scale=Scale.IMAGE,
        scale_rel=0.005,
        other_plane_rel=OTHER_PLANE_REL,
        step_px=1.0,
        feel_px=1.5,
        note="Calibrate at the magnification used and refocus by the stage, not by the zoom. Heights: from sharp to "
        "sharp, read at the stage.",
    ),
    Instrument(
        name="usb_microscope",
        label="USB microscope",
        step_mm=0.005,
        feel_mm=0.02,
        focus_depth_mm=0.3,  # aperture 0.05, as above
        scale=Scale.IMAGE,
        scale_rel=0.02,
        other_plane_rel=OTHER_PLANE_REL,
        step_px=1.0,
        feel_px=1.5,
        note="Put a scale into the picture at the height of what is measured.",
    ),
    Instrument(
        name="scanner",
        label="flatbed scanner",
        step_mm=25.4 / 2400,  # one pixel at 2400 dots per inch
        feel_mm=0.02,
        scale=Scale.AXIS,
        scale_rel=0.003,
        other_plane_rel=OTHER_PLANE_REL,
        step_px=1.0,
        feel_px=1.5,
        note="Lay the part square to the glass's edge; only what touches the glass is sharp.",
    ),
    Instrument(
        name="photo",
        label="photo with a scale in the same plane",
        step_mm=0.02,
        feel_mm=0.05,
        scale=Scale.IMAGE,
        scale_rel=0.02,
        other_plane_rel=OTHER_PLANE_REL,
        step_px=1.0,
        feel_px=1.5,
        note="From far away with zoom, straight from above, a rule beside the part at the same height.",
    ),
    _UNSCALED,
    replace(
        _UNSCALED,
        name=UNSCALED[Taken.FROM_ABOVE],
        label="photo straight from above, without a scale",
        perspective_rel=0.005,
        note="On a stand, or level and from far away with zoom. Only ratios count.",
    ),
    replace(
        _UNSCALED,
        name=UNSCALED[Taken.RECTIFIED],
        label="rectified photo, without a scale",
        perspective_rel=0.0,
        note="Only where its perspective was removed, by a rectangle of known proportions. Only ratios count.",
    ),
)

BUILT_IN: Mapping[str, Instrument] = MappingProxyType(
    {instrument.name: replace(instrument, can=_can(instrument.name)) for instrument in _TABLE}
)
"""Every built-in instrument by name."""


def overridden(
    overrides: Mapping[str, Mapping[str, float]], base: Mapping[str, Instrument] = BUILT_IN
) -> Mapping[str, Instrument]:
    """The instruments of ``base`` with some magnitudes replaced, e.g. ``{"caliper": {"feel_mm": 0.03}}``.

    Only `MAGNITUDES` can be replaced. To add an `Instrument`, put it into a mapping together with ``base``.

    Raises
    ------
    ObservationError
        For an unknown instrument or magnitude, or a value that the instrument cannot have.
    """
    changed = dict(base)
    for name, values in overrides.items():
        if name not in base:
            raise _unknown(f"instruments.{name}", name, tuple(base))
        for magnitude in values:
            if magnitude not in MAGNITUDES:
                raise _unknown(f"instruments.{name}.{magnitude}", magnitude, MAGNITUDES)
        changed[name] = replace(base[name], **dict(values))  # type: ignore[arg-type]
    return MappingProxyType(changed)


def _unknown(field: str, name: str, known: tuple[str, ...]) -> ObservationError:
    remedy = remedy_for(known, closest(name, known))
    return ObservationError(f"{name!r} is not known", field=field, value=name, remedy=remedy)
