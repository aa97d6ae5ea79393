"""Today: the machines, open recalls, the batches to weigh, the last batches roasted, the lots that run low."""

from dataclasses import dataclass
from typing import Final

from roastlog.services.batches import BatchService
from roastlog.services.live import LiveService, MachineNow
from roastlog.services.lots import Lot, LotService
from roastlog.services.machines import MachineService
from roastlog.services.recall import RecallRow, RecallService
from roastlog.services.stock import Short, StockService
from roastlog.store.batches import BatchSummary, Page

LOW_LOT_G: Final = 5000.0
RECENT: Final = 8
UNWEIGHED: Final = 20


@dataclass(frozen=True)
class Today:
    """The contents of the page Today."""

    machines: list[MachineNow]
    unweighed: Page
    recent: list[BatchSummary]
    lots_low: list[Lot]
    short: list[Short]
    recalls: list[RecallRow]
    drill_is_due: bool


class TodayService:
    """Collects the contents of the page Today."""

    def __init__(
        self,
        machines: MachineService,
        live: LiveService,
        batches: BatchService,
        lots: LotService,
        *,
        stock: StockService,
        recalls: RecallService,
    ) -> None:
        self._machines, self._live, self._batches, self._lots = machines, live, batches, lots
        self._stock, self._recalls = stock, recalls

    def overview(self) -> Today:
        """The contents of the page Today."""
        return Today(
            machines=self.machines(),
            unweighed=self.unweighed(),
            recent=self.recent(),
            short=self._stock.short(),
            recalls=[recall for recall in self._recalls.all() if recall.finished_ms is None],
            drill_is_due=self._recalls.drill_is_due(),
            lots_low=[lot for lot in self._lots.all() if 0 < lot.left_g < LOW_LOT_G],
        )

    def machines(self) -> list[MachineNow]:
        """The present numbers of all machines."""
        return [self._live.now(machine.id) for machine in self._machines.all()]

    def unweighed(self, page: int = 1) -> Page:
        """A page of the batches that wait for their weight, newest first."""
        return self._batches.page(page, state="cooling", size=UNWEIGHED)

    def recent(self) -> list[BatchSummary]:
        """The last batches roasted, newest first."""
        return [batch for batch in self._batches.page().items if batch.dropped_ms is not None][:RECENT]
