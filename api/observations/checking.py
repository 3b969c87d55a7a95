"""Check the form of a request from a raw body, a file or the command line."""

from __future__ import annotations

from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from api.schemas.problems import field_problems
from api.service.problems import ApiError

Form = TypeVar("Form", bound=BaseModel)


def numbers_in(text: str) -> list[float]:
    """Numbers separated by commas; an empty list if any part of the text is not a number."""
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        return []


def line_in(text: str, field: str) -> list[float]:
    """The ends of a line, x0, y0, x1, y1 in pixels; raises ApiError at ``field`` for anything else."""
    numbers = numbers_in(text)
    if len(numbers) != 4:
        remedy = "give x0,y0,x1,y1 in pixels, along a row of contacts, without spaces"
        raise ApiError.at(field, "this is not a line", remedy, value=text)
    return numbers


def form_of(kind: type[Form], given: dict[str, Any]) -> Form:
    """A request of this kind; raises ApiError with all invalid fields."""
    try:
        return kind.model_validate(given)
    except ValidationError as error:
        raise _refusal(kind, error) from error


def form_of_json(kind: type[Form], body: bytes) -> Form:
    """A request of this kind from JSON; raises ApiError if it is not JSON, or with all invalid fields."""
    try:
        return kind.model_validate_json(body)
    except ValidationError as error:
        raise _refusal(kind, error) from error


def _refusal(kind: type[BaseModel], error: ValidationError) -> ApiError:
    errors = error.errors(include_url=False)
    if errors[0]["type"] == "json_invalid":
        return ApiError("malformed-json", str(errors[0]["ctx"]["error"]))
    return ApiError.of_fields(field_problems(errors, kind))
