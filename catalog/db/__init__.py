"""The database: engines, tables, schema, migrations."""
