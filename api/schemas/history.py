"""The journal, pending changes and what an undo did, as they go over the wire."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from api.schemas.answers import Out
from api.schemas.requests import Request
from catalog.history.documents import DocumentRecord
from catalog.history.journal import JournalEntry
from catalog.history.undo import Undone
from catalog.model.text_fields import Line, Remark

LISTED_AT = {"half": "halves", "series": "series", "mating": "matings"}
"""Addresses of the kinds of entries."""


class JournalPage(Out):
    """What happened, the newest first; follow `next` until it is null."""

    items: tuple[JournalEntry, ...]
    next: str | None = Field(description="Cursor of the next page; null: nothing follows.")
    catalogue_version: int


class PendingOut(Out):
    """A change that waits, or waited: what it does to which entry, who asked for it and why, and when it is due.

    `state` is waiting, done, stopped or lapsed (somebody changed the entry meanwhile); `revision` is the entry's from
    which it was made; `content` is the new content (revise), `successor` the half that takes the place (merge).
    """

    key: str
    state: str
    action: str
    of: str
    about: str = Field(description="The entry's key.")
    revision: int
    due: str
    reason: str
    author: str
    added_at: str
    content: dict[str, Any] | None
    successor: str | None
    decided_by: str | None
    decision: str


class PendingPage(Out):
    """Pending changes, the oldest first; follow `next` until it is null."""

    items: tuple[PendingOut, ...]
    next: str | None


class UndoIn(Request):
    """Since when a contributor's changes are taken back, and why."""

    since: Line = Field(description="A date or moment of ISO 8601, UTC where it names no zone.")
    reason: Remark


class PlaceOut(Out):
    """A record."""

    record: str
    key: str


class KeptOut(PlaceOut):
    """What could not be taken back, why, and who built on it."""

    why: str
    by: tuple[str, ...]


class UndoneOut(Out):
    """What an undo did. `batch` is shared by its rows in the journal."""

    contributor: str
    since: str
    batch: str
    taken_back: tuple[PlaceOut, ...]
    kept: tuple[KeptOut, ...]


def pending_out(document: DocumentRecord) -> PendingOut:
    """A pending change in the interface's form."""
    told = {"content": None, "successor": None, "decided_by": None, "decision": "", **document.content}
    return PendingOut(
        key=document.key,
        state=document.state,
        author=document.author,
        added_at=document.added_at,
        about=told["key"],
        **{name: told[name] for name in _OF_CONTENT},
    )


_OF_CONTENT = ("action", "of", "revision", "due", "reason", "content", "successor", "decided_by", "decision")


def undone_out(contributor: str, since: str, batch: str, undone: Undone) -> UndoneOut:
    """What an undo did, in the interface's form."""
    return UndoneOut(
        contributor=contributor,
        since=since,
        batch=batch,
        taken_back=tuple(PlaceOut(record=record, key=key) for record, key in undone.taken_back),
        kept=tuple(KeptOut(**vars(each)) for each in undone.kept),
    )
