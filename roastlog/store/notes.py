"""What the server notes for itself. It is no entry: nobody said it, and it may be lost without loss."""

import json
import sqlite3
from collections.abc import Mapping
from typing import Any

from sqlite_utils import Database


def noted(connection: sqlite3.Connection) -> dict[str, Any]:
    """All notes, by name."""
    return {row[0]: json.loads(row[1]) for row in connection.execute("SELECT name, value FROM notes")}


def note(db: Database, values: Mapping[str, Any]) -> None:
    """Note some values, in place of those of their names."""
    db.conn.executemany(
        "INSERT OR REPLACE INTO notes (name, value) VALUES (?, ?)",
        [(name, json.dumps(value)) for name, value in values.items()],
    )
