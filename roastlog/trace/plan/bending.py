"""A plan bent to the day as it goes: what was roasted counts as it is, and the rest changes as little as it can."""

from collections.abc import Sequence
from dataclasses import replace

from roastlog.trace.plan.day import Batch, Choice, Done, Pin
from roastlog.trace.plan.planning import Plan, plan_day
from roastlog.trace.plan.watch import Watch


def bend(plan: Plan, done: Sequence[Done], now_ms: int, watch: Watch = Watch()) -> Plan:  # noqa: B008 - no state
    """Plan the rest of a day that has begun.

    A weighed batch counts with its weight; one in the drum, or not weighed yet, with its expected loss; a rejected one
    does not count, and its green is gone. The remaining batches keep their machines, order and charges while those
    still suffice; then the charges change, and only then are batches added or left out. A batch that came late shifts
    those after it.

    Parameters
    ----------
    plan : Plan
        The plan of the day as it was before.
    done : sequence of Done
        All batches that were charged today, those that the plan knows already among them.
    now_ms : int
        No batch is charged before. UTC [ms]

    Raises
    ------
    PlanError, PlanCancelled
        As `plan_day`.
    """
    known = {(each.machine, each.charged_ms) for each in plan.day.done}
    counts: dict[str, int] = {}
    remaining, choices = list(plan.batches), list(plan.day.choices)
    for each in sorted(done, key=lambda each: each.charged_ms):
        counts[each.machine] = counts.get(each.machine, 0) + 1
        if (each.machine, each.charged_ms) not in known:
            _charged(each, counts[each.machine], remaining, choices)
    return plan_day(
        replace(plan.day, done=tuple(done), now_ms=now_ms, remaining=tuple(remaining), choices=tuple(choices)), watch
    )


def _charged(done: Done, position: int, remaining: list[Batch], choices: list[Choice]) -> None:
    """Take the planned batch that was charged off the plan: one of the same product on the same machine."""
    alike = [batch for batch in remaining if (batch.product, batch.machine) == (done.product, done.machine)]
    if not alike:
        return
    batch = min(alike, key=lambda batch: (batch.position != position, abs(batch.green_g - done.green_g)))
    remaining.remove(batch)
    if batch.is_set:
        choices.remove(Pin(batch.product, batch.machine, batch.green_g, batch.position))
