"""Carries out the act of a form: only once, and only from the state that the form was made from. Errors are
shown at their fields."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from pydantic import BaseModel, ValidationError
from starlette.responses import RedirectResponse

from api.observations.checking import form_of
from api.operations.operation import B, Operation, R
from api.operations.transaction import Writing
from api.schemas.problems import FieldProblem
from api.service.problems import ApiError, problem_of
from api.web.page.forms import Filled, Form
from catalog.accounts.access import require
from catalog.model.errors import CatalogueError, KeyReusedError, StaleError, UnauthorisedError
from matcher.errors import ObservationError, ObservationErrors
from matcher.features import FEATURES

REFUSED = (ApiError, CatalogueError, ObservationError, ObservationErrors, ValidationError)
"""Errors that refuse a form; any other error is a fault of the program."""

SEE_OTHER = 303

_INDEX = re.compile(r"\[(\d+)\]")
_NO_NUMBER = re.compile(r"unable to parse string as (?:a number|an integer)")
_ERROR_PATH = re.compile(r"^(?:entry|confirmation|resolution)(?:\.|$)")


class _Sent(BaseModel):
    """A form as it came in."""

    pairs: tuple[tuple[str, str], ...]


def act_once(
    writing: Writing,
    form: Form,
    operation: Operation[B, R],
    given: Callable[[], Mapping[str, Any]],
    *,
    record: str = "",
    key: str = "",
    kind: type[B] | None = None,
) -> R:
    """Do what a form asks, under the key of the form, so that a second click changes nothing more. The same key with
    different contents is refused.

    ``given`` returns what was typed as fields of the operation's body; it is called after the permission is checked.
    ``kind`` is the type of the body, where the operation takes several.
    """
    require(writing.who, operation.permission)
    body = form_of(kind or operation.body, dict(given()))
    asked = replace(writing, key=form.once or writing.key, tags=(form.tag,) if form.tag else writing.tags)
    return asked.carry_out(operation, body, record=record, key=key, asked=_Sent(pairs=form.pairs)).result


def see_other(address: str) -> RedirectResponse:
    """Redirect to the page that shows the result (RFC 9110, 15.4.4)."""
    return RedirectResponse(address, status_code=SEE_OTHER)


def refused(
    form: Form, error: Exception, fields: Iterable[str] = (), place: Callable[[str], str] = str
) -> tuple[Filled, int]:
    """The form as it was typed, with the errors at their fields, and the status of the answer.

    ``fields`` are names of fields of the page that may be missing from what was sent; ``place`` gives the field for the
    path of an error, where the page names it differently.
    """
    if isinstance(error, ValidationError):
        error = ApiError("invalid-request", "the form cannot be used", tuple(_of_validation(error)))
    problem = problem_of(error)
    found = problem.errors or (FieldProblem(field="", message=problem.detail, remedy=""),)
    names = {name for name, _ in form.pairs} | set(fields)
    errors = tuple(_in_place(each, error, names, place) for each in found)
    return Filled(form=form, errors=errors, stale=isinstance(error, StaleError)), problem.status


def _of_validation(error: ValidationError) -> Iterator[FieldProblem]:
    for each in error.errors(include_url=False, include_input=False):
        yield FieldProblem(
            field=".".join(map(str, each["loc"])), message=str(each["msg"]).removeprefix("Value error, ")
        )


def _in_place(
    problem: FieldProblem, error: Exception, names: Collection[str], place: Callable[[str], str]
) -> FieldProblem:
    """The problem at its field of the form, in words for people."""
    if isinstance(error, KeyReusedError):
        return FieldProblem(
            field="",
            message="this form was sent before with different contents, which were carried out",
            remedy="Send it again if you want this as well",
        )
    if isinstance(error, UnauthorisedError):
        return FieldProblem(
            field="",
            message="you are signed out",
            remedy="Sign in on another page of this browser, then send this form again: what you typed is kept",
        )
    message, remedy = problem.message, problem.remedy
    if _NO_NUMBER.search(message):
        message, remedy = (
            f"{in_words(problem.field)}: this is not a number",
            "Write digits with a decimal point, as in 6.52",
        )
    if message == "Field required":
        message, remedy = f"{in_words(problem.field)}: this is needed", ""
    if remedy.endswith("/docs"):
        remedy = ""
    return problem.model_copy(
        update={
            "field": _field_of(problem, names, place),
            "message": sentence(message.removeprefix("Value error, ")),
            "remedy": sentence(remedy),
        }
    )


def _field_of(problem: FieldProblem, names: Collection[str], place: Callable[[str], str]) -> str:
    if problem.acknowledge is not None:
        return f"acknowledge.{problem.acknowledge}"
    if problem.field.startswith("acknowledge."):
        return problem.field
    return nearest_field(place(field_name(problem.field)), names)


def sentence(text: str) -> str:
    """Text with a capital letter and without its full stop."""
    stripped = text.strip().rstrip(".")
    return stripped[:1].upper() + stripped[1:]


def in_words(path: str) -> str:
    """The place of an error in words: the label of the dimension, or the end of the path."""
    parts = field_name(path).split(".")
    named = [FEATURES[part].label for part in parts if part in FEATURES]
    words = [part.replace("_", " ") for part in parts if not part.isdecimal() and part not in FEATURES]
    last = words[-1] if words and words[-1] not in ("value", "dimensions") else ""
    return " ".join([*named[-1:], *([last] if last else [])]) or path


def field_name(path: str) -> str:
    """The name of a form's field for a path within an entry: ``entry.kinds[0].rows`` is ``kinds.0.rows``."""
    return _ERROR_PATH.sub("", _INDEX.sub(r".\1", path))


def nearest_field(name: str, names: Collection[str]) -> str:
    """The field of the page that is nearest to a name: of that name, the first one inside it, or the one around it."""
    if name in names or not name:
        return name
    within = sorted(each for each in names if each.startswith(f"{name}."))
    if within:
        return next((each for each in within if each.endswith((".value", ".intercept"))), within[0])
    parts = name.split(".")
    holding = (".".join(parts[:count]) for count in range(len(parts) - 1, 0, -1))
    return next((each for each in holding if each in names), "")
