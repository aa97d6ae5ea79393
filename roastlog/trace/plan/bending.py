"""A plan that changes: bent to the day as it goes, and by hand.

What was roasted counts as it is. Once a day has begun, its rest changes as little as it can.
"""

from collections.abc import Sequence
from dataclasses import replace

from roastlog.trace.plan.day import Batch, Choice, Done, Pin
from roastlog.trace.plan.planning import Plan, plan_day
from roastlog.trace.plan.watch import UNWATCHED, Watch


def bend(plan: Plan, done: Sequence[Done], now_ms: int, watch: Watch = UNWATCHED) -> Plan:
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


def with_choices(plan: Plan, choices: Sequence[Choice], watch: Watch = UNWATCHED) -> Plan:
    """Plan again with more choices.

    Raises
    ------
    PlanError, PlanCancelled
        As `plan_day`.
    """
    remaining = tuple(plan.batches) if plan.day.done else ()
    return plan_day(replace(plan.day, choices=(*plan.day.choices, *choices), remaining=remaining), watch)


def pin(plan: Plan, batch: Batch, position: int, watch: Watch = UNWATCHED) -> Plan:
    """Pin a batch to a place in its machine's day, from 1, the batches already charged among them; it keeps its charge.

    Raises
    ------
    PlanError, PlanCancelled
        As `plan_day`.
    """
    return with_choices(_released(plan, batch), [Pin(batch.product, batch.machine, batch.green_g, position)], watch)


def split(plan: Plan, batch: Batch, first_g: int, watch: Watch = UNWATCHED) -> Plan:
    """Split a batch into two, the first of so many grams of green; the rules order both.

    Raises
    ------
    PlanError
        If one of the two is less than the smallest charge; and as `plan_day`.
    PlanCancelled
        As `plan_day`.
    """
    halves = [Pin(batch.product, batch.machine, grams) for grams in (first_g, batch.green_g - first_g)]
    return with_choices(_released(plan, batch), halves, watch)


def _released(plan: Plan, batch: Batch) -> Plan:
    """The plan without the pin of a batch that the person set."""
    if not batch.is_set:
        return plan
    choices = list(plan.day.choices)
    choices.remove(Pin(batch.product, batch.machine, batch.green_g, batch.position))
    return replace(plan, day=replace(plan.day, choices=tuple(choices)))


def _charged(done: Done, position: int, remaining: list[Batch], choices: list[Choice]) -> None:
    """Take the planned batch that was charged off the plan: one of the same product on the same machine."""
    alike = [batch for batch in remaining if (batch.product, batch.machine) == (done.product, done.machine)]
    if not alike:
        return
    batch = min(alike, key=lambda batch: (batch.position != position, abs(batch.green_g - done.green_g)))
    remaining.remove(batch)
    if batch.is_set:
        choices.remove(Pin(batch.product, batch.machine, batch.green_g, batch.position))
