"""Halves that somebody chose by their keys, in whatever state, and the ones that were not found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import Query
from sqlalchemy.orm import Session

from catalog.model.errors import NotFoundError
from catalog.records import queries
from catalog.records.read_models import HalfRecord
from catalog.snapshot.snapshot import Snapshot

MOST_ASKED = 100
"""Keys that one address may name: far more than any page shows, so that each can say itself what is too many."""

KeysQuery = Annotated[list[str] | None, Query(max_length=MOST_ASKED)]


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """The halves in the order in which they were named, each once, and keys that nobody has."""

    records: tuple[HalfRecord, ...]
    unknown: tuple[str, ...]

    @property
    def keys(self) -> list[str]:
        """The keys of those that were found."""
        return [record.key for record in self.records]


def chosen_halves(session: Session, snapshot: Snapshot, keys: Sequence[str] | None) -> Chosen:
    """Look the keys up: listed, withdrawn and merged halves, and those that their series make likely."""
    found: list[HalfRecord] = []
    unknown: list[str] = []
    for key in dict.fromkeys(keys or ()):
        record = find_half(session, snapshot, key)
        if record is None:
            unknown.append(key)
        else:
            found.append(record)
    return Chosen(records=tuple(found), unknown=tuple(unknown))


def find_half(session: Session, snapshot: Snapshot, key: str) -> HalfRecord | None:
    """The half in whatever state, or the one that its series makes likely; None: nobody has this key."""
    try:
        return queries.get_half(session, key)
    except NotFoundError:
        return snapshot.halves.get(key)
