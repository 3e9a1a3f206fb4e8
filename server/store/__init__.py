"""The database edge: engine, tables, mapping, migrations."""
