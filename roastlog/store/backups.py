"""Backups: checked copies of the database, made while it is in use; old ones are deleted by a schedule.

The journal only grows. So a database with fewer entries than its newest backup has lost something and is never backed
up over it, and the schedule never deletes the backup with the most entries.

A backup is one file, ``drumside-20261126T021500Z.sqlite3`` (UTC), in the folder ``backups`` of the data folder. It gets
that name only after it was opened, checked and counted; until then it ends in ``.part``.
"""

import math
import os
import re
import shutil
import sqlite3
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from roastlog.errors import StoreError
from roastlog.languages import _
from roastlog.store.packing import whole

FILE_NAME: Final = "drumside.sqlite3"
BACKUPS: Final = "backups"
DAYS, WEEKS, BEFORE = 7, 4, 3
SPARE_BYTES: Final = 50_000_000  # a backup must not fill the disk that the recorder writes to
PAGES: Final = 256  # copied at a time, with a pause: readings and taps go first
PAUSE_S: Final = 0.02
LEFT_S: Final = 3600.0  # a ``.part`` file unchanged for so long was left by a killed program
_NAME: Final = re.compile(r"drumside-(\d{8}T\d{6})Z(?:-before-(\w+))?\.sqlite3")
_TIME: Final = "%Y%m%dT%H%M%S"


@dataclass(frozen=True)
class Backup:
    """One backup; ``before`` names the migration that it was made before."""

    path: Path
    at_ms: int
    before: str | None = None

    @property
    def when(self) -> str:
        """Local date and time at which it was made."""
        return f"{datetime.fromtimestamp(self.at_ms / 1000).astimezone():%Y-%m-%d %H:%M}"


@dataclass(frozen=True)
class Contents:
    """Contents of a database: numbers of rows, and of damaged packed half hours."""

    batches: int
    entries: int
    readings: int
    packed: int
    damaged: int = 0

    def __str__(self) -> str:
        """The counts as a phrase."""
        text = f"{self.batches} batches, {self.entries} entries, {self.packed} packed half hours of readings and"
        text += f" {self.readings} instants not packed yet"
        return text + (f"; {self.damaged} packed half hours are damaged" if self.damaged else "")


def take(source: Path, folder: Path, now_ms: int, *, before: str = "", stopping: Callable[[], bool] = bool) -> Backup:
    """Back up a database into a folder of backups, and tidy that folder.

    Parameters
    ----------
    source
        The database; it may be in use.
    folder
        Folder of backups; created if missing.
    now_ms
        Time for the name of the backup. [ms UTC]
    before
        Name of the migration that it is made before.
    stopping
        Called while copying; True aborts the backup.

    Raises
    ------
    StoreError
        If it cannot be made, fails its check, or the database has no journal or fewer entries than the newest readable
        backup. Earlier backups are then left alone.
    """
    try:
        folder.mkdir(mode=0o700, exist_ok=True)  # no parents: a data folder that was moved must not come back empty
        for left in folder.glob("drumside-*.sqlite3.part*"):
            if time.time() - left.stat().st_mtime > LEFT_S:
                left.unlink()
    except OSError as error:
        raise StoreError(_("No backup can be made in {folder} ({error}).", folder=folder, error=error)) from error
    path = free_path(folder, now_ms, before)
    copy(source, path, stopping=stopping, least=_newest_readable(folder))
    tidy(folder, now_ms)
    return next(backup for backup in listed(folder) if backup.path == path)


def free_path(folder: Path, now_ms: int, before: str = "") -> Path:
    """Path of a new backup, named after its time and the migration that it is made before. [ms UTC]"""
    while (path := folder / _name(now_ms, before)).exists():
        now_ms += 1000
    return path


