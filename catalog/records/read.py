"""From table rows to records. Every read of whole entries goes through here, one or all of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Row, func, select
from sqlalchemy.orm import Session, aliased

from catalog.db.tables import (
    Base,
    CitedDocument,
    HalfCategory,
    HalfCount,
    HalfDimension,
    HalfSite,
    HalfTable,
    HalfText,
    Maker,
    MatingContact,
    MatingDimension,
    MatingTable,
    SeriesAlias,
    SeriesTable,
)
from catalog.evidence.assessment import Assessed, Assessment
from catalog.evidence.retrieval import assessments
from catalog.model.entries import BlockedPosition, Citation, Dimension, Half, Mating, Ratings, Series
from catalog.records.read_models import BetterKnown, HalfRecord, MatingRecord, SeriesRecord
from catalog.records.write import TEXT_ROLES

Ids = Sequence[int] | None
"""Row numbers to load (few enough for one IN list) whatever their state, or None for all that are listed."""

ASSESSED_COLUMNS = ("revision", "substance_revision", "author", "clean", "state", "successor")
STANDING_COLUMNS = (*ASSESSED_COLUMNS, "changed_at")

Parts = Mapping[int, list[Row[Any]]]


def load_halves(session: Session, ids: Ids = None) -> list[HalfRecord]:
    """Halves in the order of their keys."""
    statement = (
        select(HalfTable, SeriesTable.name, SeriesTable.key, Maker.name, CitedDocument)
        .join(SeriesTable, HalfTable.series_id == SeriesTable.id)
        .join(Maker, SeriesTable.maker_id == Maker.id)
        .outerjoin(CitedDocument, HalfTable.citation_id == CitedDocument.id)
    )
    rows = session.execute(statement.where(_among(HalfTable, ids)).order_by(HalfTable.key)).all()
    dimensions = _parts(session, HalfDimension, "half_id", ids)
    counts = _parts(session, HalfCount, "half_id", ids)
    categories = _parts(session, HalfCategory, "half_id", ids, "ordinal")
    texts = _parts(session, HalfText, "half_id", ids, "ordinal")
    sites = _parts(session, HalfSite, "half_id", ids, "ordinal")
    halves = [
        Half(
            maker=maker,
            series=series,
            part_number=row.part_number,
            half_kind=row.half_kind,
            rows=row.rows,
            contact_count=row.contact_count,
            positions=row.positions,
            dimensions=_dimensions(dimensions.get(row.id, [])),
            counts={part.feature: part.value for part in counts.get(row.id, [])},
            categories=_categories(categories.get(row.id, [])),
            **_sites(sites.get(row.id, [])),
            **_texts(texts.get(row.id, [])),
            **_common(row, document),
        )
        for row, series, _, maker, document in rows
    ]
    standings = _standings(session, [row for row, *_ in rows], halves)
    return [
        HalfRecord(
            key=row.key, origin="listed", half=half, series_key=series_key, from_law=row.from_law, **standings[row.key]
        )
        for (row, _, series_key, *_), half in zip(rows, halves, strict=True)
    ]


def load_series(session: Session, ids: Ids = None) -> list[SeriesRecord]:
    """Series in the order of their keys."""
    listed = select(HalfTable.series_id, func.count().label("members")).where(HalfTable.state == "listed")
    members = listed.group_by(HalfTable.series_id).subquery()
    statement = (
        select(SeriesTable, Maker.name, CitedDocument, func.coalesce(members.c.members, 0))
        .join(Maker, SeriesTable.maker_id == Maker.id)
        .outerjoin(CitedDocument, SeriesTable.citation_id == CitedDocument.id)
        .outerjoin(members, members.c.series_id == SeriesTable.id)
    )
    rows = session.execute(statement.where(_among(SeriesTable, ids)).order_by(SeriesTable.key)).all()
    aliases = _parts(session, SeriesAlias, "series_id", ids, "ordinal")
    described = [
        Series(
            maker=maker,
            name=row.name,
            aliases=tuple(part.text for part in aliases.get(row.id, [])),
            **row.laws,
            **_common(row, document),
        )
        for row, maker, document, _ in rows
    ]
    standings = _standings(session, [row for row, *_ in rows], described)
    return [
        SeriesRecord(key=row.key, series=series, stated=row.stated, half_count=count, **_of_series(standings[row.key]))
        for (row, *_, count), series in zip(rows, described, strict=True)
    ]


def _of_series(standing: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in standing.items() if name != "better_known"}


def load_matings(session: Session, ids: Ids = None) -> list[MatingRecord]:
    """Matings in the order of their keys."""
    first, second = aliased(HalfTable), aliased(HalfTable)
    statement = (
        select(MatingTable, first.key, second.key, CitedDocument)
        .join(first, MatingTable.half_id == first.id)
        .join(second, MatingTable.other_id == second.id)
        .outerjoin(CitedDocument, MatingTable.citation_id == CitedDocument.id)
    )
    if ids is None:  # a mating of a half that was taken away waits for it to come back
        statement = statement.where(first.state == "listed", second.state == "listed")
    rows = session.execute(statement.where(_among(MatingTable, ids)).order_by(MatingTable.key)).all()
    dimensions = _parts(session, MatingDimension, "mating_id", ids)
    contacts = _parts(session, MatingContact, "mating_id", ids, "ordinal")
    matings = [
        Mating(
            half=half,
            other=other,
            **_dimensions(dimensions.get(row.id, [])),
            correspondence=row.correspondence,
            contact_map=tuple((part.contact, part.other_contact) for part in contacts.get(row.id, [])),
            basis=row.basis,
            citation=_citation(document),
            note=row.note,
        )
        for row, half, other, document in rows
    ]
    standings = _standings(session, [row for row, *_ in rows], matings)
    return [
        MatingRecord(id=row.key, mating=mating, from_law=row.from_law, **standings[row.key])
        for (row, *_), mating in zip(rows, matings, strict=True)
    ]


def _among(table: type[HalfTable] | type[SeriesTable] | type[MatingTable], ids: Ids) -> ColumnElement[bool]:
    return table.state == "listed" if ids is None else table.id.in_(ids)


def _standings(
    session: Session, rows: Sequence[HalfTable | SeriesTable | MatingTable], contents: Sequence[Half | Series | Mating]
) -> dict[str, dict[str, Any]]:
    """What every record says of its standing, by key; the evidence of all is read at once."""
    columns = {row.key: {name: getattr(row, name) for name in STANDING_COLUMNS} for row in rows}
    entries = [
        Assessed(key=row.key, content=content, **{name: columns[row.key][name] for name in ASSESSED_COLUMNS})
        for row, content in zip(rows, contents, strict=True)
    ]
    assessed = assessments(session, entries)
    return {
        key: {**values, "standing": assessed[key].standing, "better_known": _better_known(assessed[key])}
        for key, values in columns.items()
    }


def _better_known(assessment: Assessment) -> dict[str, BetterKnown]:
    return {
        name: BetterKnown(
            value=dim.value,
            tolerance=dim.tolerance,
            u=dim.extra_u,
            people=assessment.estimates[name].measured.people,
            explanation=assessment.estimates[name].explanation,
        )
        for name, dim in assessment.better.items()
    }


def _parts(session: Session, table: type[Base], owner: str, ids: Ids, order: str | None = None) -> Parts:
    """Rows of a table of parts by their owner's number. Plain columns: mapped objects would triple the time."""
    columns = table.__table__.c
    statement = select(*columns)
    if ids is not None:
        statement = statement.where(columns[owner].in_(ids))
    if order is not None:
        statement = statement.order_by(columns[order])
    found: dict[int, list[Row[Any]]] = defaultdict(list)
    for row in session.execute(statement):
        found[getattr(row, owner)].append(row)
    return found


