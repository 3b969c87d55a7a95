"""Measured observations in the JSON form of an identification, rounded."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields
from enum import StrEnum
from typing import Any

from pydantic import TypeAdapter

from api.observations.short_form_writing import piece_of
from api.schemas.measured import Ready
from matcher.observations import Observation

DECIMALS = 4
"""Decimals of a length, in mm or px: far finer than the resolution of any picture or tool."""

FIGURES = 4
"""Significant figures of an uncertainty: more than the usual one or two (GUM 7.2.6)."""

SCALE_FIGURES = 7
"""Significant figures of a scale: rounding it changes a length by at most a ten-thousandth of its uncertainty."""

_READY: TypeAdapter[Ready] = TypeAdapter(Ready)


def rounded(observation: Observation) -> Observation:
    """The observation with its numbers rounded as they are sent, so that both sides compute with the same numbers."""
    changed = {name: _rounded(name, getattr(observation, name)) for name in ("value", *_SIGNIFICANT)}
    return Observation(**{**_values(observation), **{name: v for name, v in changed.items() if v is not None}})


def ready(observations: Iterable[Observation]) -> tuple[Ready, ...]:
    """Observations in the JSON form."""
    return tuple(_READY.validate_python(_stated(observation)) for observation in observations)


def short_form(observations: Sequence[Observation]) -> tuple[str, ...]:
    """Observations in the short form of 'otherhalf identify'."""
    return tuple(piece_of(_stated(observation)) for observation in observations)


_SIGNIFICANT = {"u": FIGURES, "scale_rel": FIGURES, "plane_rel": FIGURES, "px_per_mm": SCALE_FIGURES}


def _rounded(name: str, value: Any) -> Any:
    if not isinstance(value, float):
        return value
    return round(value, DECIMALS) if name == "value" else float(f"{value:.{_SIGNIFICANT[name]}g}")


def _values(observation: Observation) -> dict[str, Any]:
    return {field.name: getattr(observation, field.name) for field in fields(observation)}


def _stated(observation: Observation) -> dict[str, Any]:
    """The fields of an observation that differ from their defaults."""
    stated = {
        field.name: getattr(observation, field.name)
        for field in fields(observation)
        if getattr(observation, field.name) != field.default
    }
    return {name: value.value if isinstance(value, StrEnum) else value for name, value in stated.items()}
