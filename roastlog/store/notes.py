"""Notes that the server keeps for itself. They are not entries, and losing them does no harm."""

import json
import sqlite3
from collections.abc import Mapping
from typing import Any

from sqlite_utils import Database


def noted(connection: sqlite3.Connection) -> dict[str, Any]:
    """All notes, by name."""
    return {row[0]: json.loads(row[1]) for row in connection.execute("SELECT name, value FROM notes")}


def note(db: Database, values: Mapping[str, Any]) -> None:
    """Store notes; each replaces the one of its name."""
    db.conn.executemany(
        "INSERT OR REPLACE INTO notes (name, value) VALUES (?, ?)",
        [(name, json.dumps(value)) for name, value in values.items()],
    )
