"""Tables of the catalogue. Lengths are millimetres, currents amperes, voltages volts.

Columns that have domain truths carry them as check constraints, so that no path into the database can break them.
There are no relationships: reading joins in the open (`catalog.records.read`), so nothing is ever loaded behind one's
back. Nothing is ever deleted, so no foreign key has an ON DELETE action.
"""

from __future__ import annotations

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

Id = Annotated[int, mapped_column(primary_key=True)]
Key = Annotated[str, mapped_column(KeyText, unique=True)]
Name = Annotated[str, mapped_column(Text)]
LongText = Annotated[str, mapped_column(Text, default="")]
Amount = Annotated[float, mapped_column(Double)]
OptionalAmount = Annotated[float | None, mapped_column(Double)]
OptionalInt = Annotated[int | None, mapped_column()]
OptionalText = Annotated[str | None, mapped_column(Text)]
Moment = Annotated[str, mapped_column(String(27))]
"""A moment as `catalog.model.timestamps` writes it: UTC, ISO 8601, microseconds, so that texts sort as times do."""
Revision = Annotated[int, mapped_column(default=1)]
Ordinal = Annotated[int, mapped_column(primary_key=True, autoincrement=False)]
Choice = Annotated[str, mapped_column(Word)]
OptionalChoice = Annotated[str | None, mapped_column(Word)]
KeyWord = Annotated[str, mapped_column(Word, primary_key=True)]
CitationId = Annotated[int | None, mapped_column(ForeignKey("citations.id"))]
HalfId = Annotated[int, mapped_column(ForeignKey("halves.id"), primary_key=True)]
MatingId = Annotated[int, mapped_column(ForeignKey("matings.id"), primary_key=True)]
SeriesId = Annotated[int, mapped_column(ForeignKey("series.id"), primary_key=True)]
MateId = Annotated[int, mapped_column(ForeignKey("halves.id"), index=True)]


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


class Maker(Base):
    """Who makes connectors. ``key`` is the slug of the name: two spellings of one slug are one maker."""

    __tablename__ = "makers"
    id: Mapped[Id]
    key: Mapped[Key]
    name: Mapped[Name]


class CitedDocument(Base):
    """A drawing, datasheet, specification or file that entries cite, with revision and page."""

    __tablename__ = "citations"
    __table_args__ = (UniqueConstraint("title", "revision", "page", "address"),)
    id: Mapped[Id]
    title: Mapped[Name]
    revision: Mapped[LongText]
    page: Mapped[LongText]
    address: Mapped[LongText]


class StandingColumns:
    """Whose an entry is and whether it stands.

    ``revision`` counts its changes. ``substance_revision`` is the one that first had what can be measured as it is now,
    ``author`` who made that. ``clean``: the machine review of that revision found nothing. A merged entry names its
    ``successor``.
    """

    revision: Mapped[Revision]
    substance_revision: Mapped[Revision]
    author: Mapped[Name]
    changed_at: Mapped[Moment]
    clean: Mapped[bool]
    state: Mapped[Choice]
    successor: Mapped[OptionalText]


def _standing_checks() -> tuple[CheckConstraint, ...]:
    return (
        CheckConstraint("revision >= 1", name="revision"),
        CheckConstraint("substance_revision BETWEEN 1 AND revision", name="substance_revision"),
        CheckConstraint(one_of("state", "listed", "withdrawn", "merged"), name="state"),
        CheckConstraint("(state = 'merged') = (successor IS NOT NULL)", name="successor"),
    )


class CommonColumns(StandingColumns):
    """What series and halves both may say."""

    lifecycle: Mapped[Choice]
    mating_cycles: Mapped[OptionalInt]
    contact_current_a: Mapped[OptionalAmount]
    power_contact_current_a: Mapped[OptionalAmount]
    loaded_contacts: Mapped[OptionalInt]
    voltage_v: Mapped[OptionalAmount]
    citation_id: Mapped[CitationId]
    note: Mapped[LongText]


def _common_checks() -> tuple[CheckConstraint, ...]:
    return (
        CheckConstraint(
            one_of("lifecycle", "active", "not_for_new_designs", "discontinued", "unknown"), name="lifecycle"
        ),
        CheckConstraint("mating_cycles >= 1", name="mating_cycles"),
        CheckConstraint("contact_current_a > 0 AND power_contact_current_a > 0 AND voltage_v > 0", name="ratings"),
        CheckConstraint("loaded_contacts >= 1", name="loaded_contacts"),
        *_standing_checks(),
    )


class SeriesTable(CommonColumns, Base):
    """A series. ``stated``: somebody described it; else it is only named by its halves.

    ``laws`` is the authored document (kinds, stack, tolerance, correspondence) as `catalog.model.entries` reads it: it
    is never searched by part, and export has to give back exactly what was said.
    """

    __tablename__ = "series"
    __table_args__ = (*_common_checks(), Index(None, "maker_id"))
    id: Mapped[Id]
    key: Mapped[Key]
    maker_id: Mapped[int] = mapped_column(ForeignKey("makers.id"))
    name: Mapped[Name]
    stated: Mapped[bool]
    laws: Mapped[dict[str, Any]] = mapped_column(JSON().with_variant(JSONB(), "postgresql"))


