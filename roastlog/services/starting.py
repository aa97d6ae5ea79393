"""Defaults of the start form: the facts of an earlier batch of its machine."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from roastlog.errors import NoSuchBatch
from roastlog.journal.kinds.roast import Opened
from roastlog.languages import _
from roastlog.services.batches import BatchService
from roastlog.services.lots import LotService
from roastlog.store.batches import BatchSummary

MOST_OFFERED: Final = 5


@dataclass(frozen=True)
class StartDefaults:
    """Facts that prefill a start form, the code of their batch (empty for none), and the batches to choose from."""

    facts: Opened
    same_as: str
    offered: Sequence[BatchSummary]


class StartService:
    """Chooses the facts that a start form begins with."""

    def __init__(self, batches: BatchService, lots: LotService) -> None:
        self._batches, self._lots = batches, lots

    def defaults(self, machine: str, same_as: str | None = None) -> StartDefaults:
        """The facts of one batch of a machine: its last one with any, the one asked for, or none for an empty text.

        A coffee's name that is only its lot's is left to the lot, so that it changes with the lot.

        Raises
        ------
        CodeError, NoSuchBatch
            If the text is no code of a batch of this machine, or that batch was discarded.
        """
        offered = self._offered(machine)
        if same_as is None:
            same_as = offered[0].code if offered else ""
        if not same_as:
            return StartDefaults(Opened(), "", offered)
        batch = self._batches.summary(same_as)
        if batch.machine != machine or batch.state == "discarded":
            raise NoSuchBatch(
                _("Batch {code} was discarded or is of another machine. Choose another one.", code=batch.code)
            )
        facts = self._batches.folded(batch.code).facts
        lot = None if facts.lot is None else self._lots.find(facts.lot)
        if lot is not None and lot.coffee == facts.coffee:
            facts = facts.model_copy(update={"coffee": None})
        return StartDefaults(facts, batch.code, offered)

    def _offered(self, machine: str) -> list[BatchSummary]:
        """The newest batches of a machine that differ in coffee, weight or purpose, and name one of them."""
        distinct: dict[object, BatchSummary] = {}
        for batch in self._batches.page(machine=machine).items:
            facts = batch.lot or batch.coffee, batch.green_g, batch.intent
            if any(facts):
                distinct.setdefault(facts, batch)
        return list(distinct.values())[:MOST_OFFERED]
