"""Tables of the catalogue: entries, people, and what people say. Lengths are millimetres.

An entry is stored once: its document is JSON as `catalog.model.entries` reads it, and beside it stand only the columns
that queries ask for. There is a table for each kind of entry, so that foreign keys hold halves to their series and
matings to their halves. Columns with domain truths carry them as check constraints, so that no path into the database
can break them. Nothing is ever deleted, so no foreign key has an ON DELETE action.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from sqlalchemy import JSON, CheckConstraint, Double, ForeignKey, Index, MetaData, String, Text, UniqueConstraint
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

# Keys sort by code point on both engines, whatever the server's language: pages by key depend on it.
KeyText = Text().with_variant(Text(collation="C"), "postgresql")
Word = String(40)
Json = JSON(none_as_null=True).with_variant(JSONB(none_as_null=True), "postgresql")

Id = Annotated[int, mapped_column(primary_key=True)]
Key = Annotated[str, mapped_column(KeyText, unique=True)]
KeyOf = Annotated[str, mapped_column(KeyText)]
OptionalKeyOf = Annotated[str | None, mapped_column(KeyText)]
Name = Annotated[str, mapped_column(Text)]
LongText = Annotated[str, mapped_column(Text, default="")]
OptionalText = Annotated[str | None, mapped_column(Text)]
Size = Annotated[float | None, mapped_column(Double)]
Moment = Annotated[str, mapped_column(String(27))]
"""A moment as `catalog.model.timestamps` writes it: UTC, ISO 8601, microseconds, so that texts sort as times do."""
OptionalMoment = Annotated[str | None, mapped_column(String(27))]
Revision = Annotated[int, mapped_column(default=1)]
Choice = Annotated[str, mapped_column(Word)]
OptionalChoice = Annotated[str | None, mapped_column(Word)]
Digest = Annotated[str, mapped_column(String(64))]
Document = Annotated[dict[str, Any], mapped_column(Json)]
OptionalDocument = Annotated[dict[str, Any] | None, mapped_column(Json)]


def one_of(column: str, *words: str) -> str:
    """SQL condition: the column holds one of the words (or nothing)."""
    return f"{column} IN ({', '.join(repr(word) for word in words)})"


class Base(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(naming_convention=NAMING)


class CatalogueState(Base):
    """One row: the catalogue's version, moved by every writing transaction that changed entries."""

    __tablename__ = "catalogue_state"
    __table_args__ = (CheckConstraint("id = 1", name="one_row"), CheckConstraint("version >= 0", name="version"))
    id: Mapped[Id]
    version: Mapped[int]


# --- entries -----------------------------------------------------------------------------------------------------


class EntryColumns:
    """What every entry has: its document, whose it is, and whether it stands.

    ``revision`` counts its changes. ``substance_revision`` is the one that first had what can be measured as it is now,
    ``author`` who made that. ``clean``: the machine review of that revision found nothing. A merged entry names its
    ``successor``. All other columns follow from the document, by `catalog.records.write.columns_of` alone.
    """

    key: Mapped[str] = mapped_column(KeyText, primary_key=True)
    content: Mapped[Document]
    revision: Mapped[Revision]
    substance_revision: Mapped[Revision]
    author: Mapped[Name]
    changed_at: Mapped[Moment]
    clean: Mapped[bool]
    state: Mapped[Choice]
    successor: Mapped[OptionalText]


def _entry_checks() -> tuple[CheckConstraint, ...]:
    return (
        CheckConstraint("revision >= 1", name="revision"),
        CheckConstraint("substance_revision BETWEEN 1 AND revision", name="substance_revision"),
        CheckConstraint(one_of("state", "listed", "withdrawn", "merged"), name="state"),
        CheckConstraint("(state = 'merged') = (successor IS NOT NULL)", name="successor"),
    )


class SeriesTable(EntryColumns, Base):
    """A series. ``maker`` is the slug of the maker's name; ``stated`` false: only its halves name it."""

    __tablename__ = "series"
    __table_args__ = (*_entry_checks(), Index(None, "maker"))
    maker: Mapped[KeyOf]
    stated: Mapped[bool]


class HalfTable(EntryColumns, Base):
    """A half. ``from_law``: it came from its series' laws rather than one by one.

    ``names`` are the part number, order codes, aliases and markings, one a line. Sizes are those that halves are
    compared by.
    """

    __tablename__ = "halves"
    __table_args__ = (
        *_entry_checks(),
        CheckConstraint(one_of("half_kind", "plug", "receptacle", "hermaphroditic"), name="half_kind"),
        CheckConstraint("rows BETWEEN 1 AND 20", name="rows"),
        CheckConstraint("contact_count >= 1", name="contact_count"),
        CheckConstraint("pitch > 0 AND pitch <= 1000", name="pitch"),
        CheckConstraint("body_length > 0 AND body_length <= 1000", name="body_length"),
        CheckConstraint("body_width > 0 AND body_width <= 1000", name="body_width"),
        Index(None, "series"),
        Index(None, "maker"),
        Index(None, "contact_count", "rows", "pitch"),
    )
    maker: Mapped[KeyOf]
    series: Mapped[str] = mapped_column(KeyText, ForeignKey("series.key"))
    half_kind: Mapped[OptionalChoice]
    rows: Mapped[int]
    contact_count: Mapped[int]
    pitch: Mapped[Size]
    body_length: Mapped[Size]
    body_width: Mapped[Size]
    names: Mapped[Name]
    from_law: Mapped[bool]


