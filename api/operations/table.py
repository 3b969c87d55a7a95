"""The table of all operations: every route, form and command that changes the catalogue carries out one of them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from api.operations import cases, entries, evidence, pending_changes, people
from api.operations.operation import Operation

OPERATIONS: Mapping[str, Operation[Any, Any]] = MappingProxyType(
    {
        operation.name: operation
        for subject in (entries, pending_changes, evidence, cases, people)
        for operation in subject.OPERATIONS
    }
)
"""Every operation by its name."""
