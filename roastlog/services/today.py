"""The page of today: what runs, what waits, what was roasted last."""

from dataclasses import dataclass
from typing import Final

from roastlog.services.books import Lot
from roastlog.services.machines import MachineNow
from roastlog.services.records import Records
from roastlog.store import batches as lists
from roastlog.store.batches import BatchSummary

LOW_LOT_G: Final = 5000.0
RECENT: Final = 8


@dataclass(frozen=True)
class Today:
    """All that the page of today shows."""

    machines: list[MachineNow]
    unweighed: list[BatchSummary]
    recent: list[BatchSummary]
    lots_low: list[Lot]
    practice: tuple[str, ...] = ()


class TodayPage(Records):
    """The page of today, of one data folder."""

    def today(self) -> Today:
        """The page of today."""
        recent = [batch for batch in self.batches().items if batch.dropped_ms is not None]
        return Today(
            machines=[self.machine_now(machine.id) for machine in self.machines()],
            unweighed=lists.in_state(self.store.read, "cooling", without=self.practice()),
            recent=recent[:RECENT],
            lots_low=[lot for lot in self.lots() if 0 < lot.left_g < LOW_LOT_G],
            practice=self.practice(),
        )
