"""From pydantic's errors to ours: the path as the sender wrote it, what was given, and what to give instead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, get_args

from pydantic import BaseModel

from api.schemas.contributing import ENTRY_TAGS
from api.schemas.measuring import PERSPECTIVE_TAGS
from api.schemas.problems import FieldProblem, shown
from api.schemas.requests import KIND_TAGS, UNKNOWN_FEATURE, ExplainRequest, observation_model
from catalog.model.entries import Half, Mating, Series
from matcher.features import FEATURES
from matcher.vocabulary import closest, feature_remedy, remedy_for

_ENTRY_TAGS: Mapping[str | int, type[BaseModel]] = {
    ENTRY_TAGS["series"]: Series,
    ENTRY_TAGS["half"]: Half,
    ENTRY_TAGS["mating"]: Mating,
}
"""Kinds of entry by the names under which errors place what is in them."""

_SOURCES = ("body", "query", "path", "header")

_REMEDIES: Mapping[str, str] = {
    "missing": "add it",
    "float_type": "give a number, with a point as decimal sign and no quotation marks",
    "finite_number": "give a finite number; leave the field out where nothing was measured",
    "int_type": "give a whole number, without quotation marks",
    "int_from_float": "give a whole number",
    "int_parsing": "give a whole number",
    "string_type": "give text",
    "string_too_short": "write something; a field that need not be there is left out",
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
    "too_short": "give at least one; what was not measured is simply left out",
    "too_long": "send fewer; one specimen needs a few dozen at most",
}


_ELSE = "look up its form at /docs"


def field_problems(
    errors: Sequence[Mapping[str, Any]], root: type[BaseModel] = ExplainRequest
) -> tuple[FieldProblem, ...]:
    """One `FieldProblem` for each of pydantic's errors (``ValidationError.errors()``).

    ``root`` is the type of the whole request.
    """
    return tuple(_field_problem(error, root) for error in errors if not _follows_from_another(error, errors))


def _follows_from_another(error: Mapping[str, Any], errors: Sequence[Mapping[str, Any]]) -> bool:
    """A list counts as too short, for pydantic, when its only entries are refused themselves."""
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
    """``observations[2].unit`` from pydantic's location, without the names it gives to kinds of observation."""
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
        return FieldProblem(field=path, value=shown(given), message="this is no observation", remedy=remedy)
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
    """The fields that may stand at a place of a request; pydantic's location of it, names of kinds included."""
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
        return "this is no list"
    return str(error["msg"]).removeprefix("Value error, ").removeprefix("Input ")
