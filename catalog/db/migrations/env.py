"""Run by Alembic: migrates the database of the connection in ``config.attributes``."""

from __future__ import annotations

from alembic import context

from catalog.db.tables import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    compare_server_default=True,
)
with context.begin_transaction():
    context.run_migrations()
