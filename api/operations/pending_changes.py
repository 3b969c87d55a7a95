"""Changes that wait: let one happen now, or not at all."""

from __future__ import annotations

from api.operations.operation import Operation, Route, Task
from api.schemas.evidence import ReasonIn
from api.schemas.history import PendingOut, pending_out
from catalog.accounts.access import Permission, require
from catalog.history import pending
from catalog.history.documents import get_document


def hasten(task: Task, _: ReasonIn) -> PendingOut:
    """Let a change happen now.

    The change stays its author's; the decision is the maintainer's.
    """
    return pending_out(pending.hasten(task.session, task.act, task.key))


def stop(task: Task, _: ReasonIn) -> PendingOut:
    """Let a change not happen.

    By a maintainer, or by whoever asked for it.
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
"""What is decided about changes that wait."""
