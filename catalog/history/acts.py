"""Who acts, when and why: what every change is written with."""

from __future__ import annotations

from dataclasses import dataclass, field

from catalog.model.timestamps import now

OPERATOR = "operator"
"""Whoever holds the database: the command line on it, imports, the demo. No contributor has this name."""


@dataclass(frozen=True, kw_only=True)
class Act:
    """One transaction's who, when and why.

    ``actor`` is a contributor's name or `OPERATOR`, ``at`` a moment (`catalog.model.timestamps`), ``reason`` goes into
    the journal, ``batch`` groups rows of one act, ``maintainer`` whether the actor keeps the catalogue.
    """

    actor: str = OPERATOR
    at: str = field(default_factory=now)
    reason: str = ""
    batch: str = ""
    maintainer: bool = False


def operators(reason: str = "", batch: str = "") -> Act:
    """An act of whoever holds the database."""
    return Act(reason=reason, batch=batch, maintainer=True)
