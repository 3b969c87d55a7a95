"""Units of length as people type them, and their value in millimetres."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from matcher.errors import ObservationError
from matcher.suggestions import closest_meaning, remedy_for

PIXEL = "px"
"""Unit of a reading in a picture; it has no length before the picture has a scale."""

MM_PER_UNIT: Mapping[str, float] = MappingProxyType({"mm": 1.0, "in": 25.4, "mil": 0.0254, "um": 0.001})
"""Length of each unit in mm, exact: the inch is 25.4 mm by definition (international yard, 1959; from memory)."""

SPELLINGS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "mm": ("millimetre", "millimetres", "millimeter", "millimeters"),
        "in": ("inch", "inches", "in.", '"', "″", "”", "''"),
        "mil": ("mils", "thou", "thous"),
        "um": ("\N{MICRO SIGN}m", "\N{GREEK SMALL LETTER MU}m", "micron", "microns", "micrometre", "micrometer"),
        PIXEL: ("pixel", "pixels"),
    }
)
"""Known units and what else people type for them; case does not matter."""

_CANONICAL = {word: unit for unit, words in SPELLINGS.items() for word in (unit, *words)}


def canonical_unit(text: str, *, field: str = "unit") -> str:
    """One of mm, in, mil, um and px.

    Raises
    ------
    ObservationError
        At ``field``, when nobody spells a known unit so; the remedy lists those known.
    """
    unit = _CANONICAL.get(text.strip().lower()) if isinstance(text, str) else None
    if unit is None:
        suggestion = closest_meaning(str(text), SPELLINGS)
        raise ObservationError(
            f"the unit {text!r} is not known",
            field=field,
            value=text,
            remedy=remedy_for(SPELLINGS, suggestion),
        )
    return unit


def to_mm(value: float, unit: str, *, field: str = "unit") -> float:
    """``value`` in mm.

    Raises
    ------
    ObservationError
        At ``field``, for an unknown unit and for pixels, which have no length.
    """
    return value * _mm_per(unit, field)


def from_mm(value_mm: float, unit: str, *, field: str = "unit") -> float:
    """A length in ``unit``; raises as `to_mm`."""
    return value_mm / _mm_per(unit, field)


def _mm_per(unit: str, field: str) -> float:
    canonical = canonical_unit(unit, field=field)
    if canonical == PIXEL:
        raise ObservationError(
            "pixels have no length without the picture's scale",
            field=field,
            value=unit,
            remedy="give the picture's scale as px_per_mm, or name the instrument unscaled_photo",
        )
    return MM_PER_UNIT[canonical]