class SeriesAlias(Base):
    """Other names of a series, in the order given."""

    __tablename__ = "series_aliases"
    series_id: Mapped[SeriesId]
    ordinal: Mapped[Ordinal]
    text: Mapped[Name]


class HalfTable(CommonColumns, Base):
    """A half. ``from_law``: it came from its series' laws rather than one by one."""

    __tablename__ = "halves"
    __table_args__ = (
        *_common_checks(),
        CheckConstraint(one_of("half_kind", "plug", "receptacle", "hermaphroditic"), name="half_kind"),
        CheckConstraint("rows BETWEEN 1 AND 20", name="rows"),
        CheckConstraint("contact_count >= 1", name="contact_count"),
        CheckConstraint("positions >= 1 AND contact_count <= positions * rows", name="positions"),
        Index(None, "series_id"),
    )
    id: Mapped[Id]
    key: Mapped[Key]
    series_id: Mapped[int] = mapped_column(ForeignKey("series.id"))
    part_number: Mapped[Name]
    half_kind: Mapped[OptionalChoice]
    rows: Mapped[int]
    contact_count: Mapped[int]
    positions: Mapped[OptionalInt]
    from_law: Mapped[bool]


class DimensionColumns:
    """A dimension, mm; ``given`` and ``given_tolerance`` are the source's own figures where its ``unit`` is another."""

    feature: Mapped[KeyWord]
    value: Mapped[Amount]
    bound: Mapped[Choice]
    tolerance: Mapped[OptionalAmount]
    extra_u: Mapped[Amount]
    doubt: Mapped[LongText]
    unit: Mapped[Choice]
    given: Mapped[OptionalAmount]
    given_tolerance: Mapped[OptionalAmount]


def _dimension_checks() -> tuple[CheckConstraint, ...]:
    return (
        CheckConstraint("value > 0 AND value <= 1000", name="value"),
        CheckConstraint(one_of("bound", "nominal", "max", "min", "reference"), name="bound"),
        CheckConstraint("tolerance >= 0", name="tolerance"),
        CheckConstraint("extra_u >= 0", name="extra_u"),
        CheckConstraint(one_of("unit", "mm", "in", "mil", "um"), name="unit"),
        CheckConstraint("(unit = 'mm') = (given IS NULL)", name="given"),
    )


class HalfDimension(DimensionColumns, Base):
    """One dimension of a half."""

    __tablename__ = "half_dimensions"
    __table_args__ = _dimension_checks()
    half_id: Mapped[HalfId]


class HalfCount(Base):
    """One count of a half besides contacts and rows."""

    __tablename__ = "half_counts"
    __table_args__ = (CheckConstraint("value >= 0", name="value"),)
    half_id: Mapped[HalfId]
    feature: Mapped[KeyWord]
    value: Mapped[int]


class HalfCategory(Base):
    """One value that a category of a half may have; several where the source leaves it open."""

    __tablename__ = "half_categories"
    half_id: Mapped[HalfId]
    feature: Mapped[KeyWord]
    ordinal: Mapped[Ordinal]
    value: Mapped[Choice]


class HalfText(Base):
    """What may be read on, ordered as, or said of a half."""

    __tablename__ = "half_texts"
    __table_args__ = (CheckConstraint(one_of("role", "markings", "aliases", "order_codes"), name="role"),)
    half_id: Mapped[HalfId]
    role: Mapped[KeyWord]
    ordinal: Mapped[Ordinal]
    text: Mapped[Name]


class HalfSite(Base):
    """A blocked contact site (``position`` given), or a row's own number of contacts (``contacts`` given)."""

    __tablename__ = "half_sites"
    __table_args__ = (
        CheckConstraint("(position IS NULL) <> (contacts IS NULL)", name="one_meaning"),
        CheckConstraint("site_row >= 1 AND position >= 1 AND contacts >= 0", name="counts"),
    )
    half_id: Mapped[HalfId]
    ordinal: Mapped[Ordinal]
    site_row: Mapped[int]
    position: Mapped[OptionalInt]
    contacts: Mapped[OptionalInt]


class MatingTable(StandingColumns, Base):
    """Two halves that mate. ``key`` is made of both halves' keys, the basis and the stack height."""

    __tablename__ = "matings"
    __table_args__ = (
        CheckConstraint(one_of("basis", "maker", "other_maker", "trial_fit", "inferred"), name="basis"),
        CheckConstraint(
            one_of("correspondence", "identity", "rows_swapped", "reversed", "listed", "unknown"),
            name="correspondence",
        ),
        *_standing_checks(),
    )
    id: Mapped[Id]
    key: Mapped[Key]
    half_id: Mapped[MateId]
    other_id: Mapped[MateId]
    basis: Mapped[Choice]
    correspondence: Mapped[Choice]
    citation_id: Mapped[CitationId]
    note: Mapped[LongText]
    from_law: Mapped[bool]


class MatingDimension(DimensionColumns, Base):
    """One dimension of the mated pair."""

    __tablename__ = "mating_dimensions"
    __table_args__ = _dimension_checks()
    mating_id: Mapped[MatingId]


class MatingContact(Base):
    """One pair of contact names, for correspondence "listed"."""

    __tablename__ = "mating_contacts"
    mating_id: Mapped[MatingId]
    ordinal: Mapped[Ordinal]
    contact: Mapped[Name]
    other_contact: Mapped[Name]
