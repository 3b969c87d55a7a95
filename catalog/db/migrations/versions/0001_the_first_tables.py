"""The first tables: makers, citations, series with laws, halves, matings, and the version of the catalogue."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision: str = "0001"
down_revision: str | None = None
branch_labels: str | None = None
depends_on: str | None = None

KEY = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
WORD = sa.String(length=40)
DOCUMENT = sa.JSON().with_variant(postgresql.JSONB(), "postgresql")


def upgrade() -> None:
    """Create all tables; the catalogue has version 0."""
    _sources()
    _series()
    _halves()
    _half_measures()
    _half_words()
    _matings()
    op.execute("INSERT INTO catalogue_state (id, version) VALUES (1, 0)")


def downgrade() -> None:
    """Drop all tables."""
    op.drop_table("mating_dimensions")
    op.drop_table("mating_contacts")
    op.drop_index(op.f("ix_matings_other_id"), table_name="matings")
    op.drop_index(op.f("ix_matings_half_id"), table_name="matings")
    op.drop_table("matings")
    op.drop_table("half_texts")
    op.drop_table("half_sites")
    op.drop_table("half_dimensions")
    op.drop_table("half_counts")
    op.drop_table("half_categories")
    op.drop_table("series_aliases")
    op.drop_index(op.f("ix_halves_series_id"), table_name="halves")
    op.drop_table("halves")
    op.drop_index(op.f("ix_series_maker_id"), table_name="series")
    op.drop_table("series")
    op.drop_table("makers")
    op.drop_table("citations")
    op.drop_table("catalogue_state")


def _common_columns() -> list[sa.Column[object]]:
    return [
        sa.Column("lifecycle", WORD, nullable=False),
        sa.Column("mating_cycles", sa.Integer(), nullable=True),
        sa.Column("contact_current_a", sa.Double(), nullable=True),
        sa.Column("power_contact_current_a", sa.Double(), nullable=True),
        sa.Column("loaded_contacts", sa.Integer(), nullable=True),
        sa.Column("voltage_v", sa.Double(), nullable=True),
        sa.Column("citation_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
    ]


def _dimension_columns() -> list[sa.Column[object]]:
    return [
        sa.Column("feature", WORD, nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("bound", WORD, nullable=False),
        sa.Column("tolerance", sa.Double(), nullable=True),
        sa.Column("extra_u", sa.Double(), nullable=False),
        sa.Column("doubt", sa.Text(), nullable=False),
    ]


def _sources() -> None:
    op.create_table(
        "catalogue_state",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_catalogue_state_one_row")),
        sa.CheckConstraint("version >= 0", name=op.f("ck_catalogue_state_version")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_catalogue_state")),
    )
    op.create_table(
        "makers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", KEY, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_makers")),
        sa.UniqueConstraint("key", name=op.f("uq_makers_key")),
    )
    op.create_table(
        "citations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("revision", sa.Text(), nullable=False),
        sa.Column("page", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_citations")),
        sa.UniqueConstraint(
            "title", "revision", "page", "address", name=op.f("uq_citations_title_revision_page_address")
        ),
    )


def _series() -> None:
    op.create_table(
        "series",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", KEY, nullable=False),
        sa.Column("maker_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("stated", sa.Boolean(), nullable=False),
        sa.Column("laws", DOCUMENT, nullable=False),
        *_common_columns(),
        sa.CheckConstraint(
            "lifecycle IN ('active', 'not_for_new_designs', 'discontinued', 'unknown')",
            name=op.f("ck_series_lifecycle"),
        ),
        sa.CheckConstraint(
            "contact_current_a > 0 AND power_contact_current_a > 0 AND voltage_v > 0", name=op.f("ck_series_ratings")
        ),
        sa.CheckConstraint("loaded_contacts >= 1", name=op.f("ck_series_loaded_contacts")),
        sa.CheckConstraint("mating_cycles >= 1", name=op.f("ck_series_mating_cycles")),
        sa.CheckConstraint("revision >= 1", name=op.f("ck_series_revision")),
        sa.ForeignKeyConstraint(["citation_id"], ["citations.id"], name=op.f("fk_series_citation_id_citations")),
        sa.ForeignKeyConstraint(["maker_id"], ["makers.id"], name=op.f("fk_series_maker_id_makers")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_series")),
        sa.UniqueConstraint("key", name=op.f("uq_series_key")),
    )
    op.create_index(op.f("ix_series_maker_id"), "series", ["maker_id"])
    op.create_table(
        "series_aliases",
        sa.Column("series_id", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["series_id"], ["series.id"], name=op.f("fk_series_aliases_series_id_series")),
        sa.PrimaryKeyConstraint("series_id", "ordinal", name=op.f("pk_series_aliases")),
    )


def _halves() -> None:
    op.create_table(
        "halves",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", KEY, nullable=False),
        sa.Column("series_id", sa.Integer(), nullable=False),
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("half_kind", WORD, nullable=True),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("contact_count", sa.Integer(), nullable=False),
        sa.Column("positions", sa.Integer(), nullable=True),
        sa.Column("from_law", sa.Boolean(), nullable=False),
        *_common_columns(),
        sa.CheckConstraint("half_kind IN ('plug', 'receptacle', 'hermaphroditic')", name=op.f("ck_halves_half_kind")),
        sa.CheckConstraint(
            "lifecycle IN ('active', 'not_for_new_designs', 'discontinued', 'unknown')",
            name=op.f("ck_halves_lifecycle"),
        ),
        sa.CheckConstraint("contact_count >= 1", name=op.f("ck_halves_contact_count")),
        sa.CheckConstraint(
            "contact_current_a > 0 AND power_contact_current_a > 0 AND voltage_v > 0", name=op.f("ck_halves_ratings")
        ),
        sa.CheckConstraint("loaded_contacts >= 1", name=op.f("ck_halves_loaded_contacts")),
        sa.CheckConstraint("mating_cycles >= 1", name=op.f("ck_halves_mating_cycles")),
        sa.CheckConstraint("positions >= 1 AND contact_count <= positions * rows", name=op.f("ck_halves_positions")),
        sa.CheckConstraint("revision >= 1", name=op.f("ck_halves_revision")),
        sa.CheckConstraint("rows BETWEEN 1 AND 20", name=op.f("ck_halves_rows")),
        sa.ForeignKeyConstraint(["citation_id"], ["citations.id"], name=op.f("fk_halves_citation_id_citations")),
        sa.ForeignKeyConstraint(["series_id"], ["series.id"], name=op.f("fk_halves_series_id_series")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_halves")),
        sa.UniqueConstraint("key", name=op.f("uq_halves_key")),
    )
    op.create_index(op.f("ix_halves_series_id"), "halves", ["series_id"])


def _half_measures() -> None:
    op.create_table(
        "half_dimensions",
        sa.Column("half_id", sa.Integer(), nullable=False),
        *_dimension_columns(),
        sa.CheckConstraint("bound IN ('nominal', 'max', 'min', 'reference')", name=op.f("ck_half_dimensions_bound")),
        sa.CheckConstraint("extra_u >= 0", name=op.f("ck_half_dimensions_extra_u")),
        sa.CheckConstraint("tolerance >= 0", name=op.f("ck_half_dimensions_tolerance")),
        sa.CheckConstraint("value > 0 AND value <= 1000", name=op.f("ck_half_dimensions_value")),
        sa.ForeignKeyConstraint(["half_id"], ["halves.id"], name=op.f("fk_half_dimensions_half_id_halves")),
        sa.PrimaryKeyConstraint("half_id", "feature", name=op.f("pk_half_dimensions")),
    )
    op.create_table(
        "half_counts",
        sa.Column("half_id", sa.Integer(), nullable=False),
        sa.Column("feature", WORD, nullable=False),
        sa.Column("value", sa.Integer(), nullable=False),
        sa.CheckConstraint("value >= 0", name=op.f("ck_half_counts_value")),
        sa.ForeignKeyConstraint(["half_id"], ["halves.id"], name=op.f("fk_half_counts_half_id_halves")),
        sa.PrimaryKeyConstraint("half_id", "feature", name=op.f("pk_half_counts")),
    )
    op.create_table(
        "half_categories",
        sa.Column("half_id", sa.Integer(), nullable=False),
        sa.Column("feature", WORD, nullable=False),
        sa.Column("ordinal", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("value", WORD, nullable=False),
        sa.ForeignKeyConstraint(["half_id"], ["halves.id"], name=op.f("fk_half_categories_half_id_halves")),
        sa.PrimaryKeyConstraint("half_id", "feature", "ordinal", name=op.f("pk_half_categories")),
    )


def _half_words() -> None:
    op.create_table(
        "half_texts",
        sa.Column("half_id", sa.Integer(), nullable=False),
        sa.Column("role", WORD, nullable=False),
        sa.Column("ordinal", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.CheckConstraint("role IN ('markings', 'aliases', 'order_codes')", name=op.f("ck_half_texts_role")),
        sa.ForeignKeyConstraint(["half_id"], ["halves.id"], name=op.f("fk_half_texts_half_id_halves")),
        sa.PrimaryKeyConstraint("half_id", "role", "ordinal", name=op.f("pk_half_texts")),
    )
    op.create_table(
        "half_sites",
        sa.Column("half_id", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("site_row", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=True),
        sa.Column("contacts", sa.Integer(), nullable=True),
        sa.CheckConstraint("(position IS NULL) <> (contacts IS NULL)", name=op.f("ck_half_sites_one_meaning")),
        sa.CheckConstraint("site_row >= 1 AND position >= 1 AND contacts >= 0", name=op.f("ck_half_sites_counts")),
        sa.ForeignKeyConstraint(["half_id"], ["halves.id"], name=op.f("fk_half_sites_half_id_halves")),
        sa.PrimaryKeyConstraint("half_id", "ordinal", name=op.f("pk_half_sites")),
    )


def _matings() -> None:
    op.create_table(
        "matings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", KEY, nullable=False),
        sa.Column("half_id", sa.Integer(), nullable=False),
        sa.Column("other_id", sa.Integer(), nullable=False),
        sa.Column("basis", WORD, nullable=False),
        sa.Column("correspondence", WORD, nullable=False),
        sa.Column("citation_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("from_law", sa.Boolean(), nullable=False),
        sa.CheckConstraint("basis IN ('maker', 'other_maker', 'trial_fit', 'inferred')", name=op.f("ck_matings_basis")),
        sa.CheckConstraint(
            "correspondence IN ('identity', 'rows_swapped', 'reversed', 'listed', 'unknown')",
            name=op.f("ck_matings_correspondence"),
        ),
        sa.CheckConstraint("revision >= 1", name=op.f("ck_matings_revision")),
        sa.ForeignKeyConstraint(["citation_id"], ["citations.id"], name=op.f("fk_matings_citation_id_citations")),
        sa.ForeignKeyConstraint(["half_id"], ["halves.id"], name=op.f("fk_matings_half_id_halves")),
        sa.ForeignKeyConstraint(["other_id"], ["halves.id"], name=op.f("fk_matings_other_id_halves")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_matings")),
        sa.UniqueConstraint("key", name=op.f("uq_matings_key")),
    )
    op.create_index(op.f("ix_matings_half_id"), "matings", ["half_id"])
    op.create_index(op.f("ix_matings_other_id"), "matings", ["other_id"])
    op.create_table(
        "mating_dimensions",
        sa.Column("mating_id", sa.Integer(), nullable=False),
        *_dimension_columns(),
        sa.CheckConstraint("bound IN ('nominal', 'max', 'min', 'reference')", name=op.f("ck_mating_dimensions_bound")),
        sa.CheckConstraint("extra_u >= 0", name=op.f("ck_mating_dimensions_extra_u")),
        sa.CheckConstraint("tolerance >= 0", name=op.f("ck_mating_dimensions_tolerance")),
        sa.CheckConstraint("value > 0 AND value <= 1000", name=op.f("ck_mating_dimensions_value")),
        sa.ForeignKeyConstraint(["mating_id"], ["matings.id"], name=op.f("fk_mating_dimensions_mating_id_matings")),
        sa.PrimaryKeyConstraint("mating_id", "feature", name=op.f("pk_mating_dimensions")),
    )
    op.create_table(
        "mating_contacts",
        sa.Column("mating_id", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("other_contact", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["mating_id"], ["matings.id"], name=op.f("fk_mating_contacts_mating_id_matings")),
        sa.PrimaryKeyConstraint("mating_id", "ordinal", name=op.f("pk_mating_contacts")),
    )
