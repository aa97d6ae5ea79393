"""Products, read from their projection."""

import sqlite3

from roastlog.journal.kinds.sales import Composed


def products(connection: sqlite3.Connection, *, closed: bool = False) -> list[tuple[str, Composed]]:
    """Products that are sold, or with ``closed`` those that no longer are, by name."""
    rows = connection.execute("SELECT code, body FROM products WHERE closed = ? ORDER BY name, code", (int(closed),))
    return [(row[0], Composed.model_validate_json(row[1])) for row in rows]


def product(connection: sqlite3.Connection, code: str) -> Composed | None:
    """One product; None if unknown."""
    row = connection.execute("SELECT body FROM products WHERE code = ?", (code,)).fetchone()
    return None if row is None else Composed.model_validate_json(row[0])
