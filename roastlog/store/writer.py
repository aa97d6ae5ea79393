"""The only thread that writes. A change is a function of the database, run in one transaction."""

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
from roastlog.languages import N_, _
from roastlog.store.database import open_database
from roastlog.store.trouble import is_lost, sentence

T = TypeVar("T")
WAIT_S: Final = 20.0
NOT_KEPT: Final = N_("Nothing of this was kept; send it again.")
_FIRST, _BULK, _END = range(3)
log = logging.getLogger(__name__)


@dataclass(frozen=True, order=True)
class _Job:
    """A change in the queue, in the order of its turn and number."""

    turn: int
    number: int
    change: Callable[[Database], Any] = field(default=lambda _: None, compare=False)
    future: Future[Any] = field(default_factory=Future, compare=False)


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
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)
        self._thread.start()
        self._ready.result(WAIT_S)

    def submit(self, change: Callable[[Database], T], *, bulk: bool = False) -> "Future[T]":
        """Queue a change; the future holds its result once it is on disk. A bulk one lets all others go first."""
        future: Future[T] = Future()
        with self._submitting:  # a change queued after the end marker would never be answered
            if self._closed:
                future.set_exception(
                    StoreError(_("The server is shutting down; the change was not made. Send it again."))
                )
            else:
                self._changes.put(_Job(_BULK if bulk else _FIRST, next(self._numbers), change, future))
        return future

    def do(self, change: Callable[[Database], T], *, bulk: bool = False) -> T:
        """Make a change and wait until it is on disk."""
        try:
            return self.submit(change, bulk=bulk).result(WAIT_S)
        except TimeoutError:
            raise StoreError(
                _("The disk did not answer in time; the change may not have been made. Send it again.")
            ) from None

    def on_rollback(self, forget: Callable[[], None]) -> None:
        """Have ``forget`` called, on the writer's thread, whenever a change was rolled back."""
        self._on_rollback.append(forget)

    def close(self) -> None:
        """Finish queued changes, then stop."""
        with self._submitting:
            if not self._closed:
                self._closed = True
                self._changes.put(_Job(_END, next(self._numbers)))
        self._thread.join(WAIT_S)

    def _run(self) -> None:
        db: Database | None = None
        try:
            db = open_database(self._path)
        except StoreError as error:
            self._ready.set_exception(error)
            return
        self._ready.set_result(None)
        while (job := self._changes.get()).turn != _END:
            change, future = job.change, job.future
            try:
                db = db or open_database(self._path)
                with db.atomic():
                    result = change(db)
            except sqlite3.Error as error:
                self._rolled_back()
                reason = _("The database cannot be written ({error}).", error=error)
                future.set_exception(StoreError(sentence(reason, error, self._path, then=NOT_KEPT)))
                if db is not None and is_lost(error):  # the next change tries a new connection: the disk may be back
                    db.close()
                    db = None
            except BaseException as error:  # noqa: BLE001 - handed to the caller, who waits on it
                self._rolled_back()
                future.set_exception(error)
            else:
                future.set_result(result)
        if db is not None:
            db.close()

    def _rolled_back(self) -> None:
        for forget in self._on_rollback:
            forget()
