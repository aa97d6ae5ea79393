"""Machines, green lots, people and settings.

A row is kept by INSERT OR REPLACE. The upsert of sqlite-utils asks the database once what it can; on one that is locked
at that moment it falls back to an INSERT OR IGNORE, which drops rows with required columns without a word.
"""

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any

from sqlite_utils import Database


@dataclass(frozen=True)
class LotRow:
    """A green lot as it was bought. Masses in g; the price is private."""

    code: str
    coffee: str
    origin: str | None = None
    process: str | None = None
    altitude: str | None = None
    harvest: str | None = None
    bought_g: float = 0.0
    arrived: str | None = None
    cup: str | None = None
    price: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class Person:
    """Someone who roasts; ``shown`` is the name that a bag may carry."""

    name: str
    shown: str


_LOT_COLUMNS = ", ".join(field.name for field in fields(LotRow))


def machine_sheets(connection: sqlite3.Connection) -> list[str]:
    """The sheets of all machines as JSON, in the order they were added."""
    return [row[0] for row in connection.execute("SELECT sheet FROM machines ORDER BY added_ms, id")]


def keep_machine(db: Database, ident: str, sheet: str, added_ms: int) -> None:
    """Add a machine, or give a known one a new sheet."""
    db.conn.execute(
        "INSERT INTO machines (id, sheet, added_ms) VALUES (?, ?, ?)"
        " ON CONFLICT (id) DO UPDATE SET sheet = excluded.sheet",
        (ident, sheet, added_ms),
    )


def lots(connection: sqlite3.Connection, *, without: Sequence[str] = ()) -> list[tuple[LotRow, list[float]]]:
    """All lots, each with the green weights that its batches took; some machines take none. [g]"""
    taken: dict[str, list[float]] = {}
    for lot, green_g in connection.execute(
        "SELECT lot, green_g FROM batches WHERE lot IS NOT NULL AND green_g IS NOT NULL AND state <> 'discarded'"  # noqa: S608
        f" AND {_not_on(without)}",
        tuple(without),
    ):
        taken.setdefault(lot, []).append(green_g)
    rows = connection.execute(f"SELECT {_LOT_COLUMNS} FROM lots ORDER BY coffee, code")  # noqa: S608 - our own names
    return [(LotRow(*row), taken.get(row["code"], [])) for row in rows]


def lot(connection: sqlite3.Connection, code: str, *, without: Sequence[str] = ()) -> tuple[LotRow, list[float]] | None:
    """One lot with the green weights that its batches took; some machines take none. [g]"""
    row = connection.execute(f"SELECT {_LOT_COLUMNS} FROM lots WHERE code = ?", (code,)).fetchone()  # noqa: S608
    if row is None:
        return None
    taken = connection.execute(
        "SELECT green_g FROM batches WHERE lot = ? AND green_g IS NOT NULL AND state <> 'discarded'"  # noqa: S608
        f" AND {_not_on(without)}",
        (code, *without),
    )
    return LotRow(*row), [green_g for (green_g,) in taken]


def _not_on(machines: Sequence[str]) -> str:
    return f"machine NOT IN ({', '.join('?' * len(machines))})" if machines else "TRUE"


def keep_lot(db: Database, row: LotRow) -> None:
    """Add a lot, or change what is known of it."""
    db.table("lots").insert(asdict(row), replace=True)


def people(connection: sqlite3.Connection) -> list[Person]:
    """All people, by name."""
    return [Person(*row) for row in connection.execute("SELECT name, shown FROM people ORDER BY name")]


def keep_person(db: Database, person: Person) -> None:
    """Add a person, or change the name that bags carry."""
    db.table("people").insert(asdict(person), replace=True)


def settings(connection: sqlite3.Connection) -> dict[str, Any]:
    """All settings that were changed from their defaults."""
    return {row[0]: json.loads(row[1]) for row in connection.execute("SELECT name, value FROM settings")}


def keep_settings(db: Database, values: dict[str, Any]) -> None:
    """Change settings."""
    db.table("settings").insert_all(
        [{"name": name, "value": json.dumps(value)} for name, value in values.items()], replace=True
    )
