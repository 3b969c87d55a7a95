"""Process tolerances: how far parts really lie from what the catalogue prints.

Ranking uses min(drawing's half-width, the feature's own for its size), since parts lie well inside a generous drawing.
"""

from __future__ import annotations

import numpy as np

from matcher.columns.columns import Dim, Floats, Ints
from matcher.features import FEATURES

LEAST_OVER_GAPS = 0.002
"""Half-width of a pitch averaged over many gaps never falls below this, mm. Common practice, no source."""

REFERENCE_FACTOR = 1.5
"""A reference dimension is held less closely than a nominal one."""


def process_interval(feature: str, dim: Dim, pitch: float | None) -> tuple[float, float]:
    """Centre and half-width, mm, within which parts of this entry lie.

    A maximum is the upper end and a minimum the lower end of the process; what is only recommended and has no tolerance
    lies about the middle of where it is found.
    """
    process = FEATURES[feature].process
    default = process.half_width(dim.value, pitch)
    if dim.bound == "reference":
        default *= REFERENCE_FACTOR
    if process.shift and dim.tolerance is None:
        return dim.value + process.shift, default
    half_width = default if dim.tolerance is None else min(dim.tolerance, default)
    shift = {"max": -half_width, "min": half_width}.get(dim.bound, 0.0)
    return dim.value + shift, half_width


def over_gaps(feature: str, half_width: Floats, gaps: int | Ints) -> Floats:
    """Half-width, mm, of a dimension measured over several gaps at once and divided.

    Along a row it divides too, since there a drawing's tolerance does not add up.
    """
    return np.maximum(half_width / gaps, LEAST_OVER_GAPS) if FEATURES[feature].is_pitch else half_width
