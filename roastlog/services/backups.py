"""Backups: making and restoring them, and the status of the storage."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from roastlog.clock import Clock, wall_ms
from roastlog.errors import StoreError
from roastlog.languages import N_, _
from roastlog.store import backups, database
from roastlog.store.backups import BACKUPS, FILE_NAME
from roastlog.store.database import REMADE
from roastlog.store.ground import NOT_KEPT
from roastlog.store.notes import noted
from roastlog.store.store import Store
from roastlog.upkeep.maintenance import Maintenance

WAITS: Final = N_("Readings stay in memory until the disk accepts them again.")
REMADE_TOLD_MS: Final = 24 * 3_600_000
OLD_S: Final = 48 * 3600.0  # a nightly backup is at most a day old; after two days, one was missed


@dataclass(frozen=True)
class StorageStatus:
    """The status of disk and backups, for a person.

    Attributes
    ----------
    age_s : float or None
        Age of the newest good backup; None without one. [s]
    well : bool
        Whether all is well.
    said : str
        The problems as sentences; empty if all is well.
    """

    age_s: float | None
    well: bool
    said: str = ""

    @property
    def tick(self) -> str:
        """Age of the newest good backup, in words."""
        if self.age_s is None:
            return _("No backup yet; the first is made soon after the start.")
        hours = self.age_s / 3600
        age = (
            f"{self.age_s / 60:.0f} min"
            if hours < 1
            else f"{hours:.0f} h"
            if hours < 48
            else _("{days:.0f} days", days=hours / 24)
        )
        said = _("Backed up {age} ago", age=age)
        return f"{'✓' if self.well else '▲'} {said}"


class BackupService:
    """Reports the status of disk and backups."""

    def __init__(self, store: Store, clock: Clock, maintenance: Maintenance) -> None:
        self._store, self._clock, self._maintenance = store, clock, maintenance
        self._remade_ms: int = noted(store.read).get(REMADE, 0)

    def status(self) -> StorageStatus:
        """The status of disk and backups. It makes no test write, which could keep a page waiting."""
        state = self._maintenance.state
        age_s = None if state.newest is None else max(0.0, (self._clock.now_ms() - state.newest.at_ms) / 1000)
        said = []
        failing = self._store.failing or self._store.damage
        if failing is not None:
            said.append(str(failing).replace(_(NOT_KEPT), _(WAITS)))
        if state.failed:
            said.append(_("The last backup failed: {failed}", failed=state.failed))
        elif age_s is not None and age_s > OLD_S:
            said.append(_("The newest backup is {age:.0f} days old.", age=age_s / 86400))
        if abs(wall_ms() - self._remade_ms) < REMADE_TOLD_MS:  # ahead where the clock was set back
            said.append(_("The lists did not match the journal and were rebuilt from it; nothing is missing."))
        if state.holds is not None and state.holds.damaged:
            said.append(
                _(
                    "{damaged} half hours of packed readings are damaged and show as gaps; an older backup "
                    "may have them.",
                    damaged=state.holds.damaged,
                )
            )
        return StorageStatus(age_s, not said, " ".join(said))


def back_up(folder: Path, to: Path | None, clock: Clock) -> str:
    """Back up a data folder, which may be in use, into its backups or to a file; returns the result in words."""
    source = folder / FILE_NAME
    if not source.is_file():
        raise StoreError(_("There is no database in {folder}; name the data folder with --data.", folder=folder))
    path = to
    if path is None:
        path = backups.take(source, folder / BACKUPS, clock.now_ms()).path
    else:
        backups.copy(source, path)
    return _("{where}: {what}. It was opened, checked and counted.", where=path, what=backups.check(path))


def restore(backup: Path, folder: Path) -> str:
    """Restore a backup into a new data folder; returns the result in words."""
    return _(
        "{where}: {what}. It was opened, checked and counted.",
        where=folder,
        what=backups.restore(backup, folder),
    )


def rebuild(folder: Path) -> str:
    """Rebuild all projections from the journal; returns the numbers of rows in words."""
    return str(database.rebuild(folder))
