"""Models of the journal, of pending changes and of an undo."""

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
"""Address of each kind of entry."""


class JournalPage(Out):
    """Changes, newest first. Follow `next` until it is null."""

    items: tuple[JournalEntry, ...]
    next: str | None = Field(description="Cursor of the next page; null: nothing follows.")
    catalogue_version: int


class PendingOut(Out):
    """A pending change, or one that was pending: what it does to which entry, who proposed it and why, and when it is
    due.

    `state` is waiting, done, stopped or lapsed (the entry was changed in the meantime). `revision` is the revision of
    the entry that it changes, `content` the new content (revise), `successor` the other half (merge).
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
    """Pending changes, oldest first. Follow `next` until it is null."""

    items: tuple[PendingOut, ...]
    next: str | None


class UndoIn(Request):
    """Since when a contributor's changes are undone, and why."""

    since: Line = Field(description="A date or time in ISO 8601; UTC if it names no time zone.")
    reason: Remark


class PlaceOut(Out):
    """A record and its key."""

    record: str
    key: str


class KeptOut(PlaceOut):
    """A record that could not be undone, why, and whose work depends on it."""

    why: str
    by: tuple[str, ...]


class UndoneOut(Out):
    """The result of an undo. All its rows in the journal have the same `batch`."""

    contributor: str
    since: str
    batch: str
    taken_back: tuple[PlaceOut, ...]
    kept: tuple[KeptOut, ...]


def pending_out(document: DocumentRecord) -> PendingOut:
    """A pending change in the interface's form."""
    content = {"content": None, "successor": None, "decided_by": None, "decision": "", **document.content}
    return PendingOut(
        key=document.key,
        state=document.state,
        author=document.author,
        added_at=document.added_at,
        about=content["key"],
        **{name: content[name] for name in _OF_CONTENT},
    )


_OF_CONTENT = ("action", "of", "revision", "due", "reason", "content", "successor", "decided_by", "decision")


def undone_out(contributor: str, since: str, batch: str, undone: Undone) -> UndoneOut:
    """The result of an undo in the interface's form."""
    return UndoneOut(
        contributor=contributor,
        since=since,
        batch=batch,
        taken_back=tuple(PlaceOut(record=record, key=key) for record, key in undone.taken_back),
        kept=tuple(KeptOut(**vars(each)) for each in undone.kept),
    )
