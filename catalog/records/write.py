"""From entries to table rows, in bulk: makers, documents, series, halves, matings, and what hangs under them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, TypeVar, cast

from sqlalchemy import Table, insert, select
from sqlalchemy.orm import Session

from catalog.db.tables import (
    Base,
    CitedDocument,
    HalfCategory,
    HalfCount,
    HalfDimension,
    HalfSite,
    HalfText,
    Maker,
    MatingContact,
    MatingDimension,
    SeriesAlias,
)
from catalog.history.acts import Act
from catalog.model.entries import Citation, Common, Dimension, Half, Mating, Series

Row = dict[str, Any]
T = TypeVar("T")

CHUNK = 500
"""Values in one IN list: below every engine's limit, and one prepared statement serves them all."""

LAW_FIELDS = frozenset({"kinds", "stack", "stack_tolerance", "correspondence"})
TEXT_ROLES = ("markings", "aliases", "order_codes")


def chunks(values: Iterable[T]) -> Iterator[list[T]]:
    """The values in lists of at most `CHUNK`."""
    rest = list(values)
    for start in range(0, len(rest), CHUNK):
        yield rest[start : start + CHUNK]


def ids_by_key(session: Session, table: type[Base], keys: Iterable[str]) -> dict[str, int]:
    """Row numbers of those of the keys that the table holds."""
    return values_by_key(session, table, "id", keys)


def values_by_key(session: Session, table: type[Base], name: str, keys: Iterable[str]) -> dict[str, Any]:
    """The named column, by key, of those of the keys that the table holds."""
    columns = table.__table__.c
    found: dict[str, Any] = {}
    for chunk in chunks(dict.fromkeys(keys)):
        rows = session.execute(select(columns.key, columns[name]).where(columns.key.in_(chunk)))
        found |= {row[0]: row[1] for row in rows}
    return found


def insert_rows(session: Session, table: type[Base], rows: Sequence[Row]) -> list[int]:
    """Insert the rows and return their numbers, in order."""
    if not rows:
        return []
    statement = insert(_plain(table)).returning(table.__table__.c.id, sort_by_parameter_order=True)
    return list(session.execute(statement, rows).scalars())


def _insert_parts(session: Session, table: type[Base], rows: list[Row]) -> None:
    if rows:
        session.execute(insert(_plain(table)), rows)


def _plain(table: type[Base]) -> Table:
    # Mapped classes would split the rows by which values are None, into thousands of statements.
    return cast(Table, table.__table__)


def store_makers(session: Session, names: Mapping[str, str]) -> dict[str, int]:
    """Row numbers of makers, by key; ``names`` gives the name of each key and unknown ones are inserted."""
    known = ids_by_key(session, Maker, names)
    missing = [key for key in names if key not in known]
    new = insert_rows(session, Maker, [{"key": key, "name": names[key]} for key in missing])
    return known | dict(zip(missing, new, strict=True))


def store_citations(session: Session, citations: Iterable[Citation | None]) -> dict[Citation, int]:
    """Row numbers of cited documents; unknown ones are inserted."""
    wanted = dict.fromkeys(citation for citation in citations if citation is not None)
    known: dict[Citation, int] = {}
    for titles in chunks(dict.fromkeys(citation.title for citation in wanted)):
        for row in session.execute(select(CitedDocument).where(CitedDocument.title.in_(titles))).scalars():
            known[Citation(title=row.title, revision=row.revision, page=row.page, address=row.address)] = row.id
    missing = [citation for citation in wanted if citation not in known]
    new = insert_rows(session, CitedDocument, [citation.model_dump() for citation in missing])
    return known | dict(zip(missing, new, strict=True))


def _common(entry: Common, citations: Mapping[Citation, int]) -> Row:
    ratings = entry.ratings
    return {
        "lifecycle": entry.lifecycle,
        "mating_cycles": entry.mating_cycles,
        "contact_current_a": ratings and ratings.contact_current_a,
        "power_contact_current_a": ratings and ratings.power_contact_current_a,
        "loaded_contacts": ratings and ratings.loaded_contacts,
        "voltage_v": ratings and ratings.voltage_v,
        "citation_id": citations[entry.datasheet] if entry.datasheet else None,
        "note": entry.note,
    }


