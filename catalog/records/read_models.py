"""Read models: entries in their present state."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from catalog.evidence.assessment import Assessed
from catalog.evidence.standing import Standing
from catalog.model.entries import AnyEntry, Half, Mating, Series
from catalog.model.entry_states import Stood

Origin = Literal["listed", "inferred"]
State = Literal["listed", "withdrawn", "merged"]


class Record(BaseModel):
    """An entry as it stands. Frozen.

    ``revision`` counts its changes from 1 (0: nobody listed it). ``substance_revision`` is the one that first had
    what can be measured as it is now, by ``author``. ``clean``: the machine review found nothing in it. ``state``
    merged: another entry, ``successor``, took its place.
    """

    model_config = ConfigDict(frozen=True)

    standing: Standing = "reported"
    revision: int
    substance_revision: int = 0
    author: str = ""
    changed_at: str = ""
    clean: bool = False
    state: State = "listed"
    successor: str | None = None


class BetterKnown(BaseModel):
    """A dimension, mm, that measurements give more precisely than the entry: identification uses it instead.

    ``tolerance`` is the half-width within which parts lie, ``u`` the standard uncertainty of ``value``, their centre.
    """

    model_config = ConfigDict(frozen=True)

    value: float
    tolerance: float | None
    u: float
    people: int
    explanation: str


class HalfRecord(Record):
    """A half as it stands. ``origin`` inferred: nobody listed it, it follows from its series' laws or siblings.

    ``from_law`` says that its series' stated laws made it. ``inferred_by`` says from what (None: listed), ``siblings``
    how many listed halves stand behind it.
    """

    key: str
    origin: Origin
    half: Half
    series_key: str
    from_law: bool = False
    inferred_by: Literal["stated law", "fitted law"] | None = None
    siblings: int = 0
    better_known: dict[str, BetterKnown] = Field(default_factory=dict)

    @property
    def content(self) -> Half:
        """What the entry says."""
        return self.half


class SeriesRecord(Record):
    """A series as it stands. ``stated`` False: nobody described it, its halves name it."""

    key: str
    series: Series
    stated: bool
    half_count: int

    @property
    def content(self) -> Series:
        """What the entry says."""
        return self.series


class MatingRecord(Record):
    """A mating as it stands; ``id`` is its key, permanent and the same in every catalogue."""

    id: str
    mating: Mating
    from_law: bool = False
    better_known: dict[str, BetterKnown] = Field(default_factory=dict)

    @property
    def content(self) -> Mating:
        """What the entry says."""
        return self.mating


AnyRecord = SeriesRecord | HalfRecord | MatingRecord


def stood_of(record: AnyRecord) -> Stood:
    """An entry's state, as the journal keeps it."""
    return Stood(
        content=record.content,
        state=record.state,
        successor=record.successor,
        from_law=not isinstance(record, SeriesRecord) and record.from_law,
        stated=not isinstance(record, SeriesRecord) or record.stated,
        clean=record.clean,
    )


def assessed_of(record: AnyRecord) -> Assessed:
    """An entry, as far as its standing depends on it."""
    return assessed(record.content.key, record.content, record)


def assessed(key: str, content: AnyEntry, standing: Any) -> Assessed:
    """An entry, as far as its standing depends on it; ``standing``: its record, or the row that it is made from."""
    return Assessed(
        key=key,
        content=content,
        revision=standing.revision,
        substance_revision=standing.substance_revision,
        author=standing.author,
        clean=standing.clean,
        state=standing.state,
        successor=standing.successor,
    )
