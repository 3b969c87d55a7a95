"""Tables of the catalogue: entries, people and their statements. Lengths are in millimetres.

An entry is stored once, as a JSON document that `catalog.model.entries` validates. The other columns are those that
queries use. Each kind of entry has its own table, so that foreign keys connect halves with their series and matings
with their halves. Check constraints hold what is always true of a column, whatever program writes it. Nothing is ever
deleted, so no foreign key has an ON DELETE action.
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

# Pages need keys to sort by code point on both engines, whatever the language of the server.
KeyText = Text().with_variant(Text(collation="C"), "postgresql")
Word = String(40)
Json = JSON(none_as_null=True).with_variant(JSONB(none_as_null=True), "postgresql")

Id = Annotated[int, mapped_column(primary_key=True)]
Key = Annotated[str, mapped_column(KeyText, unique=True)]
KeyOf = Annotated[str, mapped_column(KeyText)]
Name = Annotated[str, mapped_column(Text)]
LongText = Annotated[str, mapped_column(Text, default="")]
Size = Annotated[float, mapped_column(Double)]
Moment = Annotated[str, mapped_column(String(27))]
"""A timestamp as `catalog.model.timestamps` writes it: UTC, ISO 8601 with microseconds, so that it sorts by time."""
Revision = Annotated[int, mapped_column(default=1)]
Choice = Annotated[str, mapped_column(Word)]
Digest = Annotated[str, mapped_column(String(64))]
Document = Annotated[dict[str, Any], mapped_column(Json)]


def one_of(column: str, *words: str) -> str:
    """SQL condition: the column has one of these values, or none."""
    return f"{column} IN ({', '.join(repr(word) for word in words)})"


class Base(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(naming_convention=NAMING)


class CatalogueState(Base):
    """One row: the version of the catalogue, which every transaction with changes increases by one."""

    __tablename__ = "catalogue_state"
    __table_args__ = (CheckConstraint("id = 1", name="one_row"), CheckConstraint("version >= 0", name="version"))
    id: Mapped[Id]
    version: Mapped[int]


# --- entries -----------------------------------------------------------------------------------------------------


class EntryColumns:
    """The columns that all entries have.

    ``content`` is the document, and ``revision`` counts its revisions. ``substance_revision`` is the first revision
    that had the present figures, and ``author`` made it. ``clean``: the machine review found nothing wrong. ``state``
    is listed, withdrawn or merged, and a merged entry names its ``successor``. The remaining columns follow from the
    document; only `catalog.records.write.columns_of` makes them.
    """

    key: Mapped[str] = mapped_column(KeyText, primary_key=True)
    content: Mapped[Document]
    revision: Mapped[Revision]
    substance_revision: Mapped[Revision]
    author: Mapped[Name]
    changed_at: Mapped[Moment]
    clean: Mapped[bool]
    state: Mapped[Choice]
    successor: Mapped[Name | None]


def _entry_checks() -> tuple[CheckConstraint, ...]:
    return (
        CheckConstraint("revision >= 1", name="revision"),
        CheckConstraint("substance_revision BETWEEN 1 AND revision", name="substance_revision"),
        CheckConstraint(one_of("state", "listed", "withdrawn", "merged"), name="state"),
        CheckConstraint("(state = 'merged') = (successor IS NOT NULL)", name="successor"),
    )


class SeriesTable(EntryColumns, Base):
    """A series. ``maker`` is the slug of the maker's name. ``stated`` false: only its halves name it."""

    __tablename__ = "series"
    __table_args__ = (*_entry_checks(), Index(None, "maker"))
    maker: Mapped[KeyOf]
    stated: Mapped[bool]


class HalfTable(EntryColumns, Base):
    """A half. ``from_law``: the laws of its series made it.

    ``names`` has one line for each part number, order code, alias and marking. The sizes are those by which the review
    looks for similar halves.
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
    half_kind: Mapped[Choice | None]
    rows: Mapped[int]
    contact_count: Mapped[int]
    pitch: Mapped[Size | None]
    body_length: Mapped[Size | None]
    body_width: Mapped[Size | None]
    names: Mapped[Name]
    from_law: Mapped[bool]


class MatingTable(EntryColumns, Base):
    """Two halves that mate, by key. The mating's own key is made of both keys, the basis and the stack height."""

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
    stack_height: Mapped[Size | None]
    from_law: Mapped[bool]


EntryTable = type[SeriesTable] | type[HalfTable] | type[MatingTable]
ENTRY_TABLES: Mapping[str, EntryTable] = {"series": SeriesTable, "half": HalfTable, "mating": MatingTable}
"""The table of each kind of entry; a table comes after those that it refers to."""


# --- people and their statements ---------------------------------------------------------------------------------


class ContributorTable(Base):
    """A contributor or maintainer. ``key`` is the slug of the name. While suspended they cannot contribute."""

    __tablename__ = "contributors"
    __table_args__ = (CheckConstraint(one_of("role", "contributor", "maintainer"), name="role"),)
    id: Mapped[Id]
    key: Mapped[Key]
    name: Mapped[Name]
    role: Mapped[Choice]
    added_at: Mapped[Moment]
    suspended_at: Mapped[Moment | None]


class TokenTable(Base):
    """A token, of which only the SHA-256 is stored. ``start`` is its first characters, to tell tokens apart."""

    __tablename__ = "tokens"
    __table_args__ = (Index(None, "contributor_id"),)
    id: Mapped[Id]
    contributor_id: Mapped[int] = mapped_column(ForeignKey("contributors.id"))
    digest: Mapped[str] = mapped_column(String(64), unique=True)
    start: Mapped[str] = mapped_column(String(16))
    label: Mapped[LongText]
    scopes: Mapped[Name]
    created_at: Mapped[Moment]
    expires_at: Mapped[Moment | None]
    last_used_at: Mapped[Moment | None]
    revoked_at: Mapped[Moment | None]
    revoked_by: Mapped[Name | None]


class JournalTable(Base):
    """The journal: every change in order. Its rows are never changed or deleted.

    ``old`` and ``new`` are the record before and after the change (`catalog.model.entry_states`). ``of`` and ``about``
    are the record and key that a document is about. Rows of one act share a ``batch``. ``private`` rows are about
    records that only people with their address can see. People and records are referred to by name, not by number.
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
    of: Mapped[Choice | None]
    about: Mapped[KeyOf | None]
    revision: Mapped[int]
    old: Mapped[Document | None]
    new: Mapped[Document]
    reason: Mapped[LongText]
    batch: Mapped[LongText]
    private: Mapped[bool]


class DocumentTable(Base):
    """Documents, all records other than entries: sightings, confirmations, disputes, specimens, pending changes etc.

    ``of`` and ``about`` are the record and key that the document is about. ``content`` is the record's model as JSON,
    and the possible values of ``state`` depend on the record.
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
    of: Mapped[Choice | None]
    about: Mapped[KeyOf | None]
    state: Mapped[Choice]
    private: Mapped[bool]
    revision: Mapped[int]
    author: Mapped[Name]
    added_at: Mapped[Moment]
    changed_at: Mapped[Moment]
    content: Mapped[Document]


class AnsweredRequest(Base):
    """The answer to a request with an idempotency key, so that a request that is sent twice acts once."""

    __tablename__ = "answered_requests"
    __table_args__ = (UniqueConstraint("actor", "key"),)
    id: Mapped[Id]
    actor: Mapped[Name]
    key: Mapped[Name]
    digest: Mapped[Digest]
    status: Mapped[int]
    answer: Mapped[Document]
    at: Mapped[Moment]