def series_row(series: Series, *, stated: bool, maker_id: int, citations: Mapping[Citation, int]) -> Row:
    """The row of a series, laws included."""
    return {
        "key": series.key,
        "maker_id": maker_id,
        "name": series.name,
        "stated": stated,
        "laws": series.model_dump(mode="json", include=set(LAW_FIELDS)),
        **_common(series, citations),
    }


def new_standing(act: Act, *, clean: bool) -> Row:
    """The columns of an entry that its first author has just given."""
    return {
        "revision": 1,
        "substance_revision": 1,
        "author": act.actor,
        "changed_at": act.at,
        "clean": clean,
        "state": "listed",
        "successor": None,
    }


def store_aliases(session: Session, series_id: int, names: Sequence[str]) -> None:
    """Insert a series' other names."""
    _insert_parts(
        session, SeriesAlias, [{"series_id": series_id, "ordinal": n, "text": name} for n, name in enumerate(names)]
    )


def half_row(half: Half, *, from_law: bool, series_id: int, citations: Mapping[Citation, int]) -> Row:
    """The row of a half; what hangs under it goes into tables of its own (`store_half_parts`)."""
    return {
        "key": half.key,
        "series_id": series_id,
        "part_number": half.part_number,
        "half_kind": half.half_kind,
        "rows": half.rows,
        "contact_count": half.contact_count,
        "positions": half.positions,
        "from_law": from_law,
        **_common(half, citations),
    }


def store_half_parts(session: Session, owned: Sequence[tuple[int, Half]]) -> None:
    """Insert what hangs under halves, each with its row number."""
    _insert_parts(
        session, HalfDimension, [row for id_, half in owned for row in _dimensions("half_id", id_, half.dimensions)]
    )
    _insert_parts(session, HalfCount, [row for id_, half in owned for row in _counts(id_, half)])
    _insert_parts(session, HalfCategory, [row for id_, half in owned for row in _categories(id_, half)])
    _insert_parts(session, HalfText, [row for id_, half in owned for row in _texts(id_, half)])
    _insert_parts(session, HalfSite, [row for id_, half in owned for row in _sites(id_, half)])


def _dimensions(owner: str, id_: int, dimensions: Mapping[str, Dimension]) -> Iterator[Row]:
    for feature, dimension in dimensions.items():
        yield {owner: id_, "feature": feature, **dict(dimension)}


def _counts(id_: int, half: Half) -> Iterator[Row]:
    for feature, value in half.counts.items():
        yield {"half_id": id_, "feature": feature, "value": value}


def _categories(id_: int, half: Half) -> Iterator[Row]:
    for feature, values in half.categories.items():
        for ordinal, value in enumerate(values):
            yield {"half_id": id_, "feature": feature, "ordinal": ordinal, "value": value}


def _texts(id_: int, half: Half) -> Iterator[Row]:
    for role in TEXT_ROLES:
        for ordinal, text in enumerate(getattr(half, role)):
            yield {"half_id": id_, "role": role, "ordinal": ordinal, "text": text}


def _sites(id_: int, half: Half) -> Iterator[Row]:
    rows = [{"site_row": site.row, "position": site.position, "contacts": None} for site in half.blocked]
    rows += [{"site_row": n, "position": None, "contacts": count} for n, count in enumerate(half.row_contacts, start=1)]
    for ordinal, row in enumerate(rows):
        yield {"half_id": id_, "ordinal": ordinal, **row}


def mating_row(
    mating: Mating, *, from_law: bool, half_ids: Mapping[str, int], citations: Mapping[Citation, int]
) -> Row:
    """The row of a mating; what hangs under it goes into tables of its own (`store_mating_parts`)."""
    return {
        "key": mating.key,
        "half_id": half_ids[mating.half],
        "other_id": half_ids[mating.other],
        "basis": mating.basis,
        "correspondence": mating.correspondence,
        "citation_id": citations[mating.citation] if mating.citation else None,
        "note": mating.note,
        "from_law": from_law,
    }


def store_mating_parts(session: Session, owned: Sequence[tuple[int, Mating]]) -> None:
    """Insert what hangs under matings, each with its row number."""
    parts = [row for id_, mating in owned for row in _dimensions("mating_id", id_, mating.dimensions)]
    _insert_parts(session, MatingDimension, parts)
    contacts = [
        {"mating_id": id_, "ordinal": ordinal, "contact": contact, "other_contact": other}
        for id_, mating in owned
        for ordinal, (contact, other) in enumerate(mating.contact_map)
    ]
    _insert_parts(session, MatingContact, contacts)
