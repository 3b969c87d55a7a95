"""The description of an operation on the catalogue: permission, body, answer, refusals and function.

Each operation stands in the module of its subject, and `api.operations.table` lists all of them. Routes, page forms and
commands give it a body; `api.operations.transaction` carries it out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Generic, TypeVar

from pydantic import BaseModel
from sqlalchemy.orm import Session

from api.schemas.requests import Request
from api.service.problem_types import OF_BODIES, OF_READING
from catalog.accounts.access import Permission, Who
from catalog.db.database import Catalogue
from catalog.history.acts import Act
from catalog.history.preconditions import require_unchanged, tag_of
from catalog.snapshot.snapshot import SnapshotSource

B = TypeVar("B", bound=BaseModel)
R = TypeVar("R", bound=BaseModel)

REFUSALS = (*OF_BODIES, *OF_READING, "invalid-entry", "unauthorised", "forbidden", "suspended", "key-reused")
"""Problems that can occur in every operation."""

TAG_REFUSALS = ("unknown-entry", "precondition-missing", "stale-revision")
"""Problems of an operation that has to name the state of its record."""


class Nothing(Request):
    """The body of an operation that needs none."""


@dataclass(frozen=True, kw_only=True)
class Beforehand:
    """What an operation can use before its transaction begins: ranking takes longer than other writers should wait.

    ``key`` is the key of its record, as in `Task`.
    """

    catalogue: Catalogue
    source: SnapshotSource
    who: Who
    key: str


@dataclass(frozen=True, kw_only=True)
class Task:
    """One operation while it is carried out, within its transaction.

    ``record`` and ``key`` name its record; both are empty if something is added. ``tags`` are the tags from the
    request: empty if it has none, None for the operator, who changes the present state. ``delay`` is how long changes
    are pending that others may object to.
    """

    session: Session
    act: Act
    who: Who
    record: str
    key: str
    tags: tuple[str, ...] | None
    delay: timedelta

    def require_unchanged(self) -> None:
        """Raise NotFoundError if the record does not exist, PreconditionError if the request has no tag, and StaleError
        if the record has changed since."""
        present = tag_of(self.session, self.record, self.key)
        if self.tags is not None and present not in self.tags:
            require_unchanged(self.session, self.record, self.key, self.tags[0] if self.tags else None)


def as_sent(before: Beforehand, body: B) -> B:
    """The body as it was sent: most operations need no preparation."""
    del before
    return body


@dataclass(frozen=True, kw_only=True)
class Route:
    """A route of the JSON interface for an operation.

    Attributes
    ----------
    at
        Method and path under /v1. The path's first parameter is the key of the operation's record; any other is a field
        of the operation's body.
    name
        Its name in OpenAPI (the operationId begins with it); generated clients use it.
    record
        Kind of the record, if the operation needs it.
    body
        The model of what is sent, if it is not the operation's whole body or only one kind of it.
    summary, description
        Heading and text in OpenAPI. Empty: the first line and the rest of the docstring of the operation's ``run``.
    """

    at: str
    name: str
    record: str = ""
    body: type[BaseModel] | None = None
    summary: str = ""
    description: str = ""


def own_reason(body: BaseModel) -> str:
    """The body's field ``reason``, if it has one."""
    return str(getattr(body, "reason", ""))


def no_reason(_: BaseModel) -> str:
    """None: the reason is part of the statement itself."""
    return ""


@dataclass(frozen=True, kw_only=True)
class Operation(Generic[B, R]):
    """An act on the catalogue.

    Attributes
    ----------
    name
        Its unique name in the table.
    permission
        The permission that it needs; ``run`` checks conditions on the record or the person.
    body, result
        Models of its body and of its answer.
    run
        Its function, called with what ``prepare`` returned. The docstring is its description in OpenAPI.
    prepare
        Called with the body before the transaction begins; returns the argument of ``run``.
    reason
        Gives the reason that is saved in the journal.
    status
        HTTP status of its answer.
    may_wait
        Whether the change can be pending: then `pending` of the answer says until when, and the status is 202.
    needs_tag
        Whether the request has to name the state of its record.
    told_once
        Fields of the answer that are not stored, and are null in the answer to a repeated request: secrets.
    refusals
        Names of its problem types, beside `REFUSALS` and `TAG_REFUSALS`.
    routes
        Its routes in the JSON interface; none for operations of pages and commands only.
    """

    name: str
    permission: Permission
    body: type[B]
    result: type[R]
    run: Callable[[Task, Any], R]
    prepare: Callable[[Beforehand, B], Any] = as_sent
    reason: Callable[[B], str] = own_reason
    status: int = 200
    may_wait: bool = False
    needs_tag: bool = False
    told_once: tuple[str, ...] = ()
    refusals: tuple[str, ...] = ()
    routes: tuple[Route, ...] = ()

    @property
    def problems(self) -> tuple[str, ...]:
        """Names of all its problem types."""
        return tuple(dict.fromkeys((*REFUSALS, *(TAG_REFUSALS if self.needs_tag else ()), *self.refusals)))

    def status_of(self, answer: BaseModel) -> int:
        """The HTTP status of an answer: 202 for a pending change (RFC 9110, 15.3.3)."""
        return 202 if self.may_wait and getattr(answer, "pending", None) is not None else self.status
