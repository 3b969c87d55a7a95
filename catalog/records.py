"""Read models: entries as they stand in the catalogue."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict

from catalog.entries import Half, Mating, Series

Origin = Literal["listed", "inferred"]
Standing = Literal["reported", "documented", "confirmed", "disputed", "withdrawn"]
State = Literal["listed", "withdrawn", "merged"]


class Record(BaseModel):
    """An entry as it stands. Frozen.

    ``revision`` counts its changes from 1 (0: nobody listed it). ``substance_revision`` is the one that first had
    what can be measured as it is now, by ``author``. ``clean``: the machine review found nothing in it. ``state`` merged: another
    entry, ``successor``, took its place.
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

    @property
    def content(self) -> Mating:
        """What the entry says."""
        return self.mating
