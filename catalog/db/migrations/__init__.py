"""Alembic's scripts: every change of the tables, oldest first."""
