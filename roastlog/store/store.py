"""The store: the data folder with its writer and its readers."""

import threading
import time
from collections.abc import Callable
from pathlib import Path
from sqlite3 import Connection
from typing import Final, TypeVar

from sqlite_utils import Database

from roastlog.errors import StoreError
from roastlog.store.backups import FILE_NAME
from roastlog.store.database import Readers, migrate
from roastlog.store.notes import note
from roastlog.store.writer import Writer

__all__ = ["Connection", "Database", "Store"]
T = TypeVar("T")
TRIED_S: Final = 5.0  # anyone may ask for the server's health, so a test write is made at most this often


class Store:
    """One data folder. Opening it updates the schema."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE_NAME
        migrate(self.path)
        self._writer = Writer(self.path)
        self._readers = Readers(self.path)
        self._trying = threading.Lock()
        self._last: tuple[float, StoreError | None] = (-TRIED_S, None)

    def write(self, change: Callable[[Database], T], *, bulk: bool = False) -> T:
        """Make a change; it is on disk when this returns. A bulk one lets all others go first."""
        try:
            made = self._writer.do(change, bulk=bulk)
        except StoreError as error:
            self._last = time.monotonic(), error
            raise
        self._last = time.monotonic(), None
        return made

    def on_rollback(self, forget: Callable[[], None]) -> None:
        """Have ``forget`` called, on the writer's thread, whenever a change was rolled back."""
        self._writer.on_rollback(forget)

    def write_soon(self, change: Callable[[Database], object]) -> None:
        """Queue a change; nobody waits for it or learns whether it was made."""
        self._writer.submit(change)

    def trouble(self) -> StoreError | None:
        """The reason why writing fails at present; None when it works.

        It is the outcome of the last write; where that is older than `TRIED_S`, a test write is made.
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
        """The reason why the last write failed; None if it did not. No disk access."""
        return self._last[1]

    @property
    def read(self) -> Connection:
        """The calling thread's reading connection."""
        return self._readers.get()

    def close(self) -> None:
        """Finish what is queued, then stop writing."""
        self._writer.close()
