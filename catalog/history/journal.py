"""The journal: each change appends its rows in the same transaction, and rows are never altered."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ConfigDict
from sqlalchemy import ColumnElement, Select, and_, false, func, insert, or_, select
from sqlalchemy.orm import Session

from catalog.db.database import mark_changed
from catalog.db.tables import HalfTable, JournalTable, MatingTable
from catalog.history.acts import Act
from catalog.model.errors import NotFoundError

LARGEST_PAGE = 1000
"""Most rows read at once."""


class JournalEntry(BaseModel):
    """One row of the journal. ``id`` increases with time; ``old`` and ``new`` are the record before and after."""

    model_config = ConfigDict(frozen=True, from_attributes=True)

    id: int
    at: str
    actor: str
    action: str
    record: str
    key: str
    of: str | None
    about: str | None
    revision: int
    old: dict[str, Any] | None
    new: dict[str, Any]
    reason: str
    batch: str


@dataclass(frozen=True, kw_only=True)
class Change:
    """A record's state before and after; ``of`` and ``about`` are the record and key that it is about."""

    record: str
    key: str
    revision: int
    new: dict[str, Any]
    old: dict[str, Any] | None = None
    of: str | None = None
    about: str | None = None
    private: bool = False


def append(
    session: Session,
    act: Act,
    action: str,
    changes: Iterable[Change],
) -> None:
    """Append a row for each change, and increase the catalogue's version."""
    common = {"at": act.at, "actor": act.actor, "action": action, "reason": act.reason, "batch": act.batch}
    written = [common | vars(change) for change in changes]
    if written:
        session.execute(insert(JournalTable.__table__), written)  # type: ignore[arg-type]
        mark_changed(session)


def page(
    session: Session,
    *,
    before: int | None = None,
    after: int | None = None,
    limit: int = 50,
    private: bool = False,
    record: str | None = None,
    key: str | None = None,
    actor: str | None = None,
    series: str | None = None,
    since: str | None = None,
) -> list[JournalEntry]:
    """Rows, newest first; with ``after``, the rows after that id, oldest first.

    ``record`` and ``key`` together select the rows of one record and of documents about it. ``series`` selects those of
    a series, its halves, its matings and documents about any of them. ``since`` is a timestamp. ``private``: including
    rows of private records. Raises ValueError for a limit outside 1 to `LARGEST_PAGE`.
    """
    if not 1 <= limit <= LARGEST_PAGE:
        raise ValueError(f"limit is {limit}; give 1 to {LARGEST_PAGE}")
    statement = select(JournalTable).limit(limit)
    if not private:
        statement = statement.where(JournalTable.private == false())
    if before is not None:
        statement = statement.where(JournalTable.id < before)
    if after is not None:
        statement = statement.where(JournalTable.id > after)
    if record is not None:
        statement = statement.where(JournalTable.record == record if key is None else _about(record, key))
    if series is not None:
        statement = statement.where(or_(_about("series", series), *_about_members(series)))
    if actor is not None:
        statement = statement.where(JournalTable.actor == actor)
    if since is not None:
        statement = statement.where(JournalTable.at >= since)
    order = JournalTable.id.asc() if after is not None else JournalTable.id.desc()
    found: Sequence[JournalTable] = session.execute(statement.order_by(order)).scalars().all()
    return [JournalEntry.model_validate(row) for row in found]


def _about(record: str, key: str) -> ColumnElement[bool]:
    own = and_(JournalTable.record == record, JournalTable.key == key)
    return or_(own, and_(JournalTable.of == record, JournalTable.about == key))


def _about_members(series: str) -> tuple[ColumnElement[bool], ...]:
    halves = select(HalfTable.key).where(HalfTable.series == series)
    matings = select(MatingTable.key).where(or_(MatingTable.half.in_(halves), MatingTable.other.in_(halves)))
    return (*_about_any("half", halves), *_about_any("mating", matings))


def _about_any(record: str, keys: Select[Any]) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    return (
        and_(JournalTable.record == record, JournalTable.key.in_(keys)),
        and_(JournalTable.of == record, JournalTable.about.in_(keys)),
    )


def revision_of(session: Session, record: str, key: str, revision: int) -> JournalEntry:
    """The row that made a revision; raises NotFoundError."""
    statement = select(JournalTable).where(
        JournalTable.record == record, JournalTable.key == key, JournalTable.revision == revision
    )
    row = session.execute(statement).scalar_one_or_none()
    if row is None:
        raise NotFoundError(
            f"{record} {key} has no revision {revision}",
            field="revision",
            value=revision,
            remedy="Its history lists the revisions",
        )
    return JournalEntry.model_validate(row)


def last_about(session: Session, record: str, key: str) -> int:
    """Number of the last row about a record, including documents about it; 0 if there is none.

    For a series, its halves and matings are included, since its laws describe them too.
    """
    about = _about(record, key)
    if record == "series":
        about = or_(about, *_about_members(key))
    found: int | None = session.execute(select(func.max(JournalTable.id)).where(about)).scalar_one()
    return found or 0
