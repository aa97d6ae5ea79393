"""Opening the database: one file in the data folder, write-ahead log, every commit on the disk."""

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from roastlog.errors import StoreError
from roastlog.store.migrations import migrations

FILE_NAME = "drumside.sqlite3"
BUSY_S = 5.0


def open_database(path: Path, kind: type[sqlite3.Connection] = sqlite3.Connection) -> Database:
    """Connect to the database file; the connection belongs to the calling thread.

    Raises
    ------
    StoreError
        If the file cannot be opened or is no database; nothing is overwritten.
    """
    try:
        connection = sqlite3.connect(path, timeout=BUSY_S, factory=kind)
        connection.row_factory = sqlite3.Row
        db = Database(connection)
        db.enable_wal()
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
    except (sqlite3.Error, StoreError, OSError) as error:
        raise StoreError(
            f"The database {path} cannot be opened ({error.__cause__ or error}). It was left as it is: check the "
            "folder's permissions, or move the file aside and start again."
        ) from error
    return db


def migrate(path: Path) -> None:
    """Make the folder and bring the schema up to date."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"The data folder {path.parent} cannot be made ({error}).") from error
    db = open_database(path)
    try:
        migrations.apply(db)
    except sqlite3.Error as error:
        raise StoreError(f"The database {path} cannot be brought up to date ({error}).") from error
    finally:
        db.close()


@contextmanager
def _in_words() -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        raise StoreError(f"The database cannot be read ({error}).") from error


class _Rows(sqlite3.Cursor):
    """Rows that may turn out to be unreadable as late as when they are fetched."""

    def fetchone(self) -> Any:  # noqa: ANN401 - as its base
        with _in_words():
            return super().fetchone()

    def fetchall(self) -> list[Any]:
        with _in_words():
            return super().fetchall()

    def __next__(self) -> Any:  # noqa: ANN401 - as its base
        with _in_words():
            return super().__next__()


class _ReadOnly(sqlite3.Connection):
    """A connection for reading, whose failures are StoreErrors."""

    def cursor(self, factory: Any = _Rows) -> Any:  # noqa: ANN401 - as its base
        return super().cursor(factory)

    def execute(self, *arguments: Any) -> sqlite3.Cursor:  # noqa: ANN401 - as its base
        with _in_words():
            return super().execute(*arguments)


class Readers:
    """One reading connection a thread, opened when the thread first asks."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._local = threading.local()

    def get(self) -> sqlite3.Connection:
        """The calling thread's connection; what it cannot read it tells by StoreError."""
        connection: sqlite3.Connection | None = getattr(self._local, "connection", None)
        if connection is None:
            connection = open_database(self._path, _ReadOnly).conn
            connection.execute("PRAGMA query_only = ON")
            self._local.connection = connection
        return connection
