"""From measured observations to the JSON form that an identification takes, sensibly rounded."""

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
"""Decimals of a length, in mm or px: far finer than any picture or tool resolves."""

FIGURES = 4
"""Significant figures of an uncertainty: more than the one or two to which it is known (GUM 7.2.6)."""

SCALE_FIGURES = 7
"""Significant figures of a scale, so that rounding it moves no length by more than a ten-thousandth of its doubt."""

_READY: TypeAdapter[Ready] = TypeAdapter(Ready)


def rounded(observation: Observation) -> Observation:
    """The observation with its numbers rounded as they are sent, so that sender and receiver compute the same."""
    changed = {name: _rounded(name, getattr(observation, name)) for name in ("value", *_SIGNIFICANT)}
    return Observation(**{**_values(observation), **{name: v for name, v in changed.items() if v is not None}})


def ready(observations: Iterable[Observation]) -> tuple[Ready, ...]:
    """Observations in the form of the interface."""
    return tuple(_READY.validate_python(_said(observation)) for observation in observations)


def short_form(observations: Sequence[Observation]) -> tuple[str, ...]:
    """Observations as 'otherhalf identify' takes them; a layout of contacts is typed by its name."""
    return tuple(piece_of(_said(observation)) for observation in observations)


_SIGNIFICANT = {"u": FIGURES, "scale_rel": FIGURES, "plane_rel": FIGURES, "px_per_mm": SCALE_FIGURES}


def _rounded(name: str, value: Any) -> Any:
    if not isinstance(value, float):
        return value
    return round(value, DECIMALS) if name == "value" else float(f"{value:.{_SIGNIFICANT[name]}g}")


def _values(observation: Observation) -> dict[str, Any]:
    return {field.name: getattr(observation, field.name) for field in fields(observation)}


def _said(observation: Observation) -> dict[str, Any]:
    """The fields of an observation that differ from their defaults."""
    said = {
        field.name: getattr(observation, field.name)
        for field in fields(observation)
        if getattr(observation, field.name) != field.default
    }
    return {name: value.value if isinstance(value, StrEnum) else value for name, value in said.items()}
