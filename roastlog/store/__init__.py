"""The SQLite database: one writing thread, many readers."""
