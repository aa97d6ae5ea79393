"""Readings on their way to the disk: held until it has taken them, and read together with those that it has."""

import threading
from collections.abc import Mapping
from typing import Final

from roastlog.store import readings as stored
from roastlog.store.store import Store

MOST_UNSAVED: Final = 200_000  # instants held in memory when the disk does not take them


class UnsavedReadings:
    """The readings of one machine that are not on the disk yet; from any thread.

    Parameters
    ----------
    machine_id
        Whose readings they are.
    store
        Where they are saved.
    """

    def __init__(self, machine_id: str, store: Store) -> None:
        self._machine_id, self._store = machine_id, store
        self._lock = threading.Lock()
        self._saving = threading.Lock()
        self._waiting: dict[int, dict[str, float]] = {}
        self._in_hand: dict[int, dict[str, float]] = {}  # those that the disk is being given

    def put(self, at_ms: int, channel: str, value: float) -> None:
        """Hold a reading until it is saved. [ms UTC]"""
        with self._lock:
            self._waiting.setdefault(at_ms, {})[channel] = value
            if len(self._waiting) > MOST_UNSAVED:
                del self._waiting[next(iter(self._waiting))]

    def save(self) -> None:
        """Put all that is held on the disk; readings that the disk refuses are kept for the next time.

        Raises
        ------
        StoreError
            If the disk refuses them.
        """
        with self._saving:
            with self._lock:
                self._in_hand, self._waiting = self._waiting, {}
            if not self._in_hand:
                return
            rows = list(self._in_hand.items())
            saved = False
            try:
                self._store.write(lambda db: stored.add_rows(db, self._machine_id, rows))
                saved = True
            finally:
                with self._lock:
                    if not saved:
                        for at_ms, values in self._waiting.items():
                            self._in_hand.setdefault(at_ms, {}).update(values)
                        self._waiting = self._in_hand
                    self._in_hand = {}

    def rows_between(self, start_ms: int, end_ms: int) -> list[tuple[int, Mapping[str, float]]]:
        """Readings of a time span, those on the disk and those not yet there, in the order of their times. [ms UTC]"""
        with self._lock:
            fresh: dict[int, dict[str, float]] = {}
            for part in (self._in_hand, self._waiting):
                for at_ms, values in part.items():
                    if start_ms <= at_ms <= end_ms:
                        fresh.setdefault(at_ms, {}).update(values)
        # Read after it and without the lock: what was saved in between is in both, and nothing is in neither.
        merged = dict(stored.rows_between(self._store.read, self._machine_id, start_ms, end_ms))
        for at_ms, values in fresh.items():
            merged[at_ms] = {**merged.get(at_ms, {}), **values}
        return sorted(merged.items())
