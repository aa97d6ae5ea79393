"""Opening the database: one file in the data folder, write-ahead log, every commit on the disk."""

import sqlite3
import threading
from pathlib import Path

from sqlite_utils import Database

from roastlog.errors import StoreError
from roastlog.store.migrations import migrations

FILE_NAME = "drumside.sqlite3"
BUSY_S = 5.0


def open_database(path: Path) -> Database:
    """Connect to the database file; the connection belongs to the calling thread.

    Raises
    ------
    StoreError
        If the file cannot be opened or is no database; nothing is overwritten.
    """
    try:
        connection = sqlite3.connect(path, timeout=BUSY_S)
        connection.row_factory = sqlite3.Row
        db = Database(connection)
        db.enable_wal()
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
    except (sqlite3.Error, OSError) as error:
        raise StoreError(
            f"The database {path} cannot be opened ({error}). It was left as it is: check the folder's permissions, "
            "or move the file aside and start again."
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


class Readers:
    """One reading connection a thread, opened when the thread first asks."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._local = threading.local()

    def get(self) -> sqlite3.Connection:
        """The calling thread's connection."""
        connection: sqlite3.Connection | None = getattr(self._local, "connection", None)
        if connection is None:
            connection = open_database(self._path).conn
            connection.execute("PRAGMA query_only = ON")
            self._local.connection = connection
        return connection
