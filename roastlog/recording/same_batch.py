"""Whether an opening begins a new batch, or is that of a batch which another page has begun."""

from collections.abc import Callable, Sequence
from typing import Final

from roastlog.journal.entries import Entry
from roastlog.journal.fold import LONGEST_ROAST_S
from roastlog.store.batches import BatchSummary

NEAR_MS: Final = 120_000  # two people who begin one batch do so within this time; nothing is dropped and charged in it


def same_batch(
    opened: Entry, known: Sequence[BatchSummary], *, charged: bool, opened_by: Callable[[str], str | None]
) -> str | None:
    """The code of the batch that an `opened` entry begins once more; None if it begins a new one.

    A machine has one batch in its drum. A page that does not know of it, since another page charged it at the same
    time or the page was cut off, opens another one without any facts. An opening with facts comes from the form for
    the next batch; it is the same one only if another device has just named the same coffee and weight.

    Parameters
    ----------
    opened
        The entry.
    known
        Batches of its machine that were not dropped before it.
    charged
        Whether a charge comes with it.
    opened_by
        Returns the device that opened a batch.
    """
    at_ms = opened.at_ms
    waiting = [batch for batch in known if batch.charged_ms is None and abs(batch.opened_ms - at_ms) <= NEAR_MS]
    if opened.body:
        same = [batch for batch in waiting if _names_the_same(opened, batch)]
        return next((batch.code for batch in same if opened_by(batch.code) != opened.by.device), None)
    in_drum = [batch for batch in known if batch.charged_ms is not None and _near_charge(at_ms, batch.charged_ms)]
    if not charged:
        in_drum += [
            batch
            for batch in known
            if batch.charged_ms is not None and 0 <= at_ms - batch.charged_ms <= 1000 * LONGEST_ROAST_S
        ]
    return next((batch.code for batch in [*in_drum, *waiting]), None)


def _near_charge(at_ms: int, charged_ms: int) -> bool:
    return abs(at_ms - charged_ms) <= NEAR_MS


def _names_the_same(opened: Entry, batch: BatchSummary) -> bool:
    said = tuple(opened.body.get(name) for name in ("lot", "coffee", "green_g", "intent"))
    return said == (batch.lot, batch.coffee, batch.green_g, batch.intent)
