"""The latest and pending changes of an entry, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from api.web.page.figures import capital, day, label, minute, whole_typed
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
    "describe": "laws stated",
    "revise": "changed",
    "follow": "changed with its series",
    "withdraw": "withdrawn",
    "restore": "restored",
    "merge": "merged",
    "revert": "returned to an earlier revision",
    "undo": "undone",
    "resolve": "settled",
    "propose": "proposed",
    "stop": "stopped",
    "lapse": "lapsed",
}
"""What happened to a record; documents are not listed but added."""

PENDING_WORDS: Mapping[str, str] = {"revise": "change of values", "withdraw": "withdrawal", "merge": "merger"}
"""Changes that wait before they take effect."""

ENTRY_RECORDS = frozenset({"series", "half", "mating"})

RECORD_WORDS: Mapping[str, str] = {
    "specimen": "case",
    "case_answer": "ranking of a case",
    "comment": "comment on a case",
    "land_pattern": "land pattern",
    PENDING: "pending change",
}
"""Kinds of record that people call otherwise than the journal does."""


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
class PendingChange:
    """A change that takes effect by itself unless it is stopped."""

    what: str
    who: str
    due: str
    reason: str


def last_happened(session: Session, record: str, key: str) -> tuple[Happened, ...]:
    """The newest journal rows about an entry and its statements, newest first."""
    return tuple(_happened(row, record) for row in journal.page(session, record=record, key=key, limit=SHOWN))


def happened_since(session: Session, record: str, key: str, row: int) -> tuple[Happened, ...]:
    """What happened to an entry after a row of the journal, oldest first, at most one page."""
    found = journal.page(session, record=record, key=key, after=row)
    return tuple(_happened(each, record) for each in found)


def pending_changes(session: Session, record: str, key: str) -> tuple[PendingChange, ...]:
    """Changes of the entry that are pending."""
    found = documents(session, PENDING, of=record, about=key, state="waiting")
    return tuple(
        PendingChange(
            what=PENDING_WORDS[each.content["action"]],
            who=each.author,
            due=minute(each.content["due"]),
            reason=each.content["reason"],
        )
        for each in found
    )


def _happened(row: JournalEntry, record: str) -> Happened:
    own = row.record == record
    return Happened(
        day=day(row.at),
        who=row.actor,
        what=capital(action_in_words(row) if own else f"{record_in_words(row)} {action_in_words(row)}"),
        changed=in_words(row) if own else "",
        reason=row.reason,
        revision=row.revision if own else None,
    )


def record_in_words(row: JournalEntry) -> str:
    """The kind of record that a row is of."""
    return RECORD_WORDS.get(row.record, row.record)


def action_in_words(row: JournalEntry) -> str:
    """The act on the record."""
    if row.action == "add" and row.record not in ENTRY_RECORDS:
        return "added"
    return ACTION_WORDS.get(row.action, row.action)


def in_words(row: JournalEntry) -> str:
    """The changes of a row, in bench words; empty where it began a record."""
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
    return whole_typed((tag or "").partition("-")[2], LARGEST_ROW_DIGITS) or 0
