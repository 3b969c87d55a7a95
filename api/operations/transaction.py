"""Carry out operations: once for each request, in one transaction, answered after the commit."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Generic

from pydantic import BaseModel

from api.operations.operation import B, Beforehand, Operation, R, Task
from catalog.accounts.access import Who, act_of, require
from catalog.accounts.tokens import as_they_stand
from catalog.db.database import Catalogue
from catalog.history.idempotency import RequestKey, answered, remember, request_key
from catalog.history.pending import DELAY, carry_out_due
from catalog.model.timestamps import now
from catalog.snapshot.snapshot import SnapshotSource


@dataclass(frozen=True, kw_only=True)
class Outcome(Generic[R]):
    """The outcome of an operation: its answer as JSON, the HTTP status, and whether it repeats an earlier answer."""

    operation: Operation[Any, R]
    answer: dict[str, Any]
    status: int
    replayed: bool = False

    @property
    def result(self) -> R:
        """The answer as the operation's own type."""
        return self.operation.result.model_validate(self.answer)


@dataclass(frozen=True, kw_only=True)
class Writing:
    """What changes a catalogue: a request, a page's form or a command.

    ``place`` and ``key`` are a request's address and its idempotency key; ``tags`` as in `Task`.
    """

    catalogue: Catalogue
    source: SnapshotSource
    who: Who
    place: str = ""
    key: str | None = None
    tags: tuple[str, ...] | None = None
    delay: timedelta = DELAY

    def carry_out(
        self,
        operation: Operation[B, R],
        body: B,
        *,
        record: str = "",
        key: str = "",
        asked: BaseModel | None = None,
    ) -> Outcome[R]:
        """Carry out an operation on a record; a repeated request gets the first answer again.

        ``asked``, by default the body, is compared to tell a repeated request from another one with the same key.
        Pending changes that are due are applied first, so that nobody works on outdated records. Raises the errors of
        the operation, the refusals of the policy, and KeyReusedError or EntryError for an idempotency key that cannot
        be used.
        """
        require(self.who, operation.permission)
        request = self._request(asked or body)
        prepared = operation.prepare(
            Beforehand(catalogue=self.catalogue, source=self.source, who=self.who, key=key), body
        )
        with self.task(operation, operation.reason(body), record=record, key=key) as task:
            earlier = None if request is None else answered(task.session, task.act, request)
            if earlier is not None:
                return Outcome(operation=operation, answer=earlier[1], status=earlier[0], replayed=True)
            carry_out_due(task.session, task.act.at)
            made = operation.run(task, prepared)
            answer, status = made.model_dump(mode="json"), operation.status_of(made)
            if request is not None:
                kept = {**answer, **dict.fromkeys(operation.told_once)}
                remember(task.session, task.act, request, status, kept)
        return Outcome(operation=operation, answer=answer, status=status)

    @contextmanager
    def task(self, operation: Operation[B, R], reason: str = "", *, record: str = "", key: str = "") -> Iterator[Task]:
        """A transaction in which an operation can be run several times, or as a trial; committed at the end."""
        require(self.who, operation.permission)
        with self.catalogue.writing() as session:
            act = act_of(as_they_stand(session, self.who, now()), reason=reason)
            yield Task(
                session=session,
                act=act,
                who=self.who,
                record=record,
                key=key,
                tags=self.tags,
                delay=self.delay,
            )

    def _request(self, asked: BaseModel) -> RequestKey | None:
        if self.key is None:
            return None
        return request_key(self.key, self.place.encode(), asked.model_dump_json().encode())
