"""Queries for entries: one by its key, or a page at a time.

Pages are in the order of keys, and each starts after the last key of the previous page. So new entries do not shift
the following pages.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from sqlalchemy import ColumnElement, func, or_, select
from sqlalchemy.orm import Session, aliased

from catalog.db.engines import CHUNK
from catalog.db.tables import EntryTable, HalfTable, MatingTable, SeriesTable
from catalog.model.entries import slug
from catalog.records.read import Keys, load_halves, load_matings, load_series, only
from catalog.records.read_models import HalfRecord, MatingRecord, SeriesRecord

LARGEST_PAGE = CHUNK
"""Most entries on one page."""

R = TypeVar("R")


@dataclass(frozen=True, kw_only=True)
class Page(Generic[R]):
    """Entries in the order of their keys. The next page starts after the key ``next``; None: this is the last page."""

    items: tuple[R, ...]
    next: str | None


def get_half(session: Session, key: str) -> HalfRecord:
    """The half with this key; raises NotFoundError."""
    return only(load_halves(session, [key]), "half", key)


def get_series(session: Session, key: str) -> SeriesRecord:
    """The series with this key; raises NotFoundError."""
    return only(load_series(session, [key]), "series", key)


def get_mating(session: Session, key: str) -> MatingRecord:
    """The mating with this key; raises NotFoundError."""
    return only(load_matings(session, [key]), "mating", key)


def halves_page(
    session: Session,
    *,
    after: str | None = None,
    limit: int = 50,
    maker: str | None = None,
    series: str | None = None,
    half_kind: str | None = None,
    contact_count: int | None = None,
    text: str | None = None,
) -> Page[HalfRecord]:
    """Halves, filtered by the maker's name, the key of the series and so on. ``text`` is a part of a part number, order
    code, marking or alias in upper or lower case. Raises ValueError for a limit outside 1 to `LARGEST_PAGE`."""
    wanted = _equal(
        (HalfTable.maker, maker and slug(maker)),
        (HalfTable.series, series),
        (HalfTable.half_kind, half_kind),
        (HalfTable.contact_count, contact_count),
    )
    if text is not None:
        wanted.append(_contains(HalfTable.names, text))
    return _page(session, HalfTable, wanted, after, limit, load_halves)


def series_page(
    session: Session, *, after: str | None = None, limit: int = 50, maker: str | None = None, text: str | None = None
) -> Page[SeriesRecord]:
    """Series, filtered as halves are; ``text`` is a part of the name."""
    wanted = _equal((SeriesTable.maker, maker and slug(maker)))
    if text is not None:
        wanted.append(_contains(SeriesTable.content["name"].as_string(), text))
    return _page(session, SeriesTable, wanted, after, limit, load_series)


def matings_page(
    session: Session, *, after: str | None = None, limit: int = 50, half: str | None = None, basis: str | None = None
) -> Page[MatingRecord]:
    """Matings, filtered; ``half`` is the key of either half."""
    wanted = _equal((MatingTable.basis, basis))
    if half is not None:
        wanted.append(or_(MatingTable.half == half, MatingTable.other == half))
    return _page(session, MatingTable, wanted, after, limit, load_matings)


def mates_of(session: Session, key: str) -> list[tuple[MatingRecord, HalfRecord]]:
    """Every mating of the half, with the other half; raises NotFoundError for an unknown key."""
    get_half(session, key)
    first, second = aliased(HalfTable), aliased(HalfTable)
    found = session.scalars(
        select(MatingTable.key)
        .join(first, MatingTable.half == first.key)
        .join(second, MatingTable.other == second.key)
        .where(or_(first.key == key, second.key == key))
        .where(MatingTable.state == "listed", first.state == "listed", second.state == "listed")
    ).all()
    mates = [
        (record, record.mating.other if record.mating.half == key else record.mating.half)
        for record in load_matings(session, found)
    ]
    halves = {record.key: record for record in load_halves(session, [mate for _, mate in mates])}
    return [(record, halves[mate]) for record, mate in mates]


def _equal(*wanted: tuple[Any, Any]) -> list[ColumnElement[bool]]:
    """Conditions that columns have the given values; None is any value."""
    return [column == value for column, value in wanted if value is not None]


def _contains(column: Any, text: str) -> ColumnElement[bool]:
    return func.lower(column).contains(text.lower(), autoescape=True)


def _page(
    session: Session,
    table: EntryTable,
    wanted: Sequence[ColumnElement[bool]],
    after: str | None,
    limit: int,
    load: Callable[[Session, Keys], list[R]],
) -> Page[R]:
    if not 1 <= limit <= LARGEST_PAGE:
        raise ValueError(f"limit is {limit}; give 1 to {LARGEST_PAGE}")
    statement = select(table.key).where(table.state == "listed", *wanted).order_by(table.key).limit(limit + 1)
    if after is not None:
        statement = statement.where(table.key > after)
    keys = session.scalars(statement).all()
    return Page(items=tuple(load(session, keys[:limit])), next=keys[limit - 1] if len(keys) > limit else None)
