"""Writes readings through the store, one command per line, and prints the result: ``recorder_on_a_bad_disk.py FOLDER``.

A process of its own, so that a limit on the size of its files is its own, and so that it holds no file when it is over.
"""

import resource
import sys
from pathlib import Path

from roastlog.errors import StoreError
from roastlog.store import readings
from roastlog.store.store import Store


def said(error: StoreError) -> str:
    """An error on one line."""
    return "refused: " + " ".join(str(error).split())


def main(folder: Path) -> None:
    """Execute the lines: limit BYTES, add COUNT, count 0."""
    try:
        store = Store(folder)
    except StoreError as error:
        print(said(error), flush=True)
        return
    print("open", flush=True)
    at_ms = 0
    for line in sys.stdin:
        word, number = line.split()
        try:
            if word == "limit":
                resource.setrlimit(resource.RLIMIT_FSIZE, (int(number), resource.RLIM_INFINITY))
                print("ok", flush=True)
            elif word == "add":
                rows = [(at_ms + n, {"probe": n / 10}) for n in range(int(number))]
                store.write(lambda db, rows=rows: readings.add_rows(db, "drum-4", rows))
                at_ms += len(rows)
                print("ok", flush=True)
            elif word == "count":
                print(len(readings.rows_between(store.read, "drum-4", 0, 1 << 60)), flush=True)
        except StoreError as error:
            print(said(error), flush=True)
    store.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
