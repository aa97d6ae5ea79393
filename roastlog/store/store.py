"""The store: the data folder with its writer and its readers."""

import logging
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from sqlite3 import Connection
from typing import Final, TypeVar

from sqlite_utils import Database

from roastlog.errors import StoreError
from roastlog.store.backups import FILE_NAME
from roastlog.store.database import Readers, migrate
from roastlog.store.journal import TakenBack, newest_subject, try_entry
from roastlog.store.notes import note
from roastlog.store.trouble import is_damage
from roastlog.store.writer import Writer

__all__ = ["Connection", "Database", "Store"]
log = logging.getLogger(__name__)
T = TypeVar("T")
TRIED_S: Final = 1.0  # anyone may ask for the server's health, so a note is written at most this often


class Store:
    """One data folder. Opening it updates the schema."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE_NAME
        migrate(self.path)
        self._writer = Writer(self.path)
        self._readers = Readers(self.path, self.check_ground)
        self._trying = threading.Lock()
        self._tried_s = -TRIED_S
        self._last: StoreError | None = None
        self._failed_s = -TRIED_S
        self._lost: StoreError | None = None
        self.damage: StoreError | None = None
        """The first error of a write that showed damage. It stays: a damaged file does not heal."""

    def write(self, change: Callable[[Database], T], *, bulk: bool = False) -> T:
        """Make a change; it is on disk when this returns. A bulk one lets all others go first."""
        try:
            made = self._do(change, bulk=bulk)
        except StoreError as error:
            self._last, self._failed_s = error, time.monotonic()
            raise
        self._last = None
        return made

    def on_rollback(self, forget: Callable[[], None]) -> None:
        """Have ``forget`` called, on the writer's thread, whenever a change was rolled back."""
        self._writer.on_rollback(forget)

    def write_soon(self, change: Callable[[Database], object]) -> None:
        """Queue a change; nobody waits for it or learns whether it was made."""
        self._writer.submit(change)

    def trouble(self) -> StoreError | None:
        """The reason why an entry or readings would be refused at present; None when both would be stored.

        Each time the paths of the files are compared, and an entry is tried and taken back, which writes nothing:
        damage may refuse entries while readings are stored. Where no write has just failed, a note is written too, at
        most every `TRIED_S`, since the disk may be full.
        """
        with self._trying:
            now_s = time.monotonic()
            just_failed = self._last is not None and now_s - self._failed_s < TRIED_S
            try:
                self.check_ground()
                newest_subject(self.read)
                with suppress(TakenBack):
                    self._do(try_entry)
                if now_s - self._tried_s >= TRIED_S and not just_failed:
                    self._tried_s = now_s
                    self.write(lambda db: note(db, {"last_tried": time.time()}))
            except StoreError as error:
                return error
            return self.damage or self._last

    @property
    def failing(self) -> StoreError | None:
        """The reason why the last write failed, or a file is lost; None otherwise. No disk access."""
        return self._lost or self._last

    def check_ground(self) -> None:
        """Raise StoreError if the path of a file of the database leads elsewhere."""
        self._writer.ground.check()

    def cannot_go_on(self) -> bool:
        """Whether a file of the database is gone for good, to be asked often; a loss and its end are logged."""
        try:
            self.check_ground()
        except StoreError as error:
            if self._lost is None:
                log.error("Nothing is recorded: %s", error)  # noqa: TRY400 - the sentence says it all
            self._lost = error
        else:
            if self._lost is not None:
                log.warning("The files of the database are back at their places; recording continues")
            self._lost = None
        return self._writer.ground.is_gone()

    def before_the_end(self) -> None:
        """See `Writer.before_the_end`."""
        self._writer.before_the_end()

    @property
    def read(self) -> Connection:
        """The calling thread's reading connection."""
        return self._readers.get()

    def close(self) -> None:
        """Finish what is queued, then stop writing."""
        self._writer.close()

    def _do(self, change: Callable[[Database], T], *, bulk: bool = False) -> T:
        try:
            return self._writer.do(change, bulk=bulk)
        except StoreError as error:
            if is_damage(error):
                self.damage = self.damage or error
            raise
