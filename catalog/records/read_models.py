"""Read models: entries in their present state, with their standing."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from catalog.evidence.assessment import Assessed
from catalog.evidence.standing import Standing
from catalog.model.entries import AnyEntry, Half, Mating, Series
from catalog.model.entry_states import EntryState
from catalog.model.errors import EntryError
from catalog.model.inferred_variants import InferredBy

Origin = Literal["listed", "inferred"]
State = Literal["listed", "withdrawn", "merged"]


class Record(BaseModel):
    """An entry as it is now.

    ``revision`` counts its revisions from 1 (0: it is not listed). ``substance_revision`` is the first revision that
    had the present figures, and ``author`` made it. ``clean``: the machine review found nothing wrong. An entry with
    the ``state`` merged was replaced by its ``successor``.
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
    """A dimension, mm, that measurements give more precisely than the entry; identification uses it instead.

    Parts lie within ``tolerance`` (half-width) of ``value``, which has the standard uncertainty ``u``.
    """

    model_config = ConfigDict(frozen=True)

    value: float
    tolerance: float | None
    u: float
    people: int
    explanation: str


class HalfRecord(Record):
    """A half as it is now. ``origin`` inferred: it is not listed but follows from its series.

    ``from_law``: the stated laws of its series made it. For an inferred half, ``inferred_by`` is the kind of law, and
    ``siblings`` the number of listed halves from which it was inferred.
    """

    key: str
    origin: Origin
    half: Half
    series_key: str
    from_law: bool = False
    inferred_by: InferredBy | None = None
    siblings: int = 0
    better_known: dict[str, BetterKnown] = Field(default_factory=dict)

    @property
    def content(self) -> Half:
        """What the entry says."""
        return self.half


class SeriesRecord(Record):
    """A series as it is now. ``stated`` False: it is not described; only its halves name it."""

    key: str
    series: Series
    stated: bool
    half_count: int

    @property
    def content(self) -> Series:
        """What the entry says."""
        return self.series


class MatingRecord(Record):
    """A mating as it is now; ``id`` is its key, permanent and the same in every catalogue."""

    id: str
    mating: Mating
    from_law: bool = False
    better_known: dict[str, BetterKnown] = Field(default_factory=dict)

    @property
    def content(self) -> Mating:
        """What the entry says."""
        return self.mating


AnyRecord = SeriesRecord | HalfRecord | MatingRecord


def require_listed(entry: AnyRecord | Assessed, *, field: str) -> None:
    """Raise EntryError, naming the field that refers to the entry, if it is withdrawn or merged."""
    if entry.state != "listed":
        content = entry.content
        raise EntryError(
            f"the {content.record} {content.key} is {entry.state}",
            field=field,
            value=content.key,
            remedy=f"Use {entry.successor} instead" if entry.successor else "Ask for it to be restored first",
        )


def state_of(record: AnyRecord) -> EntryState:
    """The state of an entry, as the journal keeps it."""
    return EntryState(
        content=record.content,
        state=record.state,
        successor=record.successor,
        from_law=not isinstance(record, SeriesRecord) and record.from_law,
        stated=not isinstance(record, SeriesRecord) or record.stated,
        clean=record.clean,
    )


def assessed_of(record: AnyRecord) -> Assessed:
    """The parts of an entry that its standing depends on."""
    return assessed(record.content.key, record.content, record)


def assessed(key: str, content: AnyEntry, source: Any) -> Assessed:
    """The parts of an entry that its standing depends on; ``source`` is its record, or the row it was read from."""
    return Assessed(
        key=key,
        content=content,
        revision=source.revision,
        substance_revision=source.substance_revision,
        author=source.author,
        clean=source.clean,
        state=source.state,
        successor=source.successor,
    )
