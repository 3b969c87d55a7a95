"""The last things that happened to an entry, and what waits to happen, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from api.web.page.figures import capital, day, label
from catalog.history import journal
from catalog.history.documents import documents
from catalog.history.journal import JournalEntry
from catalog.history.pending import RECORD as PENDING
from matcher.features import FEATURES

SHOWN = 6
"""Rows of the history on an entry's own page; the journal has them all."""

MOST_NAMED = 4
"""Most changed fields that are named; the others are counted."""

ACTION_WORDS: Mapping[str, str] = {
    "add": "listed",
    "describe": "laws given",
    "revise": "changed",
    "follow": "follows its series",
    "withdraw": "withdrawn",
    "restore": "brought back",
    "merge": "merged",
    "revert": "an earlier state brought back",
    "undo": "undone",
    "resolve": "settled",
    "propose": "asked for",
    "stop": "stopped",
    "lapse": "lapsed",
}
"""What happened to an entry, or to a document about it."""

RECORD_WORDS: Mapping[str, str] = {
    "confirmation": "confirmation",
    "sighting": "sighting",
    "dispute": "dispute",
    "answer": "answer",
    PENDING: "waiting change",
}


@dataclass(frozen=True, kw_only=True)
class Happened:
    """One row of the history."""

    day: str
    who: str
    what: str
    changed: str
    reason: str
    revision: int | None


@dataclass(frozen=True, kw_only=True)
class Waiting:
    """A change that takes effect by itself unless somebody stops it."""

    what: str
    who: str
    due: str
    reason: str


def last_happened(session: Session, record: str, key: str) -> tuple[Happened, ...]:
    """The newest rows about an entry and what was said of it, the newest first."""
    return tuple(_happened(row, record) for row in journal.page(session, record=record, key=key, limit=SHOWN))


def happened_since(session: Session, record: str, key: str, row: int) -> tuple[Happened, ...]:
    """What happened to an entry after a row of the journal, oldest first, at most one page."""
    found = journal.page(session, record=record, key=key, after=row)
    return tuple(_happened(each, record) for each in found)


def waiting_changes(session: Session, record: str, key: str) -> tuple[Waiting, ...]:
    """Changes of the entry that wait."""
    found = documents(session, PENDING, of=record, about=key, state="waiting")
    return tuple(
        Waiting(
            what=ACTION_WORDS[each.content["action"]],
            who=each.author,
            due=each.content["due"][:16].replace("T", " "),
            reason=each.content["reason"],
        )
        for each in found
    )


def _happened(row: JournalEntry, record: str) -> Happened:
    own = row.record == record
    action = ACTION_WORDS.get(row.action, row.action)
    named = RECORD_WORDS.get(row.record, row.record)
    if not own:
        action = f"{named} added" if row.action == "add" else f"{named} {action}"
    return Happened(
        day=day(row.at),
        who=row.actor,
        what=capital(action),
        changed=in_words(row) if own else "",
        reason=row.reason,
        revision=row.revision if own else None,
    )


def in_words(row: JournalEntry) -> str:
    """What a row changed, in bench words; empty where it began a record."""
    return ", ".join(_named(list(_changed(row)))) if row.old is not None else ""


def _changed(row: JournalEntry) -> Iterator[str]:
    """Fields that a row changed, in bench words."""
    old, new = (_content(state) for state in (row.old, row.new))
    for name in sorted({*old, *new}):
        if old.get(name) == new.get(name):
            continue
        if name in ("dimensions", "counts", "categories"):
            yield from _features(old.get(name, {}), new.get(name, {}))
        else:
            yield name.replace("_", " ")


def _content(state: dict[str, Any] | None) -> dict[str, Any]:
    content: dict[str, Any] = (state or {}).get("content", {})
    return content


def _features(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[str]:
    for name in (name for name in FEATURES if old.get(name) != new.get(name)):
        before, after = (_figure(values.get(name)) for values in (old, new))
        yield f"{label(name).lower()} {before} → {after}" if before and after else label(name).lower()


def _figure(value: Any) -> str:
    return f"{value['value']:g}" if isinstance(value, Mapping) and "value" in value else ""


def _named(fields: list[str]) -> list[str]:
    if len(fields) <= MOST_NAMED:
        return fields
    return [*fields[: MOST_NAMED - 1], f"and {len(fields) - MOST_NAMED + 1} more"]


LARGEST_ROW_DIGITS = 18
"""Most digits of a journal row's number that the database can hold."""


def row_of(tag: str | None) -> int:
    """The journal row that a tag was made at; 0 for a tag that this server did not make."""
    row = (tag or "").partition("-")[2]
    return int(row) if row.isascii() and row.isdecimal() and len(row) <= LARGEST_ROW_DIGITS else 0
