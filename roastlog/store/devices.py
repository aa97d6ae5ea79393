"""Paired devices, pairing codes and the tokens of programs. Of each secret only a hash is stored."""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, fields

from sqlite_utils import Database


@dataclass(frozen=True)
class DeviceRow:
    """A paired phone, tablet or computer."""

    id: int
    name: str
    person: str | None
    role: str
    made_ms: int
    seen_ms: int


@dataclass(frozen=True)
class TokenRow:
    """The token of a program."""

    name: str
    role: str
    made_ms: int
    seen_ms: int | None


@dataclass(frozen=True)
class PairingRow:
    """A code and a link that pair one device; ``code_hash`` is a slow salted hash, since a code is short.

    ``ends_ms`` is by the computer's monotonic clock.
    """

    link_hash: str
    code_hash: str
    salt: str
    role: str
    name: str | None
    person: str | None
    ends_ms: int
    id: int = 0


_DEVICE = ", ".join(field.name for field in fields(DeviceRow))
_TOKEN = ", ".join(field.name for field in fields(TokenRow))
_PAIRING = ", ".join(field.name for field in fields(PairingRow))


def devices(connection: sqlite3.Connection) -> list[DeviceRow]:
    """All devices, the last seen first."""
    rows = connection.execute(f"SELECT {_DEVICE} FROM devices ORDER BY seen_ms DESC, id DESC")  # noqa: S608 - our names
    return [DeviceRow(*row) for row in rows]


def device_by_hash(connection: sqlite3.Connection, token_hash: str) -> DeviceRow | None:
    """The device whose token has this hash."""
    row = connection.execute(f"SELECT {_DEVICE} FROM devices WHERE hash = ?", (token_hash,)).fetchone()  # noqa: S608
    return None if row is None else DeviceRow(*row)


def add_device(db: Database, row: DeviceRow, token_hash: str) -> DeviceRow:
    """Add a device under a unique name; returns its row with that name and its new ``id``."""
    taken = {name for (name,) in db.conn.execute("SELECT name FROM devices")}
    name, number = row.name, 1
    while name in taken:
        number += 1
        name = f"{row.name} {number}"
    cursor = db.conn.execute(
        "INSERT INTO devices (name, person, role, hash, made_ms, seen_ms) VALUES (?, ?, ?, ?, ?, ?)",
        (name, row.person, row.role, token_hash, row.made_ms, row.seen_ms),
    )
    return DeviceRow(int(cursor.lastrowid or 0), name, row.person, row.role, row.made_ms, row.seen_ms)


def change_device(db: Database, ident: int, *, name: str, person: str | None, role: str) -> bool:
    """Change the name, person and role of a device; False if there is none with that id."""
    cursor = db.conn.execute(
        "UPDATE devices SET name = ?, person = ?, role = ? WHERE id = ?", (name, person, role, ident)
    )
    return cursor.rowcount == 1


def cut_off(db: Database, ident: int) -> bool:
    """Delete a device and so its access; False if there is none with that id."""
    return db.conn.execute("DELETE FROM devices WHERE id = ?", (ident,)).rowcount == 1


def saw_device(db: Database, ident: int, seen_ms: int) -> None:
    """Record when a device was last seen. [ms UTC]"""
    db.conn.execute("UPDATE devices SET seen_ms = max(seen_ms, ?) WHERE id = ?", (seen_ms, ident))


def tokens(connection: sqlite3.Connection) -> list[TokenRow]:
    """All tokens of programs, by name."""
    rows = connection.execute(f"SELECT {_TOKEN} FROM tokens ORDER BY name")  # noqa: S608 - our own names
    return [TokenRow(*row) for row in rows]


def token_by_hash(connection: sqlite3.Connection, token_hash: str) -> TokenRow | None:
    """The token that has this hash."""
    row = connection.execute(f"SELECT {_TOKEN} FROM tokens WHERE hash = ?", (token_hash,)).fetchone()  # noqa: S608
    return None if row is None else TokenRow(*row)


def keep_token(db: Database, row: TokenRow, token_hash: str) -> None:
    """Store the hash of a new token; it replaces one of the same name."""
    db.conn.execute(
        "INSERT OR REPLACE INTO tokens (name, role, hash, made_ms) VALUES (?, ?, ?, ?)",
        (row.name, row.role, token_hash, row.made_ms),
    )


def revoke_token(db: Database, name: str) -> bool:
    """Delete the token of a program; False if there is none of that name."""
    return db.conn.execute("DELETE FROM tokens WHERE name = ?", (name,)).rowcount == 1


def saw_token(db: Database, name: str, seen_ms: int) -> None:
    """Record when a program was last seen. [ms UTC]"""
    db.conn.execute("UPDATE tokens SET seen_ms = max(coalesce(seen_ms, 0), ?) WHERE name = ?", (seen_ms, name))


def pairings(connection: sqlite3.Connection, now_ms: int) -> Sequence[PairingRow]:
    """All valid pairings, newest first."""
    rows = connection.execute(f"SELECT {_PAIRING} FROM pairings WHERE ends_ms > ? ORDER BY id DESC", (now_ms,))  # noqa: S608
    return [PairingRow(*row) for row in rows]


def keep_pairing(db: Database, row: PairingRow, now_ms: int, *, most: int) -> int:
    """Store a new pairing, delete expired ones and the oldest beyond ``most``; returns its id."""
    cursor = db.conn.execute(
        "INSERT INTO pairings (link_hash, code_hash, salt, role, name, person, ends_ms) VALUES (?, ?, ?, ?, ?, ?, ?)",
        (row.link_hash, row.code_hash, row.salt, row.role, row.name, row.person, row.ends_ms),
    )
    db.conn.execute("DELETE FROM pairings WHERE ends_ms <= ?", (now_ms,))
    db.conn.execute("DELETE FROM pairings WHERE id NOT IN (SELECT id FROM pairings ORDER BY id DESC LIMIT ?)", (most,))
    return int(cursor.lastrowid or 0)


def end_pairings_after(db: Database, last_ms: int) -> None:
    """Delete all pairings that end after a time."""
    db.conn.execute("DELETE FROM pairings WHERE ends_ms > ?", (last_ms,))


def use_up(db: Database, ident: int, now_ms: int) -> bool:
    """Delete a pairing on use; False if it was used before or has expired."""
    return db.conn.execute("DELETE FROM pairings WHERE id = ? AND ends_ms > ?", (ident, now_ms)).rowcount == 1
