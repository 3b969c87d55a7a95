"""From errors to problem documents: which error is which kind of problem.

The JSON interface answers with the documents and the command line prints them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Self

from api.schemas.problems import FieldProblem, Problem, shown
from api.service.problem_types import PROBLEMS
from catalog.accounts.token_format import masked
from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.model.errors import (
    CatalogueError,
    DuplicateError,
    EntryError,
    FileError,
    FileRefusedError,
    ForbiddenError,
    KeyReusedError,
    LockedError,
    NotFoundError,
    OwnEvidenceError,
    PreconditionError,
    ReadOnlyError,
    SchemaError,
    StaleError,
    SuspendedError,
    UnauthorisedError,
    UnavailableError,
)
from catalog.review import Finding
from matcher.errors import ObservationError, ObservationErrors, UnknownHalfError

MOST_ERRORS = 50
"""Most field errors in one problem document; the detail says how many there were."""

KIND_OF_ERROR: tuple[tuple[type[Exception], str], ...] = (
    (ObservationErrors, "invalid-observations"),
    (ObservationError, "invalid-observations"),
    (UnknownHalfError, "unknown-half"),
    (NotFoundError, "unknown-entry"),
    (DuplicateError, "conflicting-entry"),
    (ReviewRefusedError, "review-refused"),
    (StaleError, "stale-revision"),
    (PreconditionError, "precondition-missing"),
    (KeyReusedError, "key-reused"),
    (EntryError, "invalid-entry"),
    (FileError, "invalid-entry"),
    (FileRefusedError, "invalid-entry"),
    (UnauthorisedError, "unauthorised"),
    (ForbiddenError, "forbidden"),
    (SuspendedError, "suspended"),
    (OwnEvidenceError, "own-evidence"),
    (LockedError, "catalogue-locked"),
    (ReadOnlyError, "catalogue-unusable"),
    (SchemaError, "catalogue-unusable"),
    (UnavailableError, "catalogue-unusable"),
    (CatalogueError, "catalogue-unusable"),
)
"""The kind of problem of each error; the first match counts."""


class ApiError(Exception):
    """A problem found by the interface itself: the name of its type, what happened, and the wrong fields."""

    def __init__(self, name: str, detail: str, errors: Sequence[FieldProblem] = ()) -> None:
        super().__init__(detail)
        self.name = name
        self.detail = detail
        self.errors = tuple(errors)

    @classmethod
    def at(
        cls, field: str, message: str, remedy: str = "", *, value: object = None, name: str = "invalid-request"
    ) -> Self:
        """One wrong field: what is wrong with it, and what to give instead."""
        problem = FieldProblem(field=field, value=shown(value), message=message, remedy=remedy)
        return cls(name, message, [problem])

    @classmethod
    def of_fields(cls, fields: Sequence[FieldProblem]) -> Self:
        """A request with wrong fields, of which there is at least one."""
        first = f"{fields[0].field}: {fields[0].message}"
        detail = first if len(fields) == 1 else f"{len(fields)} fields cannot be used; first: {first}"
        return cls("invalid-request", detail, fields)


def problem_of(error: Exception, instance: str = "") -> Problem:
    """The problem document for an error; that of an unexpected error says nothing about the program."""
    if isinstance(error, ApiError):
        return make_problem(error.name, error.detail, error.errors, instance)
    for kind, name in KIND_OF_ERROR:
        if isinstance(error, kind):
            return make_problem(name, detail_of(error), _fields(error), instance)
    return make_problem("internal-error", PROBLEMS["internal-error"].meaning, (), instance)


def make_problem(name: str, detail: str, errors: Iterable[FieldProblem] = (), instance: str = "") -> Problem:
    """A problem document of a named type."""
    kind, listed = PROBLEMS[name], tuple(errors)
    if len(listed) > MOST_ERRORS:
        detail = f"{detail} ({len(listed)} errors in all, the first {MOST_ERRORS} are listed)"
    return Problem(
        type=kind.uri,
        title=kind.title,
        status=kind.status,
        detail=_sayable(detail),
        instance=_sayable(instance),
        errors=tuple(_without_tokens(each) for each in listed[:MOST_ERRORS]),
    )


def _without_tokens(error: FieldProblem) -> FieldProblem:
    """Mask tokens that were sent in the wrong place, since answers may be logged."""
    said = error.model_dump()
    return FieldProblem(**{name: _sayable(each) if isinstance(each, str) else each for name, each in said.items()})


def _sayable(text: str) -> str:
    """Mask tokens, and replace lone surrogates (JSON's \\ud800), which cannot be encoded in UTF-8."""
    return masked(text.encode("utf-8", "replace").decode())


def detail_of(error: Exception) -> str:
    """What happened, in one sentence, without the remedy."""
    if isinstance(error, ObservationErrors | FileRefusedError):
        messages = [one.message for one in error.errors]
        return messages[0] if len(messages) == 1 else f"{len(messages)} things are wrong; first: {messages[0]}"
    if isinstance(error, ObservationError | CatalogueError):
        return error.message
    return str(error)


def _fields(error: Exception) -> tuple[FieldProblem, ...]:
    if isinstance(error, ObservationErrors | FileRefusedError):
        return tuple(field for one in error.errors for field in _fields(one))
    if isinstance(error, ReviewRefusedError):
        return tuple(_to_acknowledge(finding) for finding in error.unacknowledged)
    if isinstance(error, UnknownHalfError):
        return (_field("half", error.key, str(error), PROBLEMS["unknown-half"].remedy),)
    if isinstance(error, ObservationError | CatalogueError):
        return (_field(error.field or "", error.value, error.message, error.remedy),)
    return ()


def _to_acknowledge(finding: Finding) -> FieldProblem:
    remedy = f"{finding.remedy}. If it is correct as it is, acknowledge {finding.code.value} with a reason"
    named = _field(finding.field, finding.value, finding.message, remedy)
    return named.model_copy(update={"acknowledge": finding.code.value})


def _field(field: str, value: object, message: str, remedy: str) -> FieldProblem:
    return FieldProblem(field=field, value=shown(value), message=message, remedy=remedy)
