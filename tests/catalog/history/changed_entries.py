"""Invented people and entries for the tests of changes, and functions that change them."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy.orm import Session

from catalog.history.acts import Act
from catalog.history.addition import add
from catalog.history.documents import add_document
from catalog.history.journal import JournalEntry, page
from catalog.model.entries import AnyEntry, Half, Series
from catalog.model.entry_parts import Dimension
from catalog.model.timestamps import written
from tests.catalog.evidence.evidence_examples import measured
from tests.catalog.model.entry_examples import half, mating, series

WREN, IDA, PER = "Wren Olsen", "Ida Finch", "Per Crake"
HALF = "siskin-works:sk-7-13"
SERIES = "dunnock-sons:dn40"
MEMBER = "dunnock-sons:dn40pa-010"
MATE = "dunnock-sons:dn40r-010"


def by(actor: str, reason: str = "", **more: Any) -> Act:
    """An act of a contributor at the present time."""
    return Act(actor=actor, reason=reason, **more)


def fill(session: Session, actor: str = WREN) -> None:
    """Add the series, a half listed by itself, and a mating of that half with one of the series."""
    add(session, [series(), half(), mating()], by(actor))


def longer(entry: Half | None = None, by_mm: float = 0.5) -> Half:
    """The half with a different body length."""
    given = entry or half()
    old = given.dimensions["body_length"]
    new = Dimension(value=round(old.value + by_mm, 3), tolerance=old.tolerance)
    return given.model_copy(update={"dimensions": {**given.dimensions, "body_length": new}})


def wider_laws(**changes: Any) -> Series:
    """The series with plugs 0.1 mm longer and without the 40-contact size."""
    laws = series().model_dump(mode="json")
    plug = laws["kinds"][0]
    plug["dimensions"]["body_length"]["intercept"] = 1.9
    plug["contact_counts"] = [10, 20, 30]
    laws["kinds"][1]["contact_counts"] = [10, 20, 30]
    return Series.model_validate({**laws, **changes})


def confirm(session: Session, entry: AnyEntry, *people: str, revision: int = 1) -> None:
    """Each person measures the half and finds the stated value."""
    if not isinstance(entry, Half):
        raise TypeError("only halves are measured here")
    length = entry.dimensions["body_length"].value
    said = measured({"feature": "body_length", "value": length, "u": 0.01}, content=entry, revision=revision)
    for name in people:
        add_document(session, by(name), "confirmation", said, of="half", about=entry.key)


def rows(session: Session, record: str, key: str) -> list[JournalEntry]:
    """The journal's rows about one record, oldest first."""
    return [each for each in page(session, after=0, limit=500, record=record, key=key) if each.record == record]


def since_ever() -> str:
    """A time before all changes."""
    return written(datetime(2020, 1, 1, tzinfo=UTC))