def copy(
    source: Path | sqlite3.Connection,
    target: Path,
    *,
    stopping: Callable[[], bool] = bool,
    least: tuple[Path, int] | None = None,
    spare_bytes: int | None = None,
) -> Contents:
    """Copy a database that may be in use to a new file, and check the copy; on StoreError no file is left.

    Parameters
    ----------
    source
        The database; a connection reads it although its file was removed.
    target
        The new file.
    stopping
        Called while copying; True aborts the copy.
    least
        A backup and the number of its entries; a database that has fewer is refused.
    spare_bytes
        Room that must be left on the disk; `SPARE_BYTES` by default.
    """
    part = target.with_name(target.name + ".part")
    try:
        if target.exists():
            raise StoreError(_("{target} already exists, and a backup overwrites nothing.", target=target))
        with _opened(source) as original:
            size = math.prod(original.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size"))
            if shutil.disk_usage(target.parent).free < size + (SPARE_BYTES if spare_bytes is None else spare_bytes):
                raise StoreError(
                    _(
                        "Not enough space on the disk of {parent} for a backup of {size:.0f} MB.",
                        parent=target.parent,
                        size=size / 1000000.0,
                    )
                )
            counted = _copy_pages(original, part, stopping, least)
        found = check(part)
        if asdict(found) | {"damaged": 0} != asdict(counted):
            raise StoreError(
                _(
                    "The copy {part} differs from its original: {found} instead of {counted}.",
                    part=part,
                    found=found,
                    counted=counted,
                )
            )
        _sync(part)
        part.rename(target)
        _sync(target.parent)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(_("The backup to {target} failed ({error}).", target=target, error=error)) from error
    finally:
        part.unlink(missing_ok=True)
    return found


def check(path: Path) -> Contents:
    """Open a backup, check its structure and the checksums of all packed readings, and count its rows.

    Raises
    ------
    StoreError
        If it cannot be opened, or its structure is damaged.
    """
    try:
        with closing(_connect(path, "ro")) as connection:
            said = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
            if said != "ok":
                raise StoreError(_("The database {path} is damaged ({said}).", path=path, said=said))
            return _count(connection, blobs=True)
    except sqlite3.Error as error:
        raise StoreError(_("The database {path} cannot be read ({error}).", path=path, error=error)) from error


def listed(folder: Path) -> list[Backup]:
    """The backups in a folder, newest first."""
    found = []
    for path in folder.glob("drumside-*.sqlite3"):
        name = _NAME.fullmatch(path.name)
        if name is not None:
            at = datetime.strptime(name[1], _TIME).replace(tzinfo=UTC)
            found.append(Backup(path, round(at.timestamp() * 1000), name[2]))
    return sorted(found, key=lambda backup: (backup.at_ms, backup.path), reverse=True)


def newest(folder: Path, until_ms: float = math.inf) -> Backup | None:
    """The newest backup in a folder, up to a time; None if there is none. [ms UTC]"""
    return next((backup for backup in listed(folder) if backup.at_ms <= until_ms), None)


def tidy(folder: Path, now_ms: int) -> None:
    """Delete all backups but those of the last days and weeks, and those before the last migrations.

    The one with the most entries stays, and so does each one whose successor has fewer. Those from before the clock
    was set back lie ahead of now and count on their own, so that they do not take the place of new ones. [ms UTC]
    """
    there = listed(folder)
    plain = [backup for backup in there if backup.before is None]
    kept = {backup.path for backup in [backup for backup in there if backup.before][:BEFORE]}
    for backups in ([one for one in plain if (one.at_ms > now_ms) is ahead] for ahead in (False, True)):
        kept |= _newest_of_each(backups, "%Y-%m-%d", DAYS) | _newest_of_each(backups, "%G-%V", WEEKS)
    entries = [_entries(backup.path) for backup in there]
    kept |= {older.path for older, count, later in zip(there[1:], entries[1:], entries, strict=False) if later < count}
    kept |= {max(zip(entries, there, strict=True), key=lambda one: one[0])[1].path} if there else set()
    for backup in there:
        if backup.path not in kept:
            backup.path.unlink(missing_ok=True)


def restore(backup: Path, folder: Path) -> Contents:
    """Restore a backup into a new or empty data folder, and check it there.

    Raises
    ------
    StoreError
        If the backup is damaged or the folder is not empty.
    """
    check(backup)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise StoreError(
                _(
                    "{folder} is not empty. A backup is restored only into a new folder; choose another.",
                    folder=folder,
                )
            )
    except OSError as error:
        raise StoreError(_("The folder {folder} cannot be created ({error}).", folder=folder, error=error)) from error
    return copy(backup, folder / FILE_NAME)


def _newest_of_each(backups: Iterable[Backup], span: str, most: int) -> set[Path]:
    """The newest backup of each of the last ``most`` spans of local time that have one."""
    kept: dict[str, Path] = {}
    for backup in backups:
        kept.setdefault(f"{datetime.fromtimestamp(backup.at_ms / 1000).astimezone():{span}}", backup.path)
    return set(list(kept.values())[:most])


def _newest_readable(folder: Path) -> tuple[Path, int] | None:
    """The newest backup in a folder that has a journal, and the number of its entries."""
    counted = ((backup.path, _entries(backup.path)) for backup in listed(folder))
    return next((one for one in counted if one[1] >= 0), None)


def _entries(path: Path) -> int:
    """Number of entries in a backup; -1 if it cannot be read or has no journal."""
    try:
        with closing(_connect(path, "ro")) as connection:
            return _count(connection, blobs=False).entries if _has_journal(connection) else -1
    except sqlite3.Error:
        return -1


def _has_journal(connection: sqlite3.Connection) -> bool:
    sql = "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'entries'"
    return connection.execute(sql).fetchone() is not None


def _check_source(connection: sqlite3.Connection, entries: int, least: tuple[Path, int] | None) -> None:
    """Refuse a database that has lost its journal, or a part of it."""
    source = connection.execute("SELECT file FROM pragma_database_list WHERE name = 'main'").fetchone()[0]
    if not _has_journal(connection):
        raise StoreError(
            _(
                "The database {path} has no journal, so it is not backed up. Earlier backups stay; restore "
                "one into a new folder with: python app.py restore",
                path=source,
            )
        )
    if least is not None and entries < least[1]:
        raise StoreError(
            _(
                "The database {path} has {entries} entries, fewer than the {more} of the backup {backup}. A "
                "journal only grows, so something was lost: no backup is made, and earlier ones stay. "
                "Restore that one into a new folder with: python app.py restore. To go on with fewer, move "
                "the backups elsewhere.",
                path=source,
                entries=entries,
                more=least[1],
                backup=least[0].name,
            )
        )


@contextmanager
def _opened(source: Path | sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """A connection to a database, at one moment of it: later writes do not show, however long the copy takes."""
    connection = source if isinstance(source, sqlite3.Connection) else _connect(source, "rw")
    try:
        connection.execute("BEGIN")
        yield connection
        connection.rollback()
    finally:
        if connection is not source:
            connection.close()


def _copy_pages(
    original: sqlite3.Connection, part: Path, stopping: Callable[[], bool], least: tuple[Path, int] | None
) -> Contents:
    part.unlink(missing_ok=True)
    part.touch(mode=0o600)

    def progress(*_pages: int) -> None:
        if stopping():
            raise StoreError(_("Backup cancelled: the server is shutting down."))

    with closing(sqlite3.connect(part)) as made:
        counted = _count(original, blobs=False)
        _check_source(original, counted.entries, least)
        original.backup(made, pages=PAGES, sleep=PAUSE_S, progress=progress)
        made.execute("PRAGMA journal_mode = DELETE")  # a single file, readable on a read-only disk
    return counted


def _count(connection: sqlite3.Connection, *, blobs: bool) -> Contents:
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    counts = {
        name: connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] if table in tables else 0  # noqa: S608
        for name, table in (("batches",) * 2, ("entries",) * 2, ("readings",) * 2, ("packed", "sealed"))
    }
    damaged = 0
    if blobs and "sealed" in tables:
        damaged = sum(_is_damaged(row[0]) for row in connection.execute("SELECT data FROM sealed"))
    return Contents(**counts, damaged=damaged)


def _is_damaged(blob: bytes) -> bool:
    try:
        whole(blob)
    except StoreError:
        return True
    return False


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode={mode}", uri=True, timeout=5.0)


def _name(now_ms: int, before: str) -> str:
    at = datetime.fromtimestamp(now_ms // 1000, tz=UTC)
    return f"drumside-{at:{_TIME}}Z{f'-before-{before}' if before else ''}.sqlite3"


def _sync(path: Path) -> None:
    if sys.platform == "win32":
        return  # Windows cannot open a folder, and its rename is safe enough
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
