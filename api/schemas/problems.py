"""A problem as it goes over the wire (RFC 9457), and where in the request it sits."""

from __future__ import annotations

import math
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

LONGEST_VALUE = 200
"""Most characters of an offending value in a problem document."""


class FieldProblem(BaseModel):
    """One thing that is wrong: where, what was given, why that does not do, and what to give instead."""

    model_config = ConfigDict(frozen=True)

    field: str = Field(description="Path of the offending part.", examples=["observations[2].unit"])
    value: Any = Field(default=None, description="What was given, shortened where it is long.")
    message: str = Field(description="What is wrong with it.")
    remedy: str = Field(default="", description="What to do instead.")
    acknowledge: str | None = Field(
        default=None, description="Code under which a reason in `acknowledge` lets it pass, where that can be."
    )


class Problem(BaseModel):
    """A problem document, application/problem+json."""

    model_config = ConfigDict(
        frozen=True,
        json_schema_extra={
            "examples": [
                {
                    "type": "/problems/invalid-observations",
                    "title": "An observation cannot be used",
                    "status": 422,
                    "detail": "the unit 'cm' is not known",
                    "instance": "/v1/identify",
                    "errors": [
                        {
                            "field": "observations[1].unit",
                            "value": "cm",
                            "message": "the unit 'cm' is not known",
                            "remedy": "did you mean 'mm'? (known: mm, in, mil, um, px)",
                        }
                    ],
                }
            ]
        },
    )

    type: str = Field(description="What kind of problem; the page at this address says what to do.")
    title: str = Field(description="The kind of problem in words.")
    status: int = Field(description="The HTTP status.")
    detail: str = Field(description="What happened this time.")
    instance: str = Field(default="", description="The address that was asked.")
    errors: tuple[FieldProblem, ...] = Field(default=(), description="Every offending field that was found.")


def shown(value: object) -> object:
    """An offending value in a form that JSON can carry: NaN and infinities as words, long values shortened."""
    if isinstance(value, float) and not math.isfinite(value):
        return "NaN" if math.isnan(value) else ("Infinity" if value > 0 else "-Infinity")
    if value is None or isinstance(value, bool | int | float):
        return value if not isinstance(value, int) or abs(value) < 2**63 else _short(str(value))
    if isinstance(value, str):
        return _short(value)
    if isinstance(value, list | tuple):
        if len(value) == 1 and isinstance(value[0], str):
            return _short(value[0])  # a lone word is read as a list of one; its writer wrote the word
        return f"a list of {len(value)}"
    return _short(repr(value))


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 1] + "…"
