"""Photos of trier checks, each under the name that its entry gives; a name that is taken keeps what it has."""

import re
import sqlite3
from collections.abc import Collection
from typing import Final

from sqlite_utils import Database

from roastlog.store.journal import last_seq

# How long a photo that no entry names is kept. A page sends a photo only when the server has the entry that names it,
# so what nobody names was thrown away. But a page from before that rule, or a program, may send it first, and the entry
# may then lie on a phone that is switched off. A month is longer than a phone is forgotten, and such photos are few.
UNNAMED_MS: Final = 30 * 24 * 3_600_000
_NAME: Final = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)


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


def named_after(connection: sqlite3.Connection, seq: int = 0) -> frozenset[str]:
    """Names of photos in what was said after ``seq``: also in what was taken back, and in corrections."""
    rows = connection.execute("SELECT body FROM entries WHERE seq > ? AND body LIKE '%\"photo\"%'", (seq,))
    return frozenset(name.lower() for row in rows for name in _NAME.findall(row[0]))


def unnamed_before(connection: sqlite3.Connection, at_ms: int) -> tuple[frozenset[str], int]:
    """Photos that came before that time and that nothing names, and the number of the last entry that was asked."""
    rows = connection.execute("SELECT name FROM photos WHERE at_ms < ?", (at_ms,)).fetchall()
    seq = last_seq(connection)
    return (frozenset(row[0] for row in rows) - named_after(connection) if rows else frozenset()), seq


def sweep(db: Database, names: Collection[str], seq: int) -> int:
    """Delete those photos, but for such as were named since entry ``seq``; how many went."""
    gone = frozenset(names) - named_after(db.conn, seq)
    db.conn.executemany("DELETE FROM photos WHERE name = ?", [(name,) for name in gone])
    return len(gone)
