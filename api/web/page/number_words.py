"""Figures as people type them into a field: a decimal comma, a unit of length."""

from __future__ import annotations

import math
import re

from matcher.errors import ObservationError
from matcher.vocabulary import to_mm

_FIGURE = re.compile(r"(?P<number>\d+(?:[.,]\d+)?|[.,]\d+)\s*(?P<unit>[a-zA-Z\"″”µμ]*)")


def figure_typed(text: str) -> float | None:
    """The number, a length in mm where it has a unit; None for what is no figure."""
    found = _FIGURE.fullmatch(text.strip())
    if found is None:
        return None
    number = float(found["number"].replace(",", "."))
    if not found["unit"]:
        return number if math.isfinite(number) else None
    try:
        return to_mm(number, found["unit"])
    except ObservationError:
        return None
