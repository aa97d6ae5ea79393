"""Readings by wall time: wide rows, one an instant, while they are fresh; packed by half hours later, see `sealing`."""

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
SLOT_MS: Final = 1_800_000  # what is packed together; may become smaller in a later version, but not larger
log = logging.getLogger(__name__)


def add_rows(db: Database, machine: str, rows: Iterable[ReadingRow]) -> None:
    """Keep readings; what comes twice for one instant is merged, the later value of a channel wins."""
    db.conn.executemany(
        "INSERT INTO readings (machine, at_ms, data) VALUES (?, ?, ?)"
        " ON CONFLICT (machine, at_ms) DO UPDATE SET data = json_patch(data, excluded.data)",
        ((machine, at_ms, json.dumps(dict(values), separators=(",", ":"))) for at_ms, values in rows),
    )


def rows_between(connection: sqlite3.Connection, machine: str, start_ms: int, end_ms: int) -> list[ReadingRow]:
    """Readings of a machine from ``start_ms`` to ``end_ms``, both included, in their order.

    Rows go before what is packed: they came later. Packed readings that are damaged are a gap, and told in the log.
    """
    # Rows first: what is packed between the two questions is then in both. The other way round it could be in neither.
    rows = fresh_rows(connection, machine, start_ms, end_ms)
    packed = [row for rows in _packed(connection, machine, start_ms, end_ms) for row in rows]
    if not packed:
        return rows
    merged: dict[int, Mapping[str, float]] = {}
    for at_ms, values in (*packed, *rows):
        merged[at_ms] = {**merged[at_ms], **values} if at_ms in merged else values
    return sorted(merged.items())


def fresh_rows(connection: sqlite3.Connection, machine: str, start_ms: int, end_ms: int) -> list[ReadingRow]:
    """Those readings that are not packed yet, in their order."""
    return parsed(raw_rows(connection, machine, start_ms, end_ms))


def raw_rows(connection: sqlite3.Connection, machine: str, start_ms: int, end_ms: int) -> list[tuple[int, str]]:
    """Rows as they are kept."""
    rows = connection.execute(
        "SELECT at_ms, data FROM readings WHERE machine = ? AND at_ms BETWEEN ? AND ? ORDER BY at_ms",
        (machine, start_ms, end_ms),
    ).fetchall()
    return [(row[0], row[1]) for row in rows]


def parsed(rows: list[tuple[int, str]]) -> list[ReadingRow]:
    """What rows as they are kept say."""
    values = json.loads("[" + ",".join(text for _, text in rows) + "]")  # one parse is twice as fast as many
    return list(zip((at_ms for at_ms, _ in rows), values, strict=True))


def _packed(connection: sqlite3.Connection, machine: str, start_ms: int, end_ms: int) -> Iterator[list[ReadingRow]]:
    """Packed readings of a span, a list a blob, in the order in which they were packed."""
    blobs = connection.execute(
        "SELECT id, start_ms, data FROM sealed WHERE machine = ? AND start_ms BETWEEN ? AND ? ORDER BY id",
        (machine, start_ms - SLOT_MS, end_ms),
    ).fetchall()
    for ident, slot_ms, blob in blobs:
        try:
            yield unpacked_rows(blob, start_ms, end_ms)
        except StoreError as error:
            _tell_damage(ident, machine, slot_ms, str(error))


def unpacked_rows(blob: bytes, start_ms: int, end_ms: int) -> list[ReadingRow]:
    """Readings of a blob that lie in a span, both ends included; raises StoreError if it is damaged."""
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
def _tell_damage(ident: int, machine: str, slot_ms: int, reason: str) -> None:
    """Tell of a damaged blob, once."""
    log.error(
        "Half an hour of readings of %s (blob %d, from %d ms) is missing: %s. A backup may have it.",
        machine,
        ident,
        slot_ms,
        reason,
    )
