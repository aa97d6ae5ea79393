"""Stores and packs readings in a loop, and prints its progress: ``sealer.py FOLDER``; killed from outside.

Each line is the number of the last stored instant. Instants alternate between three half hours, so that packed ones
are packed again with late readings.
"""

import sys
from pathlib import Path

from roastlog.store import readings, sealing
from roastlog.store.readings import SLOT_MS
from roastlog.store.store import Store

START_MS = 1_795_600_800_000
MANY = 20


def instant(number: int) -> tuple[int, dict[str, float]]:
    """The reading with that number, which determines its time and value. [ms UTC]"""
    return START_MS + number % 3 * SLOT_MS + number // 3, {"probe": number / 10}


def main(folder: Path) -> None:
    """Run until killed."""
    store = Store(folder)
    number = len(readings.rows_between(store.read, "drum-4", START_MS, START_MS + 3 * SLOT_MS))
    while True:
        rows = [instant(number + n) for n in range(MANY)]
        store.write(lambda db, rows=rows: readings.add_rows(db, "drum-4", rows))
        number += MANY
        print(number, flush=True)
        for slot in sealing.due(store.read, START_MS + 100 * SLOT_MS):
            sealing.seal(store, slot)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
