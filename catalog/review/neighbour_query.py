"""Reads an entry's neighbours from the catalogue, and no more: narrow queries for keys, then whole halves."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, cast

from rapidfuzz import process
from rapidfuzz.distance import OSA
from sqlalchemy import Select, or_, select
from sqlalchemy.orm import Session

from catalog.db.engines import chunks
from catalog.db.tables import HalfTable, SeriesTable
from catalog.model.entries import AnyEntry, Half, Mating, Series
from catalog.model.series_laws import expand
from catalog.model.text_fields import comparable
from catalog.records.read import contents
from catalog.review.dimensions import pitch_of
from catalog.review.names import LEAST_SIMILAR_LENGTH, is_part_number, known_as, stem
from catalog.review.neighbours import SAME_PITCH, Neighbours, among
from matcher.features import ESSENTIAL, FEATURES, PITCHES

PREFILTER_SHARE = 2.0
"""Halves whose bodies differ by more default tolerances than this are not loaded: they are two parts."""

BODY = tuple(name for name in ESSENTIAL if name not in PITCHES)


def read_neighbours(session: Session, entry: AnyEntry) -> Neighbours:
    """The neighbours of an entry in the catalogue."""
    if isinstance(entry, Mating):
        return among(entry, contents(session, "half", (entry.half, entry.other)).values())
    made = expand(entry).halves if isinstance(entry, Series) else (entry,)
    own = {half.key for half in made}
    series = _stated_series(session, entry) if isinstance(entry, Half) else None
    keys = {*_siblings(session, entry, series), *_alike(session, made), *_named(session, made, entry)}
    return among(entry, contents(session, "half", keys - own).values(), series)


def _stated_series(session: Session, half: Half) -> Series | None:
    """The series, if it is stated and has a law for halves with this kind and these rows."""
    standing = (SeriesTable.key == half.series_key, SeriesTable.stated, SeriesTable.state == "listed")
    for series in contents(session, "series", session.scalars(select(SeriesTable.key).where(*standing))).values():
        laws = [law for law in series.kinds if half.half_kind in (None, law.half_kind)]
        if any(law.rows == half.rows for law in laws):
            return cast(Series, series)
    return None


def _siblings(session: Session, entry: Half | Series, series: Series | None) -> Iterable[str]:
    """For a half, those with its rows and kind, unless a stated law replaces them; for a series, those listed one by
    one."""
    key = entry.series_key if isinstance(entry, Half) else entry.key
    statement = _listed(HalfTable.key).where(HalfTable.series == key)
    if isinstance(entry, Series):
        return session.scalars(statement.where(~HalfTable.from_law))
    if series is not None:
        return ()
    statement = statement.where(HalfTable.rows == entry.rows)
    if entry.half_kind is not None:
        statement = statement.where(or_(HalfTable.half_kind == entry.half_kind, HalfTable.half_kind.is_(None)))
    return session.scalars(statement)


def _listed(*columns: Any) -> Select[Any]:
    return select(*columns).where(HalfTable.state == "listed")


def _alike(session: Session, halves: Sequence[Half]) -> Iterator[str]:
    """Halves with the same contacts and rows, a similar pitch, and a body that may be the same."""
    groups: dict[tuple[int, float], list[Half]] = defaultdict(list)
    for half in halves:
        pitch = pitch_of(half)
        if pitch is not None and all(name in half.dimensions for name in BODY):
            groups[half.rows, pitch].append(half)
    for (rows, pitch), group in groups.items():
        wanted = {(half.contact_count, *(half.dimensions[name].value for name in BODY)) for half in group}
        for counts in chunks({half.contact_count for half in group}):
            for row in session.execute(_near(rows, pitch, counts)):
                if any(_may_be_same(each, row[1:], pitch) for each in wanted):
                    yield row[0]


def _may_be_same(wanted: Sequence[float], found: Sequence[float], pitch: float) -> bool:
    """Whether the contact counts are equal and the bodies at most `PREFILTER_SHARE` default tolerances apart."""
    return wanted[0] == found[0] and all(
        abs(ours - theirs) <= PREFILTER_SHARE * FEATURES[name].process.half_width(ours, pitch)
        for name, ours, theirs in zip(BODY, wanted[1:], found[1:], strict=True)
    )


def _near(rows: int, pitch: float, counts: Sequence[int]) -> Select[Any]:
    """Key, contacts, body length and body width of halves with that many rows and one of these counts of contacts."""
    return _listed(HalfTable.key, HalfTable.contact_count, HalfTable.body_length, HalfTable.body_width).where(
        HalfTable.rows == rows,
        HalfTable.contact_count.in_(counts),
        HalfTable.pitch.between(pitch - SAME_PITCH, pitch + SAME_PITCH),
        HalfTable.body_length.is_not(None),
        HalfTable.body_width.is_not(None),
    )


def _named(session: Session, halves: Sequence[Half], entry: AnyEntry) -> Iterator[str]:
    """Halves with the same names apart from signs and packing words; for a single half also those one typing error
    away."""
    names = [
        (key, name)
        for key, text in session.execute(_listed(HalfTable.key, HalfTable.names))
        for name in text.split("\n")
    ]
    plain = [comparable(name) for _, name in names]
    wanted = {stem(name) for half in halves for name in known_as(half)}
    beginnings = tuple(wanted)
    for (key, name), compared in zip(names, plain, strict=True):
        if compared.startswith(beginnings) and stem(name) in wanted and is_part_number(name):
            yield key
    if isinstance(entry, Half) and len(comparable(entry.part_number)) >= LEAST_SIMILAR_LENGTH:
        near = process.extract(
            comparable(entry.part_number), plain, scorer=OSA.distance, score_cutoff=1, limit=None, processor=None
        )
        yield from (names[place][0] for _, _, place in near)
