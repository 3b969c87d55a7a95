"""The database: engines, tables, schema and migrations."""
