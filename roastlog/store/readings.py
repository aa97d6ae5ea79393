"""Readings by wall time: fresh ones in wide rows, one an instant, older ones packed by half hours, see `sealing`."""

import json
import logging
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from typing import Final

from numpy import isnan
from sqlite_utils import Database

from roastlog.errors import StoreError
from roastlog.store.packing import unpack

ReadingRow = tuple[int, Mapping[str, float]]
SLOT_MS: Final = 1_800_000  # span of a blob; a later version may reduce it, but not raise it
log = logging.getLogger(__name__)


def add_rows(db: Database, machine: str, rows: Iterable[ReadingRow]) -> None:
    """Store readings; rows of one instant are merged, and the later value of a channel wins."""
    db.conn.executemany(
        "INSERT INTO readings (machine, at_ms, data) VALUES (?, ?, ?)"
        " ON CONFLICT (machine, at_ms) DO UPDATE SET data = json_patch(data, excluded.data)",
        ((machine, at_ms, json.dumps(dict(values), separators=(",", ":"))) for at_ms, values in rows),
    )


def rows_between(connection: sqlite3.Connection, machine: str, start_ms: int, end_ms: int) -> list[ReadingRow]:
    """Readings of a machine from ``start_ms`` to ``end_ms``, both included, by time. [ms UTC]

    Rows take precedence over packed readings: they came later. A damaged blob is a gap, and is logged.
    """
    # Rows first: readings packed between the two queries are then in both results, and never in neither.
    rows = fresh_rows(connection, machine, start_ms, end_ms)
    packed = [row for rows in _packed(connection, machine, start_ms, end_ms) for row in rows]
    if not packed:
        return rows
    merged: dict[int, Mapping[str, float]] = {}
    for at_ms, values in (*packed, *rows):
        merged[at_ms] = {**merged[at_ms], **values} if at_ms in merged else values
    return sorted(merged.items())


def fresh_rows(connection: sqlite3.Connection, machine: str, start_ms: int, end_ms: int) -> list[ReadingRow]:
    """Readings that are not packed yet, by time. [ms UTC]"""
    return parsed(raw_rows(connection, machine, start_ms, end_ms))


def raw_rows(connection: sqlite3.Connection, machine: str, start_ms: int, end_ms: int) -> list[tuple[int, str]]:
    """Unpacked rows as stored: time and JSON text. [ms UTC]"""
    rows = connection.execute(
        "SELECT at_ms, data FROM readings WHERE machine = ? AND at_ms BETWEEN ? AND ? ORDER BY at_ms",
        (machine, start_ms, end_ms),
    ).fetchall()
    return [(row[0], row[1]) for row in rows]


def parsed(rows: list[tuple[int, str]]) -> list[ReadingRow]:
    """Stored rows with their JSON parsed."""
    values = json.loads("[" + ",".join(text for _, text in rows) + "]")  # one parse is twice as fast as one per row
    return list(zip((at_ms for at_ms, _ in rows), values, strict=True))


def _packed(connection: sqlite3.Connection, machine: str, start_ms: int, end_ms: int) -> Iterator[list[ReadingRow]]:
    """Packed readings of a span, one list per blob, in the order of packing."""
    blobs = connection.execute(
        "SELECT id, start_ms, data FROM sealed WHERE machine = ? AND start_ms BETWEEN ? AND ? ORDER BY id",
        (machine, start_ms - SLOT_MS, end_ms),
    ).fetchall()
    for ident, slot_ms, blob in blobs:
        try:
            yield unpacked_rows(blob, start_ms, end_ms)
        except StoreError as error:
            _log_damage(ident, machine, slot_ms, str(error))


def unpacked_rows(blob: bytes, start_ms: int, end_ms: int) -> list[ReadingRow]:
    """Readings of a blob within a span, both ends included; raises StoreError if the blob is damaged. [ms UTC]"""
    columns = unpack(blob)
    first, last = (int(place) for place in columns.at_ms.searchsorted([start_ms, end_ms + 1]))
    times = columns.at_ms[first:last].tolist()
    kept = {name: column[first:last] for name, column in columns.channels.items()}
    if not kept:
        return [(at_ms, {}) for at_ms in times]
    rows = [dict(zip(kept, row, strict=True)) for row in zip(*(part.tolist() for part in kept.values()), strict=True)]
    if any(isnan(part).any() for part in kept.values()):
        rows = [{name: value for name, value in row.items() if value == value} for row in rows]  # noqa: PLR0124 - NaN
    return list(zip(times, rows, strict=True))


@cache
def _log_damage(ident: int, machine: str, slot_ms: int, reason: str) -> None:
    """Log a damaged blob, once."""
    log.error(
        "Half an hour of readings of %s (blob %d, from %d ms) is missing: %s. A backup may have it.",
        machine,
        ident,
        slot_ms,
        reason,
    )
