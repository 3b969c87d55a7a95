"""A request's form checked outside of a route's own parameters: raw bodies, files, the command line."""

from __future__ import annotations

from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from api.schemas.problems import field_problems
from api.service.problems import ApiError

Form = TypeVar("Form", bound=BaseModel)


def numbers_in(text: str) -> list[float]:
    """Numbers with commas between; none where a part of the text is no number."""
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        return []


def form_of(kind: type[Form], given: dict[str, Any]) -> Form:
    """A request of this kind; raises ApiError with every field that does not do."""
    try:
        return kind.model_validate(given)
    except ValidationError as error:
        raise _refusal(kind, error) from error


def form_of_json(kind: type[Form], body: bytes) -> Form:
    """A request of this kind from JSON; raises ApiError where it is none, or with every field that does not do."""
    try:
        return kind.model_validate_json(body)
    except ValidationError as error:
        raise _refusal(kind, error) from error


def _refusal(kind: type[BaseModel], error: ValidationError) -> ApiError:
    errors = error.errors(include_url=False)
    if errors[0]["type"] == "json_invalid":
        return ApiError("malformed-json", str(errors[0]["ctx"]["error"]))
    return ApiError.of_fields(field_problems(errors, kind))
