"""Unknown keys: the most similar entries, and the error that suggests them."""

from __future__ import annotations

import re

from api.schemas.problems import FieldProblem
from api.service.problems import ApiError
from catalog.model.text_fields import LONGEST_LINE
from catalog.snapshot.search import Hit
from catalog.snapshot.snapshot import Snapshot

NEAREST = 8
"""Most entries suggested for an unknown key."""

NAMED = 3
"""Most halves suggested by the error."""

_PARTING = re.compile(r"[:~]+")
"""Separators in keys; the words between them are searched."""


def nearest(snapshot: Snapshot, key: str) -> list[Hit]:
    """Entries similar to a key: found by the part number or name alone, then by all words of the key."""
    texts = (_PARTING.split(key)[-1], _PARTING.sub(" ", key))
    hits = (hit for text in texts for hit in snapshot.search.search(text[:LONGEST_LINE], NEAREST))
    return list({(hit.kind, hit.key): hit for hit in hits}.values())[:NEAREST]


def unknown_half(snapshot: Snapshot, key: str, field: str) -> FieldProblem:
    """The error for a ``field`` that names a half which is neither listed nor inferred, with suggestions."""
    alike = [repr(hit.key) for hit in nearest(snapshot, key) if hit.kind == "half"][:NAMED]
    guess = f"did you mean {' or '.join(alike)}? Else " if alike else ""
    remedy = f"{guess}find the key by a part of its name: /v1/search, or 'otherhalf search'"
    return FieldProblem(field=field, value=key, message=f"no half has the key {key!r}", remedy=remedy)


def require_half(snapshot: Snapshot, half: str, field: str = "half") -> None:
    """Raise ApiError for a half that is neither listed nor inferred."""
    if half not in snapshot.halves:
        problem = unknown_half(snapshot, half, field)
        raise ApiError("unknown-half", problem.message, [problem])
