"""The store: where the data folder is, the writer, and the readers."""

import sqlite3
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final, TypeVar

from sqlite_utils import Database

from roastlog.errors import StoreError
from roastlog.store.backups import FILE_NAME
from roastlog.store.database import Readers, migrate
from roastlog.store.notes import note
from roastlog.store.writer import Writer

__all__ = ["Database", "Store"]
T = TypeVar("T")
TRIED_S: Final = 5.0  # anyone may ask for the health of the server, and that must not keep the disk busy


class Store:
    """One data folder. The schema is brought up to date when it is opened."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE_NAME
        migrate(self.path)
        self._writer = Writer(self.path)
        self._readers = Readers(self.path)
        self._trying = threading.Lock()
        self._last: tuple[float, StoreError | None] = (-TRIED_S, None)

    def write(self, change: Callable[[Database], T]) -> T:
        """Make a change; it is on the disk when this returns."""
        try:
            made = self._writer.do(change)
        except StoreError as error:
            self._last = time.monotonic(), error
            raise
        self._last = time.monotonic(), None
        return made

    def write_soon(self, change: Callable[[Database], object]) -> None:
        """Make a change when there is time; nobody waits, and nobody hears whether it was made."""
        self._writer.submit(change)

    def trouble(self) -> StoreError | None:
        """Why nothing can be written at present; None when all is well.

        It is how the last write went. Where none was made for `TRIED_S` one is, so that asking often costs nothing.
        """
        with self._trying:
            tried_s, trouble = self._last
            if time.monotonic() - tried_s < TRIED_S:
                return trouble
            try:
                self.write(lambda db: note(db, {"last_tried": time.time()}))
            except StoreError as error:
                return error
            return None

    @property
    def failing(self) -> StoreError | None:
        """Why the last write failed; None when it did not. It asks nothing of the disk."""
        return self._last[1]

    @property
    def read(self) -> sqlite3.Connection:
        """The calling thread's reading connection."""
        return self._readers.get()

    def close(self) -> None:
        """Finish what is queued, then stop writing."""
        self._writer.close()
