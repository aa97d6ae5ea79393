"""The store: where the data folder is, the writer, and the readers."""

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from sqlite_utils import Database

from roastlog.store.database import FILE_NAME, Readers, migrate
from roastlog.store.writer import Writer

__all__ = ["Database", "Store"]
T = TypeVar("T")


class Store:
    """One data folder. The schema is brought up to date when it is opened."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE_NAME
        migrate(self.path)
        self._writer = Writer(self.path)
        self._readers = Readers(self.path)

    def write(self, change: Callable[[Database], T]) -> T:
        """Make a change; it is on the disk when this returns."""
        return self._writer.do(change)

    @property
    def read(self) -> sqlite3.Connection:
        """The calling thread's reading connection."""
        return self._readers.get()

    def close(self) -> None:
        """Finish what is queued, then stop writing."""
        self._writer.close()
