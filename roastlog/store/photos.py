"""Photos of trier checks and files of lots, by the name that their entry gives. A stored one is never replaced."""

import re
import sqlite3
from collections.abc import Collection, Iterable
from typing import Final

from sqlite_utils import Database

from roastlog.store.journal import last_seq

# A photo that no entry names is kept for this long. A page sends a photo only once the server has the entry that names
# it, so an unnamed photo was discarded. But an older page, or a program, may send the photo first while the entry waits
# on a phone that is switched off. Few phones stay off for a month, and such photos are few.
UNNAMED_MS: Final = 30 * 24 * 3_600_000
FILE: Final = "file "
"""Begins the stored name of a file of a lot, so that no address of a photo leads to it."""
_NAME: Final = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)


def keep_photo(db: Database, name: str, data: bytes, at_ms: int) -> None:
    """Store a photo; an existing one of that name is not replaced."""
    db.conn.execute("INSERT OR IGNORE INTO photos (name, at_ms, data) VALUES (?, ?, ?)", (name, at_ms, data))


def photo(connection: sqlite3.Connection, name: str) -> bytes | None:
    """A photo by its name; None if it is not stored."""
    row = connection.execute("SELECT data FROM photos WHERE name = ?", (name,)).fetchone()
    return None if row is None else bytes(row[0])


def photos_of(connection: sqlite3.Connection, names: Collection[str]) -> frozenset[str]:
    """The names for which a photo is stored."""
    there = (connection.execute("SELECT name FROM photos WHERE name = ?", (name,)).fetchone() for name in names)
    return frozenset(row[0] for row in there if row is not None)


def named_after(connection: sqlite3.Connection, seq: int = 0) -> frozenset[str]:
    """Names of photos and files in entries after ``seq``, including undone ones and corrections."""
    sql = """SELECT body FROM entries WHERE seq > ? AND (body LIKE '%"photo"%' OR body LIKE '%"name"%')"""
    rows = connection.execute(sql, (seq,))
    return frozenset(name.lower() for row in rows for name in _NAME.findall(row[0]))


def unnamed_before(connection: sqlite3.Connection, at_ms: int) -> tuple[frozenset[str], int]:
    """Photos stored before a time that no entry names, and the number of the last entry searched. [ms UTC]"""
    rows = connection.execute("SELECT name FROM photos WHERE at_ms < ?", (at_ms,)).fetchall()
    seq = last_seq(connection)
    return (_without(named_after(connection), (row[0] for row in rows)) if rows else frozenset()), seq


def sweep(db: Database, names: Collection[str], seq: int) -> int:
    """Delete the photos that no entry after ``seq`` names; returns how many."""
    gone = _without(named_after(db.conn, seq), names)
    db.conn.executemany("DELETE FROM photos WHERE name = ?", [(name,) for name in gone])
    return len(gone)


def _without(named: Collection[str], names: Iterable[str]) -> frozenset[str]:
    """The stored names of photos and files that are not among those that entries give."""
    return frozenset(name for name in names if name.removeprefix(FILE) not in named)
