"""Green lots, people and settings, read from their projections."""

import json
import sqlite3
from dataclasses import dataclass, fields
from typing import Any, Final


@dataclass(frozen=True)
class LotRow:
    """A green lot as it arrived, its state, and the newest value of each measured figure. Masses in g.

    Prices are confidential.
    """

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
    supplier: str | None = None
    reference: str | None = None
    sacks: int | None = None
    currency: str | None = None
    price_per_kg: float | None = None
    landed_per_kg: float | None = None
    place: str | None = None
    lead_days: int | None = None
    harvested: str | None = None


@dataclass(frozen=True)
class LotFigures:
    """Figures of a lot that follow from its other entries; `first_moisture_percent` is that of its first check."""

    state: str = "unchecked"
    arrived_ms: int = 0
    checked_ms: int | None = None
    moisture_percent: float | None = None
    water_activity: float | None = None
    density_g_l: float | None = None
    first_moisture_percent: float | None = None


@dataclass(frozen=True)
class Person:
    """Someone who roasts; ``shown`` is the name that a bag may carry. Journal entries know them by ``id``."""

    name: str
    shown: str
    id: str = ""


@dataclass(frozen=True)
class StockedLot:
    """A lot with its figures and the grams left of it, which may be below 0."""

    row: LotRow
    figures: LotFigures
    left_g: int


_ROW = [field.name for field in fields(LotRow)]
_FIGURES = [field.name for field in fields(LotFigures)]
LOT_COLUMNS: Final = (*_ROW, *_FIGURES)
_SELECT_LOTS = (
    f"SELECT {', '.join(f'lots.{name}' for name in LOT_COLUMNS)}, coalesce(grams, 0) AS left_g"  # noqa: S608
    " FROM lots LEFT JOIN accounts ON kind = 'green' AND name = code"
)


def lots(connection: sqlite3.Connection) -> list[StockedLot]:
    """All lots, by coffee."""
    return [_stocked(row) for row in connection.execute(f"{_SELECT_LOTS} ORDER BY coffee, code")]


def lot(connection: sqlite3.Connection, code: str) -> StockedLot | None:
    """One lot; None if unknown."""
    row = connection.execute(f"{_SELECT_LOTS} WHERE code = ?", (code,)).fetchone()
    return None if row is None else _stocked(row)


def lot_named(connection: sqlite3.Connection, text: str) -> str | None:
    """Code of the lot that has it as typed, else in other capitals; None if no lot has."""
    sql = "SELECT code FROM lots WHERE code = :text COLLATE NOCASE ORDER BY code = :text DESC, code LIMIT 1"
    row = connection.execute(sql, {"text": text}).fetchone()
    return None if row is None else str(row[0])


def _stocked(row: sqlite3.Row) -> StockedLot:
    values = tuple(row)
    return StockedLot(LotRow(*values[: len(_ROW)]), LotFigures(*values[len(_ROW) : -1]), values[-1])


def people(connection: sqlite3.Connection) -> list[Person]:
    """All people, by name."""
    return [Person(*row) for row in connection.execute("SELECT name, shown, id FROM people ORDER BY name, id")]


def settings(connection: sqlite3.Connection) -> dict[str, Any]:
    """All settings that were ever set."""
    return {row[0]: json.loads(row[1]) for row in connection.execute("SELECT name, value FROM settings")}
