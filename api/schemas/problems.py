"""Models of problem documents (RFC 9457), and the conversion of pydantic's errors into them: the path in the sender's
form, the value given, and what to give instead."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, get_args

from pydantic import BaseModel, ConfigDict, Field

from api.schemas.answers import Out
from api.schemas.contributing import ENTRY_TAGS
from api.schemas.measuring import PERSPECTIVE_TAGS
from api.schemas.requests import KIND_TAGS, UNKNOWN_FEATURE, ExplainRequest, observation_model
from catalog.model.entries import Half, Mating, Series
from matcher.features import FEATURES
from matcher.vocabulary import closest, feature_remedy, remedy_for

LONGEST_VALUE = 200
"""Most characters of a wrong value in a problem document."""

_ENTRY_TAGS: Mapping[str | int, type[BaseModel]] = {
    ENTRY_TAGS["series"]: Series,
    ENTRY_TAGS["half"]: Half,
    ENTRY_TAGS["mating"]: Mating,
}
"""Models of the kinds of entry, by their names in pydantic's errors."""

_SOURCES = ("body", "query", "path", "header")

_REMEDIES: Mapping[str, str] = {
    "missing": "add it",
    "float_type": "give a number with a decimal point, without quotation marks",
    "finite_number": "give a finite number; leave the field out if nothing was measured",
    "int_type": "give a whole number, without quotation marks",
    "int_from_float": "give a whole number",
    "int_parsing": "give a whole number",
    "string_type": "give text",
    "string_too_short": "give some text; leave out a field that is not required",
    "bool_type": "give true or false",
    "tuple_type": "give a list",
    "dict_type": "give an object",
    "model_type": "give an object",
    "model_attributes_type": "give an object",
    "string_too_long": "give at most {max_length} characters",
    "greater_than_equal": "give {ge} or more",
    "greater_than": "give more than {gt}",
    "less_than_equal": "give {le} or less",
    "less_than": "give less than {lt}",
    "enum": "give {expected}",
    "literal_error": "give {expected}",
    "too_short": "give at least one; leave out what was not measured",
    "too_long": "send fewer; one specimen needs a few dozen at most",
}

_ELSE = "look up its form at /docs"


class FieldProblem(Out):
    """One error: the field, the value given, what is wrong with it, and what to give instead."""

    field: str = Field(description="Path of the wrong field.", examples=["observations[2].unit"])
    value: Any = Field(default=None, description="The value given; long values are shortened.")
    message: str = Field(description="What is wrong with it.")
    remedy: str = Field(default="", description="What to do instead.")
    acknowledge: str | None = Field(
        default=None, description="Code to give in `acknowledge`, with a reason, if the value is correct as it is."
    )


class Problem(Out):
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

    type: str = Field(description="The kind of problem; the page at this address says what to do.")
    title: str = Field(description="The kind of problem in words.")
    status: int = Field(description="The HTTP status.")
    detail: str = Field(description="What happened this time.")
    instance: str = Field(default="", description="The address of the request.")
    errors: tuple[FieldProblem, ...] = Field(default=(), description="All wrong fields.")


def shown(value: object) -> object:
    """A wrong value in a form that fits into JSON: NaN and infinities as words, long values shortened."""
    if isinstance(value, float) and not math.isfinite(value):
        return "NaN" if math.isnan(value) else ("Infinity" if value > 0 else "-Infinity")
    if value is None or isinstance(value, bool | int | float):
        return value if not isinstance(value, int) or abs(value) < 2**63 else _short(str(value))
    if isinstance(value, str):
        return _short(value)
    if isinstance(value, list | tuple):
        if len(value) == 1 and isinstance(value[0], str):
            return _short(value[0])  # a single word was read as a list of one; show the word
        return f"a list of {len(value)}"
    return _short(repr(value))


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 1] + "…"


def field_problems(
    errors: Sequence[Mapping[str, Any]], root: type[BaseModel] = ExplainRequest
) -> tuple[FieldProblem, ...]:
    """One `FieldProblem` for each of pydantic's errors (``ValidationError.errors()``).

    ``root`` is the type of the whole request.
    """
    return tuple(_field_problem(error, root) for error in errors if not _follows_from_another(error, errors))


