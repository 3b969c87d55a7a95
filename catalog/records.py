"""Read models: entries as they stand in the catalogue."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict

from catalog.entries import Half, Mating, Series

Origin = Literal["listed", "inferred"]
Standing = Literal["reported"]


class Record(BaseModel):
    """Base of all records: frozen."""

    model_config = ConfigDict(frozen=True)


class HalfRecord(Record):
    """A half as it stands. ``origin`` inferred: nobody listed it, it follows from its series' laws or siblings.

    ``from_law`` says that its series' stated laws made it. ``revision`` counts its changes from 1; 0: inferred.
    ``inferred_by`` says from what (None: listed), ``siblings`` how many listed halves stand behind it.
    """

    key: str
    origin: Origin
    standing: Standing
    revision: int
    half: Half
    series_key: str
    from_law: bool = False
    inferred_by: Literal["stated law", "fitted law"] | None = None
    siblings: int = 0


class SeriesRecord(Record):
    """A series as it stands. ``stated`` False: nobody described it, its halves name it."""

    key: str
    standing: Standing
    revision: int
    series: Series
    stated: bool
    half_count: int


class MatingRecord(Record):
    """A mating as it stands; ``id`` is its key, permanent and the same in every catalogue."""

    id: str
    standing: Standing
    revision: int
    mating: Mating
    from_law: bool = False


def present_standing() -> Standing:
    """The standing that an entry earns by the evidence the catalogue can hold so far.

    Without measurements, reviews or disputes that is `reported` for every entry: a cited drawing alone documents
    nothing, it would need the clean machine review as well.
    """
    return "reported"
