"""Readings not yet on disk: held until they are saved."""

import threading
from functools import partial
from typing import Final

from roastlog.store import readings as stored
from roastlog.store.store import Store

COMMIT_ROWS: Final = 100  # a tap waits for one commit of them at most
MOST_UNSAVED: Final = 200_000  # instants held in memory while the disk refuses them; beyond it the oldest are dropped


class UnsavedReadings:
    """The unsaved readings of one machine. Thread-safe.

    Parameters
    ----------
    machine_id
        The machine that they are of.
    store
        The store that they are saved to.
    bulk
        Whether saving them lets all other changes go first.
    """

    def __init__(self, machine_id: str, store: Store, *, bulk: bool = False) -> None:
        self._machine_id, self._store, self._bulk = machine_id, store, bulk
        self._lock = threading.Lock()
        self._saving = threading.Lock()
        self._waiting: dict[int, dict[str, float]] = {}
        self._being_saved: dict[int, dict[str, float]] = {}

    def put(self, at_ms: int, channel: str, value: float) -> None:
        """Hold a reading until it is saved. [ms UTC]"""
        with self._lock:
            self._waiting.setdefault(at_ms, {})[channel] = value
            self._drop_oldest()

    def put_beside(self, at_ms: int, channel: str, value: float) -> bool:
        """Hold a reading if others of its instant still wait; returns whether they do. [ms UTC]"""
        with self._lock:
            if at_ms in self._waiting:
                self._waiting[at_ms][channel] = value
                return True
            return False

    def save(self) -> None:
        """Write all held readings to disk; refused ones are held for the next call.

        Raises
        ------
        StoreError
            If the disk refuses them.
        """
        with self._saving:
            with self._lock:
                self._being_saved, self._waiting = self._waiting, {}
            if not self._being_saved:
                return
            rows = list(self._being_saved.items())
            try:
                for start in range(0, len(rows), COMMIT_ROWS):  # so that taps go in between
                    part = rows[start : start + COMMIT_ROWS]
                    self._store.write(partial(stored.add_rows, machine=self._machine_id, rows=part), bulk=self._bulk)
                    with self._lock:  # the next call begins with the first that is refused
                        for at_ms, _ in part:
                            del self._being_saved[at_ms]
            finally:
                with self._lock:
                    if self._being_saved:
                        for at_ms, values in self._waiting.items():
                            self._being_saved.setdefault(at_ms, {}).update(values)
                        self._waiting = self._being_saved
                        self._drop_oldest()
                    self._being_saved = {}

    def between(self, start_ms: int, end_ms: int) -> dict[int, dict[str, float]]:
        """The held readings of a time span, by time. [ms UTC]"""
        with self._lock:
            found: dict[int, dict[str, float]] = {}
            for part in (self._being_saved, self._waiting):
                for at_ms, values in part.items():
                    if start_ms <= at_ms <= end_ms:
                        found.setdefault(at_ms, {}).update(values)
        return found

    def _drop_oldest(self) -> None:
        """Keep the newest `MOST_UNSAVED` instants. The lock is held."""
        while len(self._waiting) > MOST_UNSAVED:
            del self._waiting[next(iter(self._waiting))]
