"""Opening the database: one file in the data folder, with a write-ahead log, synced to disk on each commit."""

import logging
import sqlite3
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, cast

from sqlite_utils import Database

from roastlog.errors import StoreError
from roastlog.languages import _
from roastlog.private import tighten
from roastlog.store import projections
from roastlog.store.backups import BACKUPS, FILE_NAME, newest, take
from roastlog.store.ground import LOCK, logs
from roastlog.store.migrations import migrations
from roastlog.store.notes import note
from roastlog.store.projections import Made
from roastlog.store.trouble import is_damage, is_lost, offer, sentence

BUSY_S = 5.0
OTHER_ROOMS = {"lan", "running"}  # keys of the secure page, which that closes itself; a file of earlier versions
REMADE = "lists_remade_ms"  # name of a note
READ_CACHE_KB = 256  # small: each thread has its own reading connection, and the system caches the file's pages too
log = logging.getLogger(__name__)


def open_database(path: Path, kind: type[sqlite3.Connection] = sqlite3.Connection, *, make: bool = False) -> Database:
    """Connect to the database file; the connection belongs to the calling thread.

    A missing file is created only with ``make``: an empty database must not replace one that has gone.

    Raises
    ------
    StoreError
        If the file cannot be opened or is not a database; nothing is overwritten.
    """
    try:
        url = f"{path.absolute().as_uri()}?mode={'rwc' if make else 'rw'}"
        connection = sqlite3.connect(url, uri=True, timeout=BUSY_S, factory=kind)
        connection.row_factory = sqlite3.Row
        db = Database(connection)
        db.enable_wal()
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
    except (sqlite3.Error, StoreError, OSError) as error:
        reason = _("The database cannot be opened ({error}); it was not changed.", error=error.__cause__ or error)
        raise StoreError(sentence(reason, error, path)) from error
    return db


def migrate(path: Path) -> None:
    """Create the folder and update the schema, after a backup where there is something to lose.

    Raises
    ------
    StoreError
        If that fails. A damaged file has then been renamed.
    """
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"The data folder {path.parent} cannot be made ({error}).") from error
    _refuse_empty_replacement(path)
    with suppress(OSError):  # the opening says why it cannot be made
        path.touch(mode=0o600)  # SQLite gives its log and its index the rights of the file
    try:
        with closing(open_database(path, make=True)) as db:
            _close_to_others(path.parent)
            _back_up_before_a_change(db, path)
            migrations.apply(db)
            _mend_projections(db)
    except (sqlite3.Error, StoreError) as error:
        if is_damage(error):
            _set_aside(path, error)
        if isinstance(error, StoreError):
            raise
        raise StoreError(sentence(f"The database cannot be brought up to date ({error}).", error, path)) from error


def rebuild(folder: Path) -> Made:
    """Rebuild all projections from the journal, and count their rows.

    Raises
    ------
    StoreError
        If there is no database, or a server is running on it.
    """
    path = folder / FILE_NAME
    if not path.is_file():
        raise StoreError(f"There is no database in {folder}; name the data folder with --data.")
    if _in_use(folder):
        raise StoreError(f"A server is running on {folder}, and it reads those lists. Stop it first.")
    migrate(path)
    with closing(open_database(path)) as db, db.atomic():
        return projections.rebuild(db)


def _refuse_empty_replacement(path: Path) -> None:
    """Refuse to create an empty database where there was one: it would give out the same codes again."""
    if path.exists() and path.stat().st_size:
        return
    aside = sorted(path.parent.glob(f"{FILE_NAME}.damaged-*Z"))
    if aside or newest(path.parent / BACKUPS):
        was = f"it was damaged and set aside as {aside[-1].name}" if aside else "only backups of it are"
        raise StoreError(
            f"There is no database in {path.parent} any more: {was}. {offer(path.parent)}\n"
            "To begin with an empty one, name another folder."
        )
    left = logs(path)[0]
    if left.exists() and left.stat().st_size:
        raise StoreError(
            f"There is no database in {path.parent} any more, but its log {left.name}. Put {path.name} back beside it. "
            "To begin with an empty one, name another folder."
        )


def _close_to_others(folder: Path) -> None:
    """Let only the owner open what is ours: the files, and the folder if nothing else is in it."""
    backups = folder / BACKUPS
    own = [
        *folder.glob(f"{FILE_NAME}*"),
        *folder.glob(LOCK),
        *folder.glob(BACKUPS),
        *backups.glob("drumside-*.sqlite3*"),
    ]
    if not {found.name for found in folder.iterdir()} - {found.name for found in own} - OTHER_ROOMS:
        own.append(folder)
    for path in own:
        with suppress(OSError):
            if tighten(path):
                log.warning("Other users of this computer could open %s; now only its owner can", path)


