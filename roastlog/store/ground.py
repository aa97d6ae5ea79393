"""The files of the open database, and whether their paths still lead to them.

A file that was removed or replaced while it is open still takes all that is written to it, but no start finds it again.
So nothing is acknowledged while a path leads elsewhere.
"""

import logging
import sqlite3
import time
from pathlib import Path
from typing import Final

from roastlog.errors import StoreError
from roastlog.languages import N_, _, joined
from roastlog.store.backups import BACKUPS, copy, free_path

LOCK: Final = "lock"
GONE_S: Final = 5.0  # a file that was moved by mistake may be moved back
NOT_KEPT: Final = N_("Nothing was saved; send it again.")
FOLDER_LOST: Final = N_("The data folder was moved or removed. Put it back: recording then continues.")
MAY_BE_KEPT: Final = N_("This may not be saved; send it again.")
log = logging.getLogger(__name__)


class Ground:
    """The files of a database as they are now that it is open: itself, its logs, and the lock of its folder."""

    def __init__(self, database: Path) -> None:
        self.database = database
        self._folder = _identity(database.parent)
        paths = (database, *logs(database), database.with_name(LOCK))
        self._files = {path: made for path in paths if (made := _identity(path)) is not None}
        self._lost_s: float | None = None

    @property
    def lost(self) -> Path | None:
        """The first file whose path no longer leads to it; None if all paths do."""
        return next((path for path in self._files if not self.holds(path)), None)

    def holds(self, path: Path) -> bool:
        """Whether a path still leads to the file that is open."""
        return _identity(path) == self._files.get(path)

    @property
    def has_its_folder(self) -> bool:
        """Whether the path of the data folder still leads to it."""
        return _identity(self.database.parent) == self._folder

    def forget_logs(self) -> None:
        """Expect the logs no longer: the connection that used them was closed, which may remove them."""
        for path in logs(self.database):
            self._files.pop(path, None)

    def check(self, then: str = "") -> None:
        """Raise StoreError if a file is lost; ``then`` says what follows for the caller."""
        lost = self.lost
        if lost is None:
            return
        if self.has_its_folder:
            said = _(
                "The file {name} was removed or replaced while Drumside uses it. Put it back within "
                "{gone:.0f} s, else Drumside saves all it can and stops.",
                name=lost.name,
                gone=GONE_S,
            )
        else:
            said = _(FOLDER_LOST)
        where = _("The database is {path}.", path=self.database)
        raise StoreError(joined("\n", [joined(" ", filter(None, [said, then])), where]))

    def is_gone(self) -> bool:
        """Whether waiting is no use, to be asked often.

        A lost folder is waited for, since a start would make a new one. Else a start finds a database, or what
        `rescue` brings to its place.
        """
        if self.lost is None:
            self._lost_s = None
        elif self._lost_s is None:
            self._lost_s = time.monotonic()
        waited = self._lost_s is not None and time.monotonic() - self._lost_s > GONE_S
        return waited and (self.has_its_folder or self.database.exists())


def logs(database: Path) -> list[Path]:
    """Paths of the log of a database, and of its index."""
    return [database.with_name(database.name + end) for end in ("-wal", "-shm")]


def rescue(connection: sqlite3.Connection, ground: Ground) -> Path:
    """Bring the content of the open database to where a start finds it; returns the file.

    If the database is in its place, its log is written into it. If the place is empty, a checked copy goes there; if
    another file is there, the copy goes to the backups.

    Raises
    ------
    StoreError, sqlite3.Error, OSError
        If that fails.
    """
    database = ground.database
    if not ground.has_its_folder:
        raise StoreError(_(FOLDER_LOST))
    unfinished = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    if ground.holds(database) and not unfinished:
        return database
    target = database
    if database.exists():
        (database.parent / BACKUPS).mkdir(mode=0o700, exist_ok=True)
        target = free_path(database.parent / BACKUPS, round(time.time() * 1000))
    else:
        for left in logs(database):  # those of the lost file must not be taken for the copy's
            if ground.holds(left):
                left.unlink()
    copy(connection, target, spare_bytes=0)
    return target


def _identity(path: Path) -> tuple[int, int] | None:
    """Device and number of the file that a path leads to; None if it leads to none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
