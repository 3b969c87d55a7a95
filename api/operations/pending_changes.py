"""Operations on pending changes: apply one now, or stop it."""

from __future__ import annotations

from api.operations.operation import Operation, Route, Task
from api.schemas.evidence import ReasonIn
from api.schemas.history import PendingOut, pending_out
from catalog.accounts.access import Permission, require
from catalog.history import pending
from catalog.history.documents import get_document


def hasten(task: Task, _: ReasonIn) -> PendingOut:
    """Apply a pending change now.

    The journal names the author of the change and the maintainer who decided.
    """
    return pending_out(pending.hasten(task.session, task.act, task.key))


def stop(task: Task, _: ReasonIn) -> PendingOut:
    """Stop a pending change.

    Maintainers can do this, and the author of the change.
    """
    if get_document(task.session, pending.RECORD, task.key).author != task.act.actor:
        require(task.who, Permission.MAINTAIN)
    return pending_out(pending.stop(task.session, task.act, task.key))


HASTEN = Operation(
    name="hasten",
    permission=Permission.MAINTAIN,
    body=ReasonIn,
    result=PendingOut,
    run=hasten,
    refusals=("unknown-entry",),
    routes=(Route(at="POST /pending/{key}/hasten", name="hasten"),),
)
STOP = Operation(
    name="stop",
    permission=Permission.CONTRIBUTE,
    body=ReasonIn,
    result=PendingOut,
    run=stop,
    refusals=("unknown-entry",),
    routes=(Route(at="POST /pending/{key}/stop", name="stop"),),
)

OPERATIONS = (HASTEN, STOP)
"""All operations on pending changes."""