def _back_up_before_a_change(db: Database, path: Path) -> None:
    pending = migrations.pending(db)
    if pending and db.table("entries").exists():
        backup = take(path, path.parent / BACKUPS, round(time.time() * 1000), before=pending[0].name)
        log.info("Before the change %s of the database a backup was made: %s", pending[0].name, backup.path)


def _mend_projections(db: Database) -> None:
    """Rebuild projections that do not match the journal, and leave a note for the page Today."""
    wrong = projections.mend(db)
    if wrong is not None:
        log.warning("The lists did not fit the journal: %s. They were made anew from it", wrong)
        with db.atomic():
            note(db, {REMADE: round(time.time() * 1000)})


def _set_aside(path: Path, error: Exception) -> None:
    """Rename a damaged database and its log files, so that nothing is written to it again."""
    if _in_use(path.parent):
        raise StoreError(
            f"The database {path} is damaged ({error.__cause__ or error}); a server that runs has it still open. "
            f"{offer(path.parent)}"
        ) from error
    name = f"{FILE_NAME}.damaged-{datetime.now(UTC):%Y%m%dT%H%M%SZ}"
    try:
        for part in (*logs(path), path):
            if part.exists():
                part.rename(path.with_name(part.name.replace(path.name, name)))
    except OSError as refused:
        reason = f"The database {path} is damaged ({error.__cause__ or error}), and cannot be renamed ({refused})."
        raise StoreError(f"{reason} {offer(path.parent)}") from error
    raise StoreError(
        f"The database {path} is damaged ({error.__cause__ or error}). "
        f"It was set aside as {name}; not a byte of it was changed. {offer(path.parent)}"
    ) from error


def _in_use(folder: Path) -> bool:
    """Whether a server is running on the folder: it holds the file `lock`."""
    if sys.platform == "win32":
        return False  # Windows itself refuses to rename a file in use
    import fcntl  # noqa: PLC0415 - missing on Windows

    with (folder / LOCK).open("a", encoding="ascii") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return True
    return False


@contextmanager
def _as_store_error(connection: "_ReadOnly") -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        connection.lost = connection.lost or is_lost(error)
        reason = _("The database cannot be read ({error}).", error=error)
        raise StoreError(sentence(reason, error, connection.path)) from error


class _Rows(sqlite3.Cursor):
    """A cursor whose failures while fetching are StoreErrors too."""

    connection: "_ReadOnly"

    def fetchone(self) -> Any:  # noqa: ANN401 - as its base
        with _as_store_error(self.connection):
            return super().fetchone()

    def fetchall(self) -> list[Any]:
        with _as_store_error(self.connection):
            return super().fetchall()

    def __next__(self) -> Any:  # noqa: ANN401 - as its base
        with _as_store_error(self.connection):
            return super().__next__()


class _ReadOnly(sqlite3.Connection):
    """A reading connection whose failures are StoreErrors."""

    path = Path()
    lost = False  # it failed in a way that a new connection may not

    def cursor(self, factory: Any = _Rows) -> Any:  # noqa: ANN401 - as its base
        return super().cursor(factory)

    def execute(self, *arguments: Any) -> sqlite3.Cursor:  # noqa: ANN401 - as its base
        with _as_store_error(self):
            return super().execute(*arguments)


class Readers:
    """One reading connection per thread, opened on first use and again after its disk was away.

    ``check`` raises StoreError where another file is at the path now: that one must not be opened beside the writer's.
    """

    def __init__(self, path: Path, check: Callable[[], None]) -> None:
        self._path, self._check = path, check
        self._local = threading.local()

    def get(self) -> sqlite3.Connection:
        """The calling thread's connection; it raises StoreError where it cannot read."""
        connection: _ReadOnly | None = getattr(self._local, "connection", None)
        if connection is not None and connection.lost:
            self._local.connection = None
            connection.close()
            connection = None
        if connection is None:
            self._check()
            connection = cast("_ReadOnly", open_database(self._path, _ReadOnly).conn)
            connection.path = self._path
            connection.execute("PRAGMA query_only = ON")
            connection.execute(f"PRAGMA cache_size = -{READ_CACHE_KB}")
            self._local.connection = connection
        return connection