class MatingTable(EntryColumns, Base):
    """Two halves that mate, by key. The mating's own key is made of both, the basis and the stack height."""

    __tablename__ = "matings"
    __table_args__ = (
        *_entry_checks(),
        CheckConstraint(one_of("basis", "maker", "other_maker", "trial_fit", "inferred"), name="basis"),
        CheckConstraint(
            one_of("correspondence", "identity", "rows_swapped", "reversed", "listed", "unknown"),
            name="correspondence",
        ),
        CheckConstraint("stack_height > 0 AND stack_height <= 1000", name="stack_height"),
        Index(None, "half"),
        Index(None, "other"),
    )
    half: Mapped[str] = mapped_column(KeyText, ForeignKey("halves.key"))
    other: Mapped[str] = mapped_column(KeyText, ForeignKey("halves.key"))
    basis: Mapped[Choice]
    correspondence: Mapped[Choice]
    stack_height: Mapped[Size]
    from_law: Mapped[bool]


EntryTable = type[SeriesTable] | type[HalfTable] | type[MatingTable]
ENTRY_TABLES: Mapping[str, EntryTable] = {"series": SeriesTable, "half": HalfTable, "mating": MatingTable}
"""The table of each kind of entry, what others refer to first."""


# --- people, and what they say -----------------------------------------------------------------------------------


class ContributorTable(Base):
    """Somebody who may add or keep. ``key`` is the slug of the name; nothing is taken from them while suspended."""

    __tablename__ = "contributors"
    __table_args__ = (CheckConstraint(one_of("role", "contributor", "maintainer"), name="role"),)
    id: Mapped[Id]
    key: Mapped[Key]
    name: Mapped[Name]
    role: Mapped[Choice]
    added_at: Mapped[Moment]
    suspended_at: Mapped[OptionalMoment]


class TokenTable(Base):
    """A token: only its SHA-256 is kept. ``start`` are its first characters, to tell tokens apart by."""

    __tablename__ = "tokens"
    __table_args__ = (Index(None, "contributor_id"),)
    id: Mapped[Id]
    contributor_id: Mapped[int] = mapped_column(ForeignKey("contributors.id"))
    digest: Mapped[str] = mapped_column(String(64), unique=True)
    start: Mapped[str] = mapped_column(String(16))
    label: Mapped[LongText]
    scopes: Mapped[Name]
    created_at: Mapped[Moment]
    expires_at: Mapped[OptionalMoment]
    last_used_at: Mapped[OptionalMoment]
    revoked_at: Mapped[OptionalMoment]
    revoked_by: Mapped[OptionalText]


class JournalTable(Base):
    """What happened, in order: never changed, never deleted.

    Names are kept beside numbers: a row outlives the entry that it tells of and the person who made it. ``old`` and
    ``new`` are the record before and after (`catalog.model.entry_states`); ``of`` and ``about`` are record and key of
    what a document speaks of; ``batch`` is shared by rows of one act. ``private`` rows tell of what only those see who
    have its address.
    """

    __tablename__ = "journal"
    __table_args__ = (
        CheckConstraint("revision >= 1", name="revision"),
        UniqueConstraint("record", "key", "revision"),
        Index(None, "about"),
        Index(None, "actor"),
    )
    id: Mapped[Id]
    at: Mapped[Moment]
    actor: Mapped[Name]
    action: Mapped[Choice]
    record: Mapped[Choice]
    key: Mapped[KeyOf]
    of: Mapped[OptionalChoice]
    about: Mapped[OptionalKeyOf]
    revision: Mapped[int]
    old: Mapped[OptionalDocument]
    new: Mapped[Document]
    reason: Mapped[LongText]
    batch: Mapped[LongText]
    private: Mapped[bool]


class DocumentTable(Base):
    """What people said beside entries: sightings, confirmations, disputes, specimens, pending changes …

    ``of`` and ``about`` are record and key of what is spoken of, ``content`` is the record's model, ``state`` its word.
    """

    __tablename__ = "documents"
    __table_args__ = (
        CheckConstraint("revision >= 1", name="revision"),
        Index(None, "record", "state"),
        Index(None, "about"),
    )
    id: Mapped[Id]
    record: Mapped[Choice]
    key: Mapped[Key]
    of: Mapped[OptionalChoice]
    about: Mapped[OptionalKeyOf]
    state: Mapped[Choice]
    private: Mapped[bool]
    revision: Mapped[int]
    author: Mapped[Name]
    added_at: Mapped[Moment]
    changed_at: Mapped[Moment]
    content: Mapped[Document]


class AnsweredRequest(Base):
    """An acknowledged request under its own key, so that sending it twice acts once."""

    __tablename__ = "answered_requests"
    __table_args__ = (UniqueConstraint("actor", "key"),)
    id: Mapped[Id]
    actor: Mapped[Name]
    key: Mapped[Name]
    digest: Mapped[Digest]
    status: Mapped[int]
    answer: Mapped[Document]
    at: Mapped[Moment]
