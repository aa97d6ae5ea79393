"""Background maintenance: packing, deletion of unnamed photos, nightly backups, checks of clock and disk."""

import logging
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from roastlog.clock import Clock
from roastlog.errors import StoreError
from roastlog.journal.fold import LONGEST_ROAST_S
from roastlog.store import batches as lists
from roastlog.store.backups import BACKUPS, Backup, Contents, check, newest, take
from roastlog.store.photos import UNNAMED_MS, sweep, unnamed_before
from roastlog.store.sealing import Slot, due, seal
from roastlog.store.store import Store
from roastlog.threads import Worker

FIRST_S: Final = 30.0  # maintenance must not slow down the server's start
EVERY_S: Final = 10.0
PAUSE_S: Final = 0.1  # after each packed half hour, so that taps are written first
AGAIN_MS: Final = 3_600_000
SWEEP_MS: Final = 24 * 3_600_000
NIGHT_HOUR: Final = 3
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class BackupState:
    """State of the backups: the newest one, its contents if known, and the reason if the last attempt failed."""

    newest: Backup | None = None
    holds: Contents | None = None
    failed: str = ""


class Maintenance(Worker):
    """A thread that runs each job now and then; stopping it aborts a running backup.

    A failing job is logged once and tried again; recording does not wait for it.
    """

    def __init__(self, store: Store, clock: Clock) -> None:
        super().__init__("maintenance")
        self._store, self._clock = store, clock
        self._folder = store.path.parent / BACKUPS
        self._logged: set[str] = set()
        self._unsealable: set[Slot] = set()
        self._not_before_ms = 0
        self._swept_ms = 0
        self._state = BackupState(newest=newest(self._folder, clock.now_ms()))

    @property
    def state(self) -> BackupState:
        """State of the backups as last seen. No disk access: a page that shows it must not wait for a slow disk."""
        return self._state

    def set_clock(self) -> None:
        """Follow a wall clock that was set forward, unless a batch is in a drum, whose curve would get a gap.

        A batch that was charged ahead of now has no curve yet: the clock was set back before this start.
        """
        now_ms = self._clock.now_ms()
        if lists.any_roasting(self._store.read, now_ms - 1000 * LONGEST_ROAST_S, now_ms):
            return
        if ahead_ms := self._clock.catch_up():
            log.warning(
                "The computer's clock was put forward by %.0f s; Drumside goes by it from now on", ahead_ms / 1000
            )

    def seal_quiet(self) -> None:
        """Pack all half hours that are due."""
        for slot in due(self._store.read, self._clock.now_ms()):
            if slot in self._unsealable:
                continue
            try:
                seal(self._store, slot)
            except (ValueError, StoreError):
                if self._store.failing is None:  # not because of the disk, so it would fail again
                    self._unsealable.add(slot)
                raise
            if self.stopping.wait(PAUSE_S):
                return

    def sweep_photos(self) -> None:
        """Once a day, delete old photos that no entry names."""
        now_ms = self._clock.now_ms()
        if now_ms - self._swept_ms < SWEEP_MS:
            return
        self._swept_ms = now_ms
        names, seq = unnamed_before(self._store.read, now_ms - UNNAMED_MS)
        if names and (gone := self._store.write(lambda db: sweep(db, names, seq))):
            log.info("Photos that no entry names, deleted: %d", gone)

    def back_up(self) -> None:
        """Make the nightly backup if it is due; after a failure, try again in an hour."""
        now_ms = self._clock.now_ms()
        last = newest(self._folder, now_ms)  # one from before the clock was set back lies ahead and is none of tonight
        self._state = replace(self._state, newest=last)
        if now_ms < self._not_before_ms or (last is not None and last.at_ms >= last_night_ms(now_ms)):
            return
        self._not_before_ms = now_ms + AGAIN_MS
        try:
            self._store.check_ground()  # else another file would be backed up
            made = take(self._store.path, self._folder, now_ms, stopping=self.stopping.is_set)
            self._state = BackupState(newest=made, holds=check(made.path))
        except StoreError as error:
            self._state = replace(self._state, failed=str(error))
            raise
        log.info("Backed up to %s: %s", made.path, self._state.holds)

    def _run(self) -> None:
        wait_s = FIRST_S
        while not self.stopping.wait(wait_s):
            self._try("The clock cannot be set", self.set_clock)
            self._try("The disk does not take what is written", self._look_at_disk)
            self._try("Readings cannot be packed; they stay as they are", self.seal_quiet)
            self._try("Photos that nobody names cannot be deleted; they stay", self.sweep_photos)
            self._try("No backup was made; it is tried again in an hour", self.back_up)
            wait_s = EVERY_S

    def _look_at_disk(self) -> None:
        trouble = self._store.trouble()
        if trouble is not None:
            raise trouble

    def _try(self, failing: str, job: Callable[[], None]) -> None:
        try:
            job()
        except Exception as error:
            if self.stopping.is_set():
                return
            if failing not in self._logged:
                log.log(logging.ERROR, "%s: %s", failing, error, exc_info=not isinstance(error, StoreError))
            self._logged.add(failing)
        else:
            self._logged.discard(failing)


def last_night_ms(now_ms: int) -> int:
    """The last time at which it was `NIGHT_HOUR` o'clock in local time. [ms UTC]"""
    now = datetime.fromtimestamp(now_ms / 1000)  # noqa: DTZ006 - local time, so that summer time does not move the hour
    night = now.replace(hour=NIGHT_HOUR, minute=0, second=0, microsecond=0)
    if night > now:
        night -= timedelta(days=1)
    return round(night.timestamp() * 1000)
