"""Acts: who changes the catalogue, when and why."""

from __future__ import annotations

from dataclasses import dataclass, field

from catalog.model.timestamps import now

OPERATOR = "operator"
"""Name of the operator, who has access to the database: for the command line, imports and the demo. It is reserved."""


@dataclass(frozen=True, kw_only=True)
class Act:
    """Actor, time and reason of one transaction.

    ``actor`` is a contributor's name or `OPERATOR`, and ``at`` a timestamp (`catalog.model.timestamps`). The journal
    keeps the ``reason``. ``batch`` groups the rows of one act. ``maintainer``: the actor has a maintainer's rights.
    """

    actor: str = OPERATOR
    at: str = field(default_factory=now)
    reason: str = ""
    batch: str = ""
    maintainer: bool = False


def operators(reason: str = "") -> Act:
    """An act of the operator."""
    return Act(reason=reason, maintainer=True)
