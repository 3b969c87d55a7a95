"""The option ``--closed-jaws``: a tool's zero error, by what it shows with its jaws closed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import typer

from api.schemas.problems import FieldProblem, shown
from api.service.problems import ApiError

JawsOption = Annotated[
    list[str] | None,
    typer.Option("--closed-jaws", metavar="TOOL=MM,MM…", help="What a tool shows with its jaws closed; repeat it."),
]


def closed_jaws_of(texts: Sequence[str]) -> dict[str, list[float]] | None:
    """Readings of closed jaws by tool, None where there are none; raises ApiError at the option."""
    found: dict[str, list[float]] = {}
    for text in texts:
        tool, readings = _jaws(text)
        found.setdefault(tool, []).extend(readings)
    return found or None


def _jaws(text: str) -> tuple[str, list[float]]:
    tool, _, numbers = text.partition("=")
    try:
        readings = [float(number) for number in numbers.split(",")]
    except ValueError:
        readings = []
    if not tool.strip() or not readings:
        message = "these are no readings of closed jaws"
        remedy = "give what the display shows, in mm: caliper=0.01,0.02"
        problem = FieldProblem(field="--closed-jaws", value=shown(text), message=message, remedy=remedy)
        raise ApiError("invalid-request", message, [problem])
    return tool.strip(), readings
