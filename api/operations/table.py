"""Everything that people do to the catalogue, each act once: routes, page forms and commands carry out one of these."""

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
