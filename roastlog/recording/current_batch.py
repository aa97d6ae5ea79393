"""The current batch of a machine: the one in the drum, else the next one, else the last one dropped."""

from dataclasses import dataclass

from roastlog.journal.fold import LONGEST_ROAST_S
from roastlog.store import batches as lists
from roastlog.store.batches import BatchSummary
from roastlog.store.store import Store


@dataclass(frozen=True)
class CurrentBatch:
    """The current batch of a machine, None where there is none yet, and the batches that wait for their charge."""

    batch: BatchSummary | None
    waiting: tuple[BatchSummary, ...]


def current_batch(store: Store, machine_id: str, now_ms: int) -> CurrentBatch:
    """The current batch of a machine; one that was never dropped stays current for two hours at most. [ms UTC]"""
    busy = lists.under_way(store.read, machine_id)
    roasting = [
        batch
        for batch in busy
        if batch.charged_ms is not None and abs(now_ms - batch.charged_ms) <= 1000 * LONGEST_ROAST_S
    ]
    waiting = tuple(batch for batch in busy if batch.charged_ms is None)
    if roasting:
        return CurrentBatch(max(roasting, key=lambda batch: batch.charged_ms or 0), waiting)
    last = lists.last_dropped(store.read, machine_id)
    if waiting and (last is None or waiting[-1].opened_ms >= last.opened_ms):
        return CurrentBatch(waiting[-1], waiting[:-1])
    return CurrentBatch(last, waiting)
