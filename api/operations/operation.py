"""What an act on the catalogue is: who may do it, what it takes and answers, how it is refused, how it is done.

Each act is one `Operation`, described in the module of its subject and listed in `api.operations.table`. Routes, page
forms and commands hand a body to it; `api.operations.transaction` carries it out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Generic, TypeVar

from pydantic import BaseModel
from sqlalchemy.orm import Session

from api.schemas.requests import Request
from catalog.accounts.access import Permission, Who
from catalog.db.database import Catalogue
from catalog.history.acts import Act
from catalog.history.preconditions import require_unchanged, tag_of
from catalog.snapshot.snapshot import SnapshotSource

B = TypeVar("B", bound=BaseModel)
R = TypeVar("R", bound=BaseModel)

REFUSALS = (
    "malformed-json",
    "unsupported-content",
    "body-too-large",
    "invalid-request",
    "invalid-entry",
    "unauthorised",
    "forbidden",
    "suspended",
    "key-reused",
    "internal-error",
    "catalogue-locked",
    "catalogue-unusable",
)
"""Problems that every operation can be refused with."""

TAG_REFUSALS = ("unknown-entry", "precondition-missing", "stale-revision")
"""Problems of an operation that has to name the state it was made from."""


class Nothing(Request):
    """The body of an operation that takes none."""


@dataclass(frozen=True, kw_only=True)
class Beforehand:
    """What an operation may look at before its transaction begins: ranking takes longer than writers should wait.

    ``key`` names what the operation is done to, as in `Task`.
    """

    catalogue: Catalogue
    source: SnapshotSource
    who: Who
    key: str


@dataclass(frozen=True, kw_only=True)
class Task:
    """One operation while it is carried out, within its transaction.

    ``record`` and ``key`` name what it is done to; both are empty where something is added. ``tags`` are the states it
    was made from: empty where none was named, None for whoever holds the database and changes what stands. ``delay`` is
    how long a change waits that takes something away.
    """

    session: Session
    act: Act
    who: Who
    record: str
    key: str
    tags: tuple[str, ...] | None
    delay: timedelta

    def require_unchanged(self) -> None:
        """Raise NotFoundError where the record is not there, PreconditionError where no state was named that the change
        was made from, and StaleError where the record has left it."""
        present = tag_of(self.session, self.record, self.key)
        if self.tags is not None and present not in self.tags:
            require_unchanged(self.session, self.record, self.key, self.tags[0] if self.tags else None)


def as_sent(before: Beforehand, body: B) -> B:
    """The body as it was sent: most operations need to know nothing more before they begin."""
    del before
    return body


@dataclass(frozen=True, kw_only=True)
class Route:
    """Where the JSON interface takes an operation, and what its description says there.

    Attributes
    ----------
    at
        Method and path under /v1. The path's first parameter is the key of what the operation is done to; any other is
        a field of the operation's body.
    name
        Its name in the description (OpenAPI's operationId begins so); programs made from the description use it.
    record
        Kind of the record that the key is of, where the operation asks for it.
    body
        What is sent, where that is not the operation's whole body, or only one kind of it.
    summary, description
        Heading and text. Empty: the first line and the rest of the docstring of the operation's ``run``.
    """

    at: str
    name: str
    record: str = ""
    body: type[BaseModel] | None = None
    summary: str = ""
    description: str = ""


def own_reason(body: BaseModel) -> str:
    """The body's field ``reason``, where it has one."""
    return str(getattr(body, "reason", ""))


def no_reason(_: BaseModel) -> str:
    """The reason is part of what is said, and the journal keeps it as that."""
    return ""


@dataclass(frozen=True, kw_only=True)
class Operation(Generic[B, R]):
    """An act on the catalogue.

    Attributes
    ----------
    name
        Its name in the table, unique.
    permission
        What whoever does it needs in general; ``run`` asks for what depends on the record or the person.
    body, result
        What it takes, and what it answers.
    run
        Does it, with the body that ``prepare`` returned. Its docstring is what the interface's description says of it.
    prepare
        Looks at the catalogue before the transaction begins, and returns what ``run`` takes.
    reason
        The reason that the journal keeps.
    status
        HTTP status of its answer.
    may_wait
        The change may wait for others to object: then `pending` of the answer says until when, and its status is 202.
    needs_tag
        It has to be made from a named state of its record.
    told_once
        Fields of the answer that are not kept, and are null when a repeated request is answered: secrets.
    refusals
        Names of problem types that it can be refused with, beside `REFUSALS` and `TAG_REFUSALS`.
    routes
        Where the JSON interface takes it; none for what only pages and commands do.
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
        """Names of all problem types that it can be refused with."""
        return tuple(dict.fromkeys((*REFUSALS, *(TAG_REFUSALS if self.needs_tag else ()), *self.refusals)))

    def status_of(self, answer: BaseModel) -> int:
        """The HTTP status of an answer: 202 for a change that waits (RFC 9110, 15.3.3)."""
        return 202 if self.may_wait and getattr(answer, "pending", None) is not None else self.status
