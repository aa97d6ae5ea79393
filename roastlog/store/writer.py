"""The only thread that writes. A change is a function of the database, run in one transaction."""

import logging
import queue
import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future
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
log = logging.getLogger(__name__)


class Writer:
    """Makes changes from any thread one after the other; each is on disk before its result is returned."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._changes: queue.SimpleQueue[tuple[Callable[[Database], Any], Future[Any]] | None] = queue.SimpleQueue()
        self._ready: Future[None] = Future()
        self._submitting = threading.Lock()
        self._closed = False
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)
        self._thread.start()
        self._ready.result(WAIT_S)

    def submit(self, change: Callable[[Database], T]) -> "Future[T]":
        """Queue a change; the future holds its result once it is on disk."""
        future: Future[T] = Future()
        with self._submitting:  # a change queued after the end marker would never be answered
            if self._closed:
                future.set_exception(
                    StoreError(_("The server is shutting down; the change was not made. Send it again."))
                )
            else:
                self._changes.put((change, future))
        return future

    def do(self, change: Callable[[Database], T]) -> T:
        """Make a change and wait until it is on disk."""
        try:
            return self.submit(change).result(WAIT_S)
        except TimeoutError:
            raise StoreError(
                _("The disk did not answer in time; the change may not have been made. Send it again.")
            ) from None

    def close(self) -> None:
        """Finish queued changes, then stop."""
        with self._submitting:
            if not self._closed:
                self._closed = True
                self._changes.put(None)
        self._thread.join(WAIT_S)

    def _run(self) -> None:
        db: Database | None = None
        try:
            db = open_database(self._path)
        except StoreError as error:
            self._ready.set_exception(error)
            return
        self._ready.set_result(None)
        while (job := self._changes.get()) is not None:
            change, future = job
            try:
                db = db or open_database(self._path)
                with db.atomic():
                    result = change(db)
            except sqlite3.Error as error:
                reason = _("The database cannot be written ({error}).", error=error)
                future.set_exception(StoreError(sentence(reason, error, self._path, then=NOT_KEPT)))
                if db is not None and is_lost(error):  # the next change tries a new connection: the disk may be back
                    db.close()
                    db = None
            except BaseException as error:  # noqa: BLE001 - handed to the caller, who waits on it
                future.set_exception(error)
            else:
                future.set_result(result)
        if db is not None:
            db.close()
