"""The only thread that writes. A change is a function of the database, run in one transaction.

Before a change and after its commit, the paths of the files are compared with the open files: what is acknowledged is
in a file that a start finds.
"""

import logging
import queue
import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Any, Final, TypeVar

from sqlite_utils import Database

from roastlog.errors import StoreError
from roastlog.languages import _
from roastlog.store.database import open_database
from roastlog.store.ground import MAY_BE_KEPT, NOT_KEPT, Ground, rescue
from roastlog.store.journal import TakenBack
from roastlog.store.trouble import is_lost, sentence

T = TypeVar("T")
WAIT_S: Final = 20.0
_FIRST, _BULK, _END = range(3)
log = logging.getLogger(__name__)


@dataclass(frozen=True, order=True)
class _Job:
    """A change in the queue, in the order of its turn and number."""

    turn: int
    number: int
    change: Callable[[Database], Any] = field(default=lambda _: None, compare=False)
    future: Future[Any] = field(default_factory=Future, compare=False)
    rescues: bool = field(default=False, kw_only=True, compare=False)


class Writer:
    """Makes changes from any thread one after the other; each is on disk before its result is returned."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._changes = queue.PriorityQueue[_Job]()
        self._numbers = count()
        self._ready: Future[None] = Future()
        self._submitting = threading.Lock()
        self._closed = False
        self._on_rollback: list[Callable[[], None]] = []
        self._last_writer: int | None = None
        self.ground = Ground(path)
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)
        self._thread.start()
        self._ready.result(WAIT_S)

    def submit(self, change: Callable[[Database], T], *, bulk: bool = False) -> "Future[T]":
        """Queue a change; the future holds its result once it is on disk. A bulk one lets all others go first."""
        future: Future[T] = Future()
        with self._submitting:  # a change queued after the end marker would never be answered
            if self._closed or self._last_writer not in {None, threading.get_ident()}:
                future.set_exception(
                    StoreError(_("The server is shutting down; the change was not saved. Send it again."))
                )
            else:
                rescues = self._last_writer is not None
                turn = _BULK if bulk else _FIRST
                self._changes.put(_Job(turn, next(self._numbers), change, future, rescues=rescues))
        return future

    def do(self, change: Callable[[Database], T], *, bulk: bool = False) -> T:
        """Make a change and wait until it is on disk."""
        try:
            return self.submit(change, bulk=bulk).result(WAIT_S)
        except TimeoutError:
            raise StoreError(
                _("The disk did not answer in time; the change may not be saved. Send it again.")
            ) from None

    def on_rollback(self, forget: Callable[[], None]) -> None:
        """Have ``forget`` called, on the writer's thread, whenever a change was rolled back."""
        self._on_rollback.append(forget)

    def before_the_end(self) -> None:
        """Where a file is lost, take changes of this thread alone from now on, so that the last readings are rescued.

        They go into the open files, since no one relies on them before `close` has brought those to their place.
        """
        with self._submitting:
            if self.ground.lost is not None:
                self._last_writer = threading.get_ident()

    def close(self) -> None:
        """Finish queued changes, then stop. Where a file is lost, bring what is in the open ones to its place."""
        with self._submitting:
            if not self._closed:
                self._closed = True
                self._changes.put(_Job(_END, next(self._numbers)))
        self._thread.join(WAIT_S if self._last_writer is None else None)  # saving a large database takes longer

    def _run(self) -> None:
        db: Database | None = None
        try:
            db = self._open()
        except StoreError as error:
            self._ready.set_exception(error)
            return
        self._ready.set_result(None)
        while (job := self._changes.get()).turn != _END:
            change, future = job.change, job.future
            try:
                if not job.rescues:
                    self.ground.check(_(NOT_KEPT))
                db = db or self._open()
                result = self._make(db, change, rescues=job.rescues)
            except sqlite3.Error as error:
                self._rolled_back(error)
                if db is not None and is_lost(error):  # the next change tries a new connection: the disk may be back
                    self.ground.forget_logs()  # first, since closing removes them: no reader may find them lost
                    db.close()
                    db = None
                reason = _("The database cannot be written ({error}).", error=error)
                future.set_exception(StoreError(sentence(reason, error, self._path, then=NOT_KEPT)))
            except BaseException as error:  # noqa: BLE001 - handed to the caller, who waits on it
                self._rolled_back(error)
                future.set_exception(error)
            else:
                future.set_result(result)
        if db is not None:
            if self.ground.lost is not None:
                self._rescue(db)
            db.close()

    def _rolled_back(self, error: BaseException) -> None:
        for forget in () if isinstance(error, TakenBack) else self._on_rollback:
            forget()

    def _make(self, db: Database, change: Callable[[Database], T], *, rescues: bool) -> T:
        with db.atomic():
            result = change(db)
        if not rescues:
            self.ground.check(_(MAY_BE_KEPT))
        return result

    def _open(self) -> Database:
        db = open_database(self._path)
        db.conn.execute("SELECT name FROM sqlite_master LIMIT 1").fetchone()  # opens the log too
        self.ground = Ground(self._path)
        return db

    def _rescue(self, db: Database) -> None:
        try:
            path = rescue(db.conn, self.ground)
        except (StoreError, sqlite3.Error, OSError) as error:
            log.error(  # noqa: TRY400 - the sentence says it all
                "%s was lost, and what was recorded last could not be saved: %s", self.ground.lost, error
            )
        else:
            log.warning("%s was lost; all that was recorded is saved in %s", self.ground.lost, path)
