"""Process tolerances: how far parts really lie from what the catalogue prints.

Ranking uses min(drawing's half-width, the default for the feature and size), since parts lie well inside a generous
drawing. Defaults are common practice, no source; ISO 2768-1 covers machined parts, not mouldings (ISO 20457 does).
"""

from __future__ import annotations

from matcher.columns.columns import Dim

FINE_PITCH = 0.5
"""Pitch up to which widths are held more closely, mm."""

LENGTH_STEPS = ((10.0, 0.10), (30.0, 0.15), (float("inf"), 0.25))
"""Half-width of dimensions along the rows by size, mm."""

STACK_STEPS = ((1.0, 0.10), (5.0, 0.15), (float("inf"), 0.25))
"""Half-width of a stack height by size, mm."""

PITCH_DEFAULT = 0.05
"""Half-width of a pitch over one gap, mm; over s gaps it divides by s."""

LAND_BELOW, LAND_ABOVE = 0.05, 0.45
"""A found board's lands against the recommended ones: 0.05 mm inside to 0.45 mm outside (0.25 and mostly larger)."""

REFERENCE_FACTOR = 1.5
"""A reference dimension is held less closely than a nominal one."""

FIXED = {
    "tail_span": 0.15,
    "height": 0.10,
    "contact_width": 0.03,
    "bank_gap": 0.10,
    "row_spacing": 0.08,
    "peg_hole_span": 0.10,
    "mated_width": 0.20,
}
"""Half-widths that do not depend on size, mm."""

LANDS = ("land_span", "hold_down_land_span")
ALONG = ("body_length", "overall_length", "opening_length")
ACROSS = ("body_width", "opening_width")


def _step(size: float, steps: tuple[tuple[float, float], ...]) -> float:
    return next(half_width for limit, half_width in steps if size <= limit)


def default_half_width(feature: str, size: float, pitch: float | None) -> float:
    """Half-width, mm, of the process where a drawing states no tolerance; ``size`` and ``pitch`` are mm."""
    if feature in ("pitch", "tail_pitch"):
        return PITCH_DEFAULT
    if feature in ALONG:
        return _step(size, LENGTH_STEPS)
    if feature in ACROSS:
        return 0.10 if pitch is not None and pitch <= FINE_PITCH else 0.15
    if feature == "stack_height":
        return _step(size, STACK_STEPS)
    if feature in LANDS:
        return (LAND_BELOW + LAND_ABOVE) / 2
    if feature == "land_row_spacing":
        return 0.10
    return FIXED[feature]


def process_interval(feature: str, dim: Dim, pitch: float | None) -> tuple[float, float]:
    """Centre and half-width, mm, within which parts of this entry lie.

    A maximum is the upper end and a minimum the lower end of the process; a recommended land without tolerance is
    mostly smaller than what is found on a board.
    """
    default = default_half_width(feature, dim.value, pitch)
    if dim.bound == "reference":
        default *= REFERENCE_FACTOR
    if feature in LANDS and dim.tolerance is None:
        return dim.value + (LAND_ABOVE - LAND_BELOW) / 2, default
    half_width = default if dim.tolerance is None else min(dim.tolerance, default)
    shift = {"max": -half_width, "min": half_width}.get(dim.bound, 0.0)
    return dim.value + shift, half_width
