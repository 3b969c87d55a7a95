"""What a stated current allows at another ambient temperature.

IEC 60512-5-2 derates to 0.8 of the base curve, the measured current over the ambient at which a contact reaches its
upper temperature. Both hold for the number of loaded contacts with which they were taken. The standard itself was not
read: the factor is as cited in public documents.
"""

from __future__ import annotations

import math

DERATING = 0.8
"""Derated current over that of the base curve."""

SQUARE_ROOT = (
    "The base curve is taken to go with the square root of the temperature rise that is left, since heat goes with the "
    "square of the current: an approximation, common practice, no source."
)


def base_curve_a(stated_a: float, rise_k: float, upper_c: float, ambient_c: float) -> float:
    """The current of one contact, A, that warms it from the ambient to its upper temperature; 0 where nothing is left.

    ``stated_a`` warms it by ``rise_k``.
    """
    return stated_a * math.sqrt(max(upper_c - ambient_c, 0.0) / rise_k)


def derated_a(base_a: float) -> float:
    """The current of the derating curve, A."""
    return DERATING * base_a


def allowed_a(stated_a: float, rise_k: float, upper_c: float, ambient_c: float) -> float:
    """The derated current at this ambient, A, and never more than is stated."""
    return min(stated_a, derated_a(base_curve_a(stated_a, rise_k, upper_c, ambient_c)))
