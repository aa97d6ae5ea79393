"""Readings not yet on disk: held until they are saved, and read together with the stored ones."""

import threading
from collections.abc import Mapping
from functools import partial
from typing import Final

from roastlog.store import readings as stored
from roastlog.store.store import Store

COMMIT_ROWS: Final = 1000
MOST_UNSAVED: Final = 200_000  # instants held in memory while the disk refuses them; beyond it the oldest are dropped


class UnsavedReadings:
    """The unsaved readings of one machine. Thread-safe.

    Parameters
    ----------
    machine_id
        The machine that they are of.
    store
        The store that they are saved to.
    """

    def __init__(self, machine_id: str, store: Store) -> None:
        self._machine_id, self._store = machine_id, store
        self._lock = threading.Lock()
        self._saving = threading.Lock()
        self._waiting: dict[int, dict[str, float]] = {}
        self._being_saved: dict[int, dict[str, float]] = {}

    def put(self, at_ms: int, channel: str, value: float) -> None:
        """Hold a reading until it is saved. [ms UTC]"""
        with self._lock:
            self._waiting.setdefault(at_ms, {})[channel] = value
            self._drop_oldest()

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
            saved = False
            try:
                for start in range(0, len(rows), COMMIT_ROWS):  # so that taps go in between
                    part = rows[start : start + COMMIT_ROWS]
                    self._store.write(partial(stored.add_rows, machine=self._machine_id, rows=part))
                saved = True
            finally:
                with self._lock:
                    if not saved:
                        for at_ms, values in self._waiting.items():
                            self._being_saved.setdefault(at_ms, {}).update(values)
                        self._waiting = self._being_saved
                        self._drop_oldest()
                    self._being_saved = {}

    def rows_between(self, start_ms: int, end_ms: int) -> list[tuple[int, Mapping[str, float]]]:
        """Readings of a time span, stored and unsaved, in the order of their times. [ms UTC]"""
        with self._lock:
            fresh: dict[int, dict[str, float]] = {}
            for part in (self._being_saved, self._waiting):
                for at_ms, values in part.items():
                    if start_ms <= at_ms <= end_ms:
                        fresh.setdefault(at_ms, {}).update(values)
        # The disk is read afterwards, without the lock: a reading saved in between is in both, and none is missed.
        merged = dict(stored.rows_between(self._store.read, self._machine_id, start_ms, end_ms))
        for at_ms, values in fresh.items():
            merged[at_ms] = {**merged.get(at_ms, {}), **values}
        return sorted(merged.items())

    def _drop_oldest(self) -> None:
        """Keep the newest `MOST_UNSAVED` instants. The lock is held."""
        while len(self._waiting) > MOST_UNSAVED:
            del self._waiting[next(iter(self._waiting))]
