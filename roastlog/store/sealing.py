"""Sealing: older readings are packed by half hours of a machine, and their rows deleted.

Readings belong to a machine and a time, so slots are half hours and not batches. A shifted charge or an undone batch
rewrites nothing, and readings between batches are packed like the rest. Late readings are stored as rows, take
precedence over the packed ones, and are soon packed with them.
"""

import logging
import sqlite3
from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np

from roastlog.errors import StoreError
from roastlog.store.packing import pack, unpack
from roastlog.store.readings import SLOT_MS, ReadingRow, parsed, raw_rows, unpacked_rows
from roastlog.store.store import Database, Store

QUIET_MS: Final = 900_000  # a half hour is packed this long after its end, when nearly all late readings are in
log = logging.getLogger(__name__)


class Slot(NamedTuple):
    """Half an hour of one machine."""

    machine: str
    start_ms: int

    @property
    def last_ms(self) -> int:
        """Last millisecond of the slot. [ms UTC]"""
        return self.start_ms + SLOT_MS - 1


def due(connection: sqlite3.Connection, now_ms: int) -> Iterator[Slot]:
    """Half hours with rows that ended at least `QUIET_MS` ago, by machine, oldest first. [ms UTC]"""
    machine, after_ms = "", -(1 << 62)
    while True:
        row = connection.execute(
            "SELECT machine, at_ms FROM readings WHERE (machine, at_ms) > (?, ?) ORDER BY machine, at_ms LIMIT 1",
            (machine, after_ms),
        ).fetchone()
        if row is None:
            return
        slot = Slot(row[0], row[1] - row[1] % SLOT_MS)
        machine, after_ms = slot.machine, slot.last_ms
        if slot.last_ms + QUIET_MS < now_ms:
            yield slot
        else:
            after_ms = 1 << 62  # on to the next machine


def seal(store: Store, slot: Slot) -> bool:
    """Pack a half hour; False if its rows changed meanwhile, so that it must be tried again.

    Packing runs in the calling thread; the writer only replaces the old blobs and all rows by the new blob, in one
    transaction. A damaged blob is kept, for a person or a later version.
    """
    raw = raw_rows(store.read, *slot, slot.last_ms)
    merged: dict[int, dict[str, float]] = {}
    replaced: list[int] = []
    for ident, blob in _blobs(store.read, slot):
        try:
            _merge(merged, unpacked_rows(blob, slot.start_ms, slot.last_ms))
        except StoreError as error:
            log.warning("Blob %d of %s stays as it is: %s", ident, slot.machine, error)
        else:
            replaced.append(ident)
    _merge(merged, parsed(raw))
    blob = packed(sorted(merged.items()))

    def exchange(db: Database) -> bool:
        if raw_rows(db.conn, *slot, slot.last_ms) != raw:
            return False
        db.conn.executemany("DELETE FROM sealed WHERE id = ?", [(ident,) for ident in replaced])
        db.conn.execute("INSERT INTO sealed (machine, start_ms, data) VALUES (?, ?, ?)", (*slot, blob))
        db.conn.execute("DELETE FROM readings WHERE machine = ? AND at_ms BETWEEN ? AND ?", (*slot, slot.last_ms))
        return True

    return store.write(exchange)


def packed(rows: list[ReadingRow]) -> bytes:
    """Rows packed as a blob.

    Raises
    ------
    StoreError
        If unpacking does not give the same rows; the rows must then be kept.
    """
    names = list(dict.fromkeys(name for _, values in rows for name in values))
    channels = {name: [values.get(name, np.nan) for _, values in rows] for name in names}
    blob = pack([at_ms for at_ms, _ in rows], channels)
    again = unpack(blob)
    same = again.at_ms.tolist() == [at_ms for at_ms, _ in rows] and all(
        np.array_equal(again.channels[name], channels[name], equal_nan=True) for name in names
    )
    if not same:
        raise StoreError("Readings cannot be packed without a loss; they stay as they are.")
    return blob


def _blobs(connection: sqlite3.Connection, slot: Slot) -> list[tuple[int, bytes]]:
    rows = connection.execute("SELECT id, data FROM sealed WHERE machine = ? AND start_ms = ? ORDER BY id", slot)
    return [(row[0], row[1]) for row in rows.fetchall()]


def _merge(merged: dict[int, dict[str, float]], rows: list[ReadingRow]) -> None:
    for at_ms, values in rows:
        merged.setdefault(at_ms, {}).update(values)
