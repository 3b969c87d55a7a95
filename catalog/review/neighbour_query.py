"""Reads an entry's neighbours from the catalogue, and no more: narrow queries for keys, then whole halves."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, cast

from rapidfuzz import process
from rapidfuzz.distance import OSA
from sqlalchemy import Select, and_, or_, select, union_all
from sqlalchemy.orm import Session, aliased

from catalog.db.tables import HalfDimension, HalfTable, HalfText, SeriesTable
from catalog.model.entries import AnyEntry, Half, Mating, Series
from catalog.model.series_laws import expand
from catalog.records.read import load_halves, load_series
from catalog.records.write import chunks
from catalog.review.dimensions import pitch_of, value
from catalog.review.names import LEAST_SIMILAR_LENGTH, is_part_number, known_as, skeleton, stem
from catalog.review.neighbours import SAME_PITCH, Neighbours, among
from matcher.features import ESSENTIAL, FEATURES, PITCHES

PREFILTER_SHARE = 2.0
"""Bodies this many default tolerances apart are not even loaded: whatever the bound, they are two parts."""

BODY = tuple(name for name in ESSENTIAL if name not in PITCHES)


def read_neighbours(session: Session, entry: AnyEntry, beside: Iterable[Half] = ()) -> Neighbours:
    """What stands around an entry in the catalogue, and among halves given ``beside`` it in the same batch."""
    given = list(beside)
    if isinstance(entry, Mating):
        ids = set(session.scalars(select(HalfTable.id).where(HalfTable.key.in_((entry.half, entry.other)))))
        return among(entry, [*_load(session, ids), *given])
    made = expand(entry).halves if isinstance(entry, Series) else (entry,)
    own = {half.key for half in made}
    series = _stated_series(session, entry) if isinstance(entry, Half) else None
    ids = set(_siblings(session, entry, series)) | set(_alike(session, made)) | set(_named(session, made, entry))
    return among(entry, [*(half for half in _load(session, ids) if half.key not in own), *given], series)


def _load(session: Session, ids: Iterable[int]) -> list[Half]:
    return [record.half for chunk in chunks(sorted(ids)) for record in load_halves(session, chunk)]


def _stated_series(session: Session, half: Half) -> Series | None:
    """The series where it is stated and has a law for halves of this kind and rows."""
    standing = (SeriesTable.key == half.series_key, SeriesTable.stated, SeriesTable.state == "listed")
    ids = session.scalars(select(SeriesTable.id).where(*standing)).all()
    for record in load_series(session, ids) if ids else ():
        laws = [law for law in record.series.kinds if half.half_kind in (None, law.half_kind)]
        if any(law.rows == half.rows for law in laws):
            return record.series
    return None


def _siblings(session: Session, entry: Half | Series, series: Series | None) -> Iterable[int]:
    """Of a half, those of its rows and kind, unless a stated law says more; of a series, those given one by one."""
    key = entry.series_key if isinstance(entry, Half) else entry.key
    statement = _listed().join(SeriesTable, HalfTable.series_id == SeriesTable.id).where(SeriesTable.key == key)
    if isinstance(entry, Series):
        return session.scalars(statement.where(~HalfTable.from_law))
    if series is not None:
        return ()
    statement = statement.where(HalfTable.rows == entry.rows)
    if entry.half_kind is not None:
        statement = statement.where(or_(HalfTable.half_kind == entry.half_kind, HalfTable.half_kind.is_(None)))
    return session.scalars(statement)


def _listed() -> Select[Any]:
    return select(HalfTable.id).where(HalfTable.state == "listed")


def _alike(session: Session, halves: Sequence[Half]) -> Iterator[int]:
    """Halves of as many contacts and rows, like pitch and a body that may be the same."""
    groups: dict[tuple[int, float], list[Half]] = defaultdict(list)
    for half in halves:
        pitch = pitch_of(half)
        if pitch is not None and all(value(half, name) is not None for name in ESSENTIAL):
            groups[half.rows, pitch].append(half)
    for (rows, pitch), group in groups.items():
        wanted = {(half.contact_count, *(half.dimensions[name].value for name in BODY)) for half in group}
        for counts in chunks({half.contact_count for half in group}):
            for row in session.execute(_near(rows, pitch, counts)):
                if any(_may_be_same(each, row[1:], pitch) for each in wanted):
                    yield row[0]


def _may_be_same(wanted: Sequence[float], found: Sequence[float], pitch: float) -> bool:
    """Whether contacts are as many, and bodies (length, width) at most `PREFILTER_SHARE` default tolerances apart."""
    return wanted[0] == found[0] and all(
        abs(ours - theirs) <= PREFILTER_SHARE * FEATURES[name].process.half_width(ours, pitch)
        for name, ours, theirs in zip(BODY, wanted[1:], found[1:], strict=True)
    )


def _near(rows: int, pitch: float, counts: Sequence[int]) -> Select[Any]:
    """Number, contacts, body length and body width of halves with so many rows and one of these counts of contacts."""
    parts = {name: aliased(HalfDimension) for name in ESSENTIAL}
    statement = select(HalfTable.id, HalfTable.contact_count, *(parts[name].value for name in BODY))
    for name, part in parts.items():
        statement = statement.join(part, and_(part.half_id == HalfTable.id, part.feature == name))
    narrowed = statement.where(
        HalfTable.state == "listed",
        HalfTable.rows == rows,
        HalfTable.contact_count.in_(counts),
        parts["pitch"].value.between(pitch - SAME_PITCH, pitch + SAME_PITCH),
    )
    return cast("Select[Any]", narrowed)


def _named(session: Session, halves: Sequence[Half], entry: AnyEntry) -> Iterator[int]:
    """Halves whose names are ours but for signs and packing words; of a single half also those one slip away."""
    names = _names(session)
    skeletons = [skeleton(text) for _, text in names]
    wanted = {stem(name) for half in halves for name in known_as(half)}
    beginnings = tuple(wanted)
    for (number, text), plain in zip(names, skeletons, strict=True):
        if plain.startswith(beginnings) and stem(text) in wanted and is_part_number(text):
            yield number
    if isinstance(entry, Half) and len(skeleton(entry.part_number)) >= LEAST_SIMILAR_LENGTH:
        near = process.extract(
            skeleton(entry.part_number), skeletons, scorer=OSA.distance, score_cutoff=1, limit=None, processor=None
        )
        yield from (names[place][0] for _, _, place in near)


def _names(session: Session) -> Sequence[tuple[int, str]]:
    """Number and text of every part number, order code and alias, as plain columns: mapped ones would take thrice."""
    half, text = HalfTable.__table__.c, HalfText.__table__.c
    parts = select(half.id, half.part_number).where(half.state == "listed")
    others = select(text.half_id, text.text).where(text.role.in_(("order_codes", "aliases")))
    listed = others.join(HalfTable.__table__, text.half_id == half.id).where(half.state == "listed")
    return cast("Sequence[tuple[int, str]]", session.execute(union_all(parts, listed)).all())
