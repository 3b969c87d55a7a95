"""Acts: who changes the catalogue, when and why."""

from __future__ import annotations

from dataclasses import dataclass, field

from catalog.model.timestamps import now

OPERATOR = "operator"
"""Name of the operator, who has the database: the command line, imports, the demo. No contributor has this name."""


@dataclass(frozen=True, kw_only=True)
class Act:
    """Actor, time and reason of one transaction.

    ``actor`` is a contributor's name or `OPERATOR`, ``at`` a moment (`catalog.model.timestamps`), ``reason`` goes into
    the journal, ``batch`` groups rows of one act, ``maintainer`` whether the actor keeps the catalogue.
    """

    actor: str = OPERATOR
    at: str = field(default_factory=now)
    reason: str = ""
    batch: str = ""
    maintainer: bool = False


def operators(reason: str = "", batch: str = "") -> Act:
    """An act of the operator."""
    return Act(reason=reason, batch=batch, maintainer=True)
