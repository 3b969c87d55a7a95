"""Looking entries up, one by key or a page at a time.

Pages go by key: a page starts after the last key of the one before, so entries added meanwhile shift nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from sqlalchemy import ColumnElement, func, or_, select
from sqlalchemy.orm import Session, aliased

from catalog.db.tables import Base, HalfTable, HalfText, Maker, MatingTable, SeriesTable
from catalog.model.entries import slug
from catalog.model.errors import NotFoundError
from catalog.records.read import load_halves, load_matings, load_series
from catalog.records.read_models import HalfRecord, MatingRecord, SeriesRecord
from catalog.records.write import CHUNK

LARGEST_PAGE = CHUNK
"""Entries on one page at most."""

R = TypeVar("R")


@dataclass(frozen=True, kw_only=True)
class Page(Generic[R]):
    """Some entries in the order of their keys. ``next`` is the key to go on after; None: nothing follows."""

    items: tuple[R, ...]
    next: str | None


def get_half(session: Session, key: str) -> HalfRecord:
    """The half of this key; raises NotFoundError."""
    return _one(session, HalfTable, key, load_halves, "half")


def get_series(session: Session, key: str) -> SeriesRecord:
    """The series of this key; raises NotFoundError."""
    return _one(session, SeriesTable, key, load_series, "series")


def get_mating(session: Session, key: str) -> MatingRecord:
    """The mating of this key; raises NotFoundError."""
    return _one(session, MatingTable, key, load_matings, "mating")


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
    """Halves, filtered: ``maker`` by name, ``series`` by key, ``text`` a fragment of a part number, order code, marking
    or alias in any case. ``limit`` is 1 to `LARGEST_PAGE` (ValueError)."""
    wanted: list[ColumnElement[bool]] = [HalfTable.state == "listed"]
    if maker is not None:
        wanted.append(HalfTable.series_id.in_(_series_of(maker)))
    if series is not None:
        wanted.append(HalfTable.series_id.in_(select(SeriesTable.id).where(SeriesTable.key == series)))
    if half_kind is not None:
        wanted.append(HalfTable.half_kind == half_kind)
    if contact_count is not None:
        wanted.append(HalfTable.contact_count == contact_count)
    if text is not None:
        said = select(HalfText.half_id).where(_contains(HalfText.text, text))
        wanted.append(or_(_contains(HalfTable.part_number, text), HalfTable.id.in_(said)))
    return _page(session, HalfTable, wanted, after, limit, load_halves, lambda record: record.key)


def series_page(
    session: Session, *, after: str | None = None, limit: int = 50, maker: str | None = None, text: str | None = None
) -> Page[SeriesRecord]:
    """Series, filtered as halves are; ``text`` is a fragment of the name."""
    wanted: list[ColumnElement[bool]] = [SeriesTable.state == "listed"]
    if maker is not None:
        wanted.append(SeriesTable.id.in_(_series_of(maker)))
    if text is not None:
        wanted.append(_contains(SeriesTable.name, text))
    return _page(session, SeriesTable, wanted, after, limit, load_series, lambda record: record.key)


def matings_page(
    session: Session, *, after: str | None = None, limit: int = 50, half: str | None = None, basis: str | None = None
) -> Page[MatingRecord]:
    """Matings, filtered: ``half`` is the key of either half."""
    wanted: list[ColumnElement[bool]] = [MatingTable.state == "listed"]
    if half is not None:
        ids = select(HalfTable.id).where(HalfTable.key == half)
        wanted.append(or_(MatingTable.half_id.in_(ids), MatingTable.other_id.in_(ids)))
    if basis is not None:
        wanted.append(MatingTable.basis == basis)
    return _page(session, MatingTable, wanted, after, limit, load_matings, lambda record: record.id)


def mates_of(session: Session, key: str) -> list[tuple[MatingRecord, HalfRecord]]:
    """Every mating of the half with the half at its other end; raises NotFoundError for an unknown key."""
    half = _id(session, HalfTable, key, "half")
    first, second = aliased(HalfTable), aliased(HalfTable)
    found = session.execute(
        select(MatingTable.id, first.id, second.id)
        .join(first, MatingTable.half_id == first.id)
        .join(second, MatingTable.other_id == second.id)
        .where(or_(first.id == half, second.id == half))
        .where(MatingTable.state == "listed", first.state == "listed", second.state == "listed")
    ).all()
    others = {record.key: record for record in load_halves(session, [b if a == half else a for _, a, b in found])}
    return [
        (record, others[record.mating.other if record.mating.half == key else record.mating.half])
        for record in load_matings(session, [id_ for id_, _, _ in found])
    ]


def _series_of(maker: str) -> Any:
    return select(SeriesTable.id).join(Maker).where(Maker.key == slug(maker))


def _contains(column: Any, text: str) -> ColumnElement[bool]:
    return func.lower(column).contains(text.lower(), autoescape=True)


def _id(session: Session, table: type[Base], key: str, what: str) -> int:
    columns = table.__table__.c
    found: int | None = session.execute(select(columns.id).where(columns.key == key)).scalar_one_or_none()
    if found is None:
        raise NotFoundError(
            f"no {what} has the key {key!r}", field="key", value=key, remedy="Search for it by a part of its name"
        )
    return found


def _one(
    session: Session, table: type[Base], key: str, load: Callable[[Session, Sequence[int]], list[R]], what: str
) -> R:
    return load(session, [_id(session, table, key, what)])[0]


def _page(
    session: Session,
    table: type[Base],
    wanted: Sequence[ColumnElement[bool]],
    after: str | None,
    limit: int,
    load: Callable[[Session, Sequence[int]], list[R]],
    key: Callable[[R], str],
) -> Page[R]:
    if not 1 <= limit <= LARGEST_PAGE:
        raise ValueError(f"limit is {limit}; give 1 to {LARGEST_PAGE}")
    columns = table.__table__.c
    statement = select(columns.id).where(*wanted).order_by(columns.key).limit(limit + 1)
    if after is not None:
        statement = statement.where(columns.key > after)
    ids = session.execute(statement).scalars().all()
    items = tuple(load(session, ids[:limit]))
    return Page(items=items, next=key(items[-1]) if len(ids) > limit else None)