def _follows_from_another(error: Mapping[str, Any], errors: Sequence[Mapping[str, Any]]) -> bool:
    """Pydantic calls a list too short if its only items are refused themselves."""
    at = tuple(error["loc"])
    return error["type"] == "too_short" and any(len(o["loc"]) > len(at) and o["loc"][: len(at)] == at for o in errors)


def _field_problem(error: Mapping[str, Any], root: type[BaseModel]) -> FieldProblem:
    location = tuple(error["loc"])
    if error["type"] == UNKNOWN_FEATURE:
        return _unknown_feature(location, error["input"])
    remedy = _unknown_field(location, root) if error["type"] == "extra_forbidden" else _remedy(error)
    value = None if error["type"] == "missing" else shown(error.get("input"))
    return FieldProblem(field=path_of(location), value=value, message=_message(error), remedy=remedy)


def _remedy(error: Mapping[str, Any]) -> str:
    return _REMEDIES.get(error["type"], _ELSE).format_map(error.get("ctx", {}))


def path_of(location: Sequence[str | int]) -> str:
    """``observations[2].unit`` from pydantic's location, without the names of kinds of observation."""
    path = ""
    for place, part in enumerate(location):
        if (place == 0 and part in _SOURCES) or part in PERSPECTIVE_TAGS or part in _ENTRY_TAGS:
            continue
        if part in KIND_TAGS and _follows_index(location, place):
            continue
        path += f"[{part}]" if isinstance(part, int) else f".{part}" if path else str(part)
    return path or "body"


def _follows_index(location: Sequence[str | int], place: int) -> bool:
    return place > 0 and isinstance(location[place - 1], int)


def _unknown_feature(location: Sequence[str | int], given: Any) -> FieldProblem:
    path = path_of(location)
    if not isinstance(given, Mapping):
        remedy = 'an observation is an object, such as {"feature": "contact_count", "value": 24}'
        return FieldProblem(field=path, value=shown(given), message="this is not an observation", remedy=remedy)
    if "feature" not in given:
        return FieldProblem(field=f"{path}.feature", message="Field required", remedy=remedy_for(FEATURES, None))
    name = given["feature"]
    return FieldProblem(
        field=f"{path}.feature",
        value=shown(name),
        message=f"the feature {shown(name)!r} is not known",
        remedy=feature_remedy(name),
    )


def _unknown_field(location: Sequence[str | int], root: type[BaseModel]) -> str:
    known = known_fields(location[:-1], root)
    return remedy_for(known, closest(str(location[-1]), known)) if known else "leave it out"


def known_fields(location: Sequence[str | int], root: type[BaseModel]) -> tuple[str, ...]:
    """The fields allowed at a place in a request, given by pydantic's location with the names of kinds."""
    models = [root]
    for place, part in enumerate(location):
        if part in KIND_TAGS and _follows_index(location, place):
            models = [observation_model(str(part))]
        elif part in _ENTRY_TAGS:
            models = [_ENTRY_TAGS[str(part)]]
        elif not (isinstance(part, int) or part in PERSPECTIVE_TAGS or (place == 0 and part in _SOURCES)):
            fields = [model.model_fields[part] for model in models if part in model.model_fields]
            models = [inner for field in fields for inner in _models_in(field.annotation)]
    return tuple(dict.fromkeys(name for model in models for name in model.model_fields))


def _models_in(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models_in(part)]


def _message(error: Mapping[str, Any]) -> str:
    context = error.get("ctx", {})
    if error["type"] == "extra_forbidden":
        return "this field is not known"
    if error["type"] == "too_short":
        return f"at least {context['min_length']} must be given"
    if error["type"] == "too_long":
        return f"at most {context['max_length']} may be given"
    if error["type"] == "tuple_type":
        return "this is not a list"
    return str(error["msg"]).removeprefix("Value error, ").removeprefix("Input ")
