"""Process tolerances: how far real parts lie from the catalogue's values.

Ranking uses min(drawing's half-width, the feature's own for its size), since parts lie well inside wide drawing
tolerances.
"""

from __future__ import annotations

import numpy as np

from matcher.columns.columns import Dim, Floats, Ints
from matcher.features import FEATURES

LEAST_OVER_GAPS = 0.002
"""Smallest half-width, mm, of a pitch averaged over many gaps. Common practice, no source."""

REFERENCE_FACTOR = 1.5
"""Factor on the half-width of a reference dimension, which is held less closely than a nominal one."""


def process_interval(feature: str, dim: Dim, pitch: float | None) -> tuple[float, float]:
    """Centre and half-width, mm, within which parts of this entry lie.

    A maximum is the upper end and a minimum the lower end of the process. A recommended dimension without tolerance has
    the range in which boards are mostly found around it, see `broad_half_width`.
    """
    process = FEATURES[feature].process
    default = process.half_width(dim.value, pitch)
    if dim.bound == "reference":
        default *= REFERENCE_FACTOR
    if process.recommended and dim.tolerance is None:
        return dim.value + process.shift, default
    half_width = default if dim.tolerance is None else min(dim.tolerance, default)
    shift = {"max": -half_width, "min": half_width}.get(dim.bound, 0.0)
    return dim.value + shift, half_width


def broad_half_width(feature: str, dim: Dim) -> float:
    """Half-width, mm, around the same centre, within which those parts lie that keep less closely to a recommended
    dimension; 0 where a tolerance is stated, or all parts keep to it."""
    if dim.tolerance is not None:
        return 0.0
    return FEATURES[feature].process.broad * (REFERENCE_FACTOR if dim.bound == "reference" else 1.0)


def over_gaps(feature: str, half_width: Floats, gaps: int | Ints) -> Floats:
    """Half-width, mm, of a dimension measured over several gaps at once and divided.

    The half-width is divided by the gaps as well, since a drawing's tolerance along a row does not accumulate.
    """
    return np.maximum(half_width / gaps, LEAST_OVER_GAPS) if FEATURES[feature].is_pitch else half_width
