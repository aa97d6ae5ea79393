"""Photos of trier checks, each under the name that its entry gives; a name that is taken keeps what it has."""

import sqlite3
from collections.abc import Collection

from sqlite_utils import Database


def keep_photo(db: Database, name: str, data: bytes, at_ms: int) -> None:
    """Keep a photo; one of that name that is there already stays as it is."""
    db.conn.execute("INSERT OR IGNORE INTO photos (name, at_ms, data) VALUES (?, ?, ?)", (name, at_ms, data))


def photo(connection: sqlite3.Connection, name: str) -> bytes | None:
    """The photo of a name."""
    row = connection.execute("SELECT data FROM photos WHERE name = ?", (name,)).fetchone()
    return None if row is None else bytes(row[0])


def photos_of(connection: sqlite3.Connection, names: Collection[str]) -> frozenset[str]:
    """Those of the names under which there is a photo."""
    there = (connection.execute("SELECT name FROM photos WHERE name = ?", (name,)).fetchone() for name in names)
    return frozenset(row[0] for row in there if row is not None)
