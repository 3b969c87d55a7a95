"""Entries read from and written to the database."""
