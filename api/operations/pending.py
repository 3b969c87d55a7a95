"""Changes that wait: let one happen now, or let it not happen."""

from __future__ import annotations

from api.operations.operation import Operation, Task
from api.schemas.evidence import ReasonIn
from api.schemas.history import PendingOut, pending_out
from catalog.accounts.access import Permission, require
from catalog.history import pending
from catalog.history.documents import get_document


def hasten(task: Task, _: ReasonIn) -> PendingOut:
    """Let a change happen now. It stays its author's; the decision is the maintainer's."""
    return pending_out(pending.hasten(task.session, task.act, task.key))


def stop(task: Task, _: ReasonIn) -> PendingOut:
    """Let a change not happen: a maintainer may, and whoever asked for it."""
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
)
STOP = Operation(
    name="stop",
    permission=Permission.CONTRIBUTE,
    body=ReasonIn,
    result=PendingOut,
    run=stop,
    refusals=("unknown-entry",),
)

OPERATIONS = (HASTEN, STOP)
"""What is decided of changes that wait."""
