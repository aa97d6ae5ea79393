"""Machines, read from their projection, with the passwords of their brokers, which no entry holds."""

import sqlite3
from typing import NamedTuple

from sqlite_utils import Database

from roastlog.machine.model import BrokerUser, Machine


class Described(NamedTuple):
    """The rows that machines are parsed from; comparable, so that parsed machines can be cached."""

    sheets: tuple[str, ...]
    passwords: tuple[tuple[str, str, int, str, str], ...]


def described(connection: sqlite3.Connection) -> Described:
    """The rows of all machines, in the order they were added."""
    sheets = connection.execute("SELECT sheet FROM machines ORDER BY added_ms, id")
    passwords = connection.execute("SELECT machine, host, port, user, password FROM passwords")
    return Described(tuple(row[0] for row in sheets), tuple((*row,) for row in passwords))


def parsed(described: Described) -> tuple[Machine, ...]:
    """The machines that the rows describe."""
    known: dict[str, dict[BrokerUser, str]] = {}
    for machine_id, host, port, user, password in described.passwords:
        known.setdefault(machine_id, {})[host, port, user] = password
    found = [Machine.model_validate_json(sheet) for sheet in described.sheets]
    return tuple(machine.with_passwords(known.get(machine.id, {})) for machine in found)


def machines(connection: sqlite3.Connection) -> list[Machine]:
    """All machines, in the order they were added."""
    return list(parsed(described(connection)))


def machine(connection: sqlite3.Connection, ident: str) -> Machine | None:
    """One machine; None if there is none with that id."""
    return next((found for found in machines(connection) if found.id == ident), None)


def is_practice(connection: sqlite3.Connection, ident: str) -> bool:
    """Whether a machine is one for practice, whose batches use no coffee."""
    row = connection.execute("SELECT practice FROM machines WHERE id = ?", (ident,)).fetchone()
    return row is not None and bool(row[0])


def keep_passwords(db: Database, machine: Machine) -> None:
    """Store the passwords in a machine's description; other stored ones stay."""
    db.conn.executemany(
        "INSERT OR REPLACE INTO passwords (machine, host, port, user, password) VALUES (?, ?, ?, ?, ?)",
        [(machine.id, *broker, password) for broker, password in machine.passwords.items()],
    )
