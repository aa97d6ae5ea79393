"""Database errors as sentences that say what to do."""

import shlex
import sqlite3
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from roastlog.languages import N_, _, joined
from roastlog.store.backups import BACKUPS, newest

_WORDS: Final = {
    sqlite3.SQLITE_FULL: N_("Free some space on its disk."),
    sqlite3.SQLITE_READONLY: N_("Allow Drumside to write into its data folder again."),
    sqlite3.SQLITE_PERM: N_("Allow Drumside to write into its data folder again."),
    sqlite3.SQLITE_CANTOPEN: N_("Check that the data folder is still there and that Drumside may write into it."),
    sqlite3.SQLITE_BUSY: N_("Close the other program that locks it."),
    sqlite3.SQLITE_LOCKED: N_("Close the other program that locks it."),
    sqlite3.SQLITE_IOERR: N_("Check its disk: it gives errors, or was removed."),
}
_DAMAGE: Final = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_LOST: Final = _DAMAGE | {sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY}


def is_damage(error: BaseException) -> bool:
    """Whether the file itself is damaged or not a database."""
    return any(code in _DAMAGE for code in _codes(error))


def is_lost(error: BaseException) -> bool:
    """Whether the connection is unusable; a new one may work once the disk is back."""
    return any(code in _LOST for code in _codes(error))


def sentence(reason: str, error: BaseException, path: Path, *, then: str = "") -> str:
    """An error of the database at ``path`` in words: the reason, the remedy, the consequence.

    The first line may be shown to anyone. Folders and commands follow it, for people with access only.
    """
    words = [_WORDS[code] for code in _codes(error) if code in _WORDS][:1]
    inside = _("The database is {path}.", path=path) if words else ""
    if is_damage(error):
        words, inside = [_("The file is damaged.")], offer(path.parent)
    first = joined(" ", filter(None, [reason, *words, then]))
    return joined("\n", [first, inside]) if inside else first


def offer(folder: Path) -> str:
    """The newest backup of a data folder, and the command that restores it."""
    backup = newest(folder / BACKUPS)
    if backup is None:
        return _("There is no backup of it in {backups}.", backups=folder / BACKUPS)
    program = ["python", "app.py"] if Path(sys.argv[0]).name == "app.py" else ["drumside"]
    new = next(name for n in range(1, 10_000) if not (name := Path(f"{folder}-restored-{n}")).exists())
    command = shlex.join([*program, "restore", str(backup.path), "--data", str(new)])
    return _(
        "The newest good backup is from {when}. Restore it into a new folder: {command}",
        when=backup.when,
        command=command,
    )


def _codes(error: BaseException) -> Iterator[int]:
    """Primary SQLite result codes of an error and of its causes."""
    cause: BaseException | None = error
    while cause is not None:
        code = getattr(cause, "sqlite_errorcode", None)
        if code is not None:
            yield code & 0xFF
        cause = cause.__cause__ or cause.__context__