def _dimensions(parts: Sequence[Row[Any]]) -> dict[str, Dimension]:
    return {
        part.feature: Dimension(
            value=part.value,
            bound=part.bound,
            tolerance=part.tolerance,
            extra_u=part.extra_u,
            doubt=part.doubt,
            unit=part.unit,
            given=part.given,
            given_tolerance=part.given_tolerance,
        )
        for part in parts
    }


def _categories(parts: Sequence[Row[Any]]) -> dict[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for part in parts:
        found[part.feature] = (*found.get(part.feature, ()), part.value)
    return found


def _texts(parts: Sequence[Row[Any]]) -> dict[str, Any]:
    return {role: tuple(part.text for part in parts if part.role == role) for role in TEXT_ROLES}


def _sites(parts: Sequence[Row[Any]]) -> dict[str, Any]:
    return {
        "blocked": tuple(
            BlockedPosition(row=part.site_row, position=part.position) for part in parts if part.position is not None
        ),
        "row_contacts": tuple(part.contacts for part in parts if part.contacts is not None),
    }


def _common(row: HalfTable | SeriesTable, document: CitedDocument | None) -> dict[str, Any]:
    ratings = {name: getattr(row, name) for name in Ratings.model_fields}
    return {
        "lifecycle": row.lifecycle,
        "mating_cycles": row.mating_cycles,
        "ratings": None if all(value is None for value in ratings.values()) else Ratings(**ratings),
        "datasheet": _citation(document),
        "note": row.note,
    }


def _citation(document: CitedDocument | None) -> Citation | None:
    if document is None:
        return None
    return Citation(title=document.title, revision=document.revision, page=document.page, address=document.address)
