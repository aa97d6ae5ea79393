"""Readings by wall time: wide rows, one an instant."""

import json
import sqlite3
from collections.abc import Iterable, Mapping

from sqlite_utils import Database

Row = tuple[int, Mapping[str, float]]


def add_rows(db: Database, machine: str, rows: Iterable[Row]) -> None:
    """Keep readings; what comes twice for one instant is merged, the later value of a channel wins."""
    db.conn.executemany(
        "INSERT INTO readings (machine, at_ms, data) VALUES (?, ?, ?)"
        " ON CONFLICT (machine, at_ms) DO UPDATE SET data = json_patch(data, excluded.data)",
        ((machine, at_ms, json.dumps(dict(values), separators=(",", ":"))) for at_ms, values in rows),
    )


def rows_between(connection: sqlite3.Connection, machine: str, start_ms: int, end_ms: int) -> list[Row]:
    """Readings of a machine from ``start_ms`` to ``end_ms``, both included, in their order."""
    rows = connection.execute(
        "SELECT at_ms, data FROM readings WHERE machine = ? AND at_ms BETWEEN ? AND ? ORDER BY at_ms",
        (machine, start_ms, end_ms),
    ).fetchall()
    times = [row[0] for row in rows]
    values = json.loads("[" + ",".join(row[1] for row in rows) + "]")  # one parse is twice as fast as many
    return list(zip(times, values, strict=True))
