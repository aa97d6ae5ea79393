"""Green lots, people and settings, read from their projections."""

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from roastlog.store.batches import not_on


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
    """Someone who roasts; ``shown`` is the name that a bag may carry. Journal entries know them by ``id``."""

    name: str
    shown: str
    id: str = ""


_LOT_COLUMNS = ", ".join(field.name for field in fields(LotRow))


def lots(connection: sqlite3.Connection, *, without: Sequence[str] = ()) -> list[tuple[LotRow, list[float]]]:
    """All lots with the green weights taken by their batches, without those of some machines. [g]"""
    taken: dict[str, list[float]] = {}
    for lot, green_g in connection.execute(
        "SELECT lot, green_g FROM batches WHERE lot IS NOT NULL AND green_g IS NOT NULL AND state <> 'discarded'"  # noqa: S608
        f" AND {not_on(without)}",
        tuple(without),
    ):
        taken.setdefault(lot, []).append(green_g)
    rows = connection.execute(f"SELECT {_LOT_COLUMNS} FROM lots ORDER BY coffee, code")  # noqa: S608 - our own names
    return [(LotRow(*row), taken.get(row["code"], [])) for row in rows]


def lot(connection: sqlite3.Connection, code: str, *, without: Sequence[str] = ()) -> tuple[LotRow, list[float]] | None:
    """One lot with the green weights taken by its batches, without those of some machines; None if unknown. [g]"""
    row = connection.execute(f"SELECT {_LOT_COLUMNS} FROM lots WHERE code = ?", (code,)).fetchone()  # noqa: S608
    if row is None:
        return None
    taken = connection.execute(
        "SELECT green_g FROM batches WHERE lot = ? AND green_g IS NOT NULL AND state <> 'discarded'"  # noqa: S608
        f" AND {not_on(without)}",
        (code, *without),
    )
    return LotRow(*row), [green_g for (green_g,) in taken]


def people(connection: sqlite3.Connection) -> list[Person]:
    """All people, by name."""
    return [Person(*row) for row in connection.execute("SELECT name, shown, id FROM people ORDER BY name, id")]


def settings(connection: sqlite3.Connection) -> dict[str, Any]:
    """All settings that were ever set."""
    return {row[0]: json.loads(row[1]) for row in connection.execute("SELECT name, value FROM settings")}
