"""Contributors, tokens, journal and documents; author and state of entries; dimensions in the unit of their source."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision: str = "0002"
down_revision: str | None = "0001"
branch_labels: str | None = None
depends_on: str | None = None

KEY = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
WORD = sa.String(length=40)
MOMENT = sa.String(length=27)
DOCUMENT = sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql")

ENTRIES = ("series", "halves", "matings")
DIMENSIONS = ("half_dimensions", "mating_dimensions")
OPERATOR = "operator"
"""The author of entries that are older than contributors: the operator of the database."""


def upgrade() -> None:
    """Create the new tables, and make the operator the author of every entry."""
    moment = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    for table in ENTRIES:
        _add_standing(table, moment)
    for table in DIMENSIONS:
        _add_source(table)
    _people()
    _journal()
    _documents()


def downgrade() -> None:
    """Drop everything that upgrade created."""
    op.drop_table("answered_requests")
    for name in ("record_state", "about"):
        op.drop_index(op.f(f"ix_documents_{name}"), table_name="documents")
    op.drop_table("documents")
    for name in ("about", "actor"):
        op.drop_index(op.f(f"ix_journal_{name}"), table_name="journal")
    op.drop_table("journal")
    op.drop_index(op.f("ix_tokens_contributor_id"), table_name="tokens")
    op.drop_table("tokens")
    op.drop_table("contributors")
    for table in DIMENSIONS:
        with op.batch_alter_table(table) as batch:
            batch.drop_constraint(op.f(f"ck_{table}_given"), type_="check")
            batch.drop_constraint(op.f(f"ck_{table}_unit"), type_="check")
            for name in ("given_tolerance", "given", "unit"):
                batch.drop_column(name)
    for table in ENTRIES:
        with op.batch_alter_table(table) as batch:
            for name in ("successor", "state", "substance_revision"):
                batch.drop_constraint(op.f(f"ck_{table}_{name}"), type_="check")
            for name in ("successor", "state", "clean", "changed_at", "author", "substance_revision"):
                batch.drop_column(name)


def _add_standing(table: str, moment: str) -> None:
    filled: dict[str, tuple[sa.types.TypeEngine[Any], str]] = {
        "substance_revision": (sa.Integer(), "1"),
        "author": (sa.Text(), OPERATOR),
        "changed_at": (MOMENT, moment),
        "clean": (sa.Boolean(), "0"),
        "state": (WORD, "listed"),
    }
    with op.batch_alter_table(table) as batch:
        for name, (kind, value) in filled.items():
            batch.add_column(sa.Column(name, kind, nullable=False, server_default=value))
        batch.add_column(sa.Column("successor", sa.Text(), nullable=True))
    op.execute(f"UPDATE {table} SET substance_revision = revision")
    with op.batch_alter_table(table) as batch:
        for name in filled:
            batch.alter_column(name, server_default=None)
        batch.create_check_constraint(
            op.f(f"ck_{table}_substance_revision"), "substance_revision BETWEEN 1 AND revision"
        )
        batch.create_check_constraint(op.f(f"ck_{table}_state"), "state IN ('listed', 'withdrawn', 'merged')")
        batch.create_check_constraint(op.f(f"ck_{table}_successor"), "(state = 'merged') = (successor IS NOT NULL)")


def _add_source(table: str) -> None:
    with op.batch_alter_table(table) as batch:
        batch.add_column(sa.Column("unit", WORD, nullable=False, server_default="mm"))
        batch.add_column(sa.Column("given", sa.Double(), nullable=True))
        batch.add_column(sa.Column("given_tolerance", sa.Double(), nullable=True))
    with op.batch_alter_table(table) as batch:
        batch.alter_column("unit", server_default=None)
        batch.create_check_constraint(op.f(f"ck_{table}_unit"), "unit IN ('mm', 'in', 'mil', 'um')")
        batch.create_check_constraint(op.f(f"ck_{table}_given"), "(unit = 'mm') = (given IS NULL)")


def _people() -> None:
    op.create_table(
        "contributors",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", KEY, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", WORD, nullable=False),
        sa.Column("added_at", MOMENT, nullable=False),
        sa.Column("suspended_at", MOMENT, nullable=True),
        sa.CheckConstraint("role IN ('contributor', 'maintainer')", name=op.f("ck_contributors_role")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_contributors")),
        sa.UniqueConstraint("key", name=op.f("uq_contributors_key")),
    )
    op.create_table(
        "tokens",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("contributor_id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("start", sa.String(length=16), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("scopes", sa.Text(), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("expires_at", MOMENT, nullable=True),
        sa.Column("last_used_at", MOMENT, nullable=True),
        sa.Column("revoked_at", MOMENT, nullable=True),
        sa.Column("revoked_by", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["contributor_id"], ["contributors.id"], name=op.f("fk_tokens_contributor_id_contributors")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tokens")),
        sa.UniqueConstraint("digest", name=op.f("uq_tokens_digest")),
    )
    op.create_index(op.f("ix_tokens_contributor_id"), "tokens", ["contributor_id"])


def _journal() -> None:
    op.create_table(
        "journal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("action", WORD, nullable=False),
        sa.Column("record", WORD, nullable=False),
        sa.Column("key", KEY, nullable=False),
        sa.Column("of", WORD, nullable=True),
        sa.Column("about", KEY, nullable=True),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("old", DOCUMENT, nullable=True),
        sa.Column("new", DOCUMENT, nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("batch", sa.Text(), nullable=False),
        sa.Column("private", sa.Boolean(), nullable=False),
        sa.CheckConstraint("revision >= 1", name=op.f("ck_journal_revision")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_journal")),
        sa.UniqueConstraint("record", "key", "revision", name=op.f("uq_journal_record_key_revision")),
    )
    op.create_index(op.f("ix_journal_about"), "journal", ["about"])
    op.create_index(op.f("ix_journal_actor"), "journal", ["actor"])


def _documents() -> None:
    op.create_table(
        "documents",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("record", WORD, nullable=False),
        sa.Column("key", KEY, nullable=False),
        sa.Column("of", WORD, nullable=True),
        sa.Column("about", KEY, nullable=True),
        sa.Column("state", WORD, nullable=False),
        sa.Column("private", sa.Boolean(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("added_at", MOMENT, nullable=False),
        sa.Column("changed_at", MOMENT, nullable=False),
        sa.Column("content", DOCUMENT, nullable=False),
        sa.CheckConstraint("revision >= 1", name=op.f("ck_documents_revision")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_documents")),
        sa.UniqueConstraint("key", name=op.f("uq_documents_key")),
    )
    op.create_index(op.f("ix_documents_record_state"), "documents", ["record", "state"])
    op.create_index(op.f("ix_documents_about"), "documents", ["about"])
    op.create_table(
        "answered_requests",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("answer", DOCUMENT, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_answered_requests")),
        sa.UniqueConstraint("actor", "key", name=op.f("uq_answered_requests_actor_key")),
    )
