"""One fault of one observation: where it is, what was given, what to do instead."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TypeGuard

from matcher.errors import ObservationError
from matcher.features import Feature
from matcher.observations import Observation
from matcher.uncertainty.instruments import Instrument

MAX_TEXT = 200
"""Longest marking or name, characters: no half has room for more."""


@dataclass(frozen=True, kw_only=True)
class Checked:
    """An observation under check: with its feature, its place in the list and what it was taken with."""

    index: int
    given: Observation
    feature: Feature
    instruments: Mapping[str, Instrument]

    def fault(self, part: str, value: object, message: str, remedy: str) -> ObservationError:
        """Error at one part of the observation."""
        return ObservationError(message, field=path(self.index, part), value=value, remedy=remedy)


def path(index: int, part: str) -> str:
    """Where something stands in the list the person gave, e.g. ``observations[2].unit``."""
    return f"observations[{index}].{part}"


def is_number(value: object) -> TypeGuard[float]:
    """Whether something is a finite number, truth values left out."""
    try:
        return not isinstance(value, bool | str) and math.isfinite(value)  # type: ignore[arg-type]
    except (TypeError, OverflowError):
        return False


def not_number(checked: Checked, part: str, value: object) -> ObservationError:
    """Error at what should be a number."""
    message = f"{str(value)[:MAX_TEXT]!r} is not a finite number"
    return checked.fault(part, value, message, "give a plain finite number; the unit has a field of its own")


def order_faults(checked: Checked) -> Iterator[ObservationError]:
    """Bounds the wrong way round."""
    low, high = checked.given.min, checked.given.max
    if is_number(low) and is_number(high) and low > high:
        yield checked.fault("min", low, f"the smallest ({low}) is above the largest ({high})", "swap min and max")


def is_text(value: object) -> TypeGuard[str]:
    """Whether something is a name or marking of sensible length."""
    return isinstance(value, str) and bool(value.strip()) and len(value) <= MAX_TEXT
