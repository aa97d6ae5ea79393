"""Alternatives to a plan: other plans of the same day, each with its gain and its cost.

An alternative is a choice added to the day. Gain and cost are not estimated: the day is planned with the choice, and
the two plans are compared.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from roastlog.errors import PlanError
from roastlog.trace.plan.bending import with_choices
from roastlog.trace.plan.day import MS_PER_MIN, Batch, Choice, Fill, Leave, Order, Spare
from roastlog.trace.plan.demand import short_by_order
from roastlog.trace.plan.planning import Plan, ProductPlan
from roastlog.trace.plan.watch import UNWATCHED, Watch
from roastlog.trace.plan.yields import roasted_with

MOST_LEFT = 0.5  # of a batch's share of the need; to leave more saves no batch, but an order [our choice]
MOST_SPARE = 0.25  # of the need, that fuller batches give the stock: it is fresh only once [our choice]
MOST_OF_A_KIND = 3  # that are tried: each is a plan of its own [our choice]
STEP_G = 50  # to which a charge is filled, unless it is the largest [our choice]


@dataclass(frozen=True)
class Alternative:
    """A choice, the plan with it, and how that differs from the plan without it.

    To take it is to go on with its ``plan``, whose day holds the choice. Gains: batches fewer, machines fewer to warm
    up, minutes earlier at the end, roasted grams more for the stock (``spare_g``). Costs: green grams more
    (``green_g``), and the orders that lose roasted grams, earliest due first (``left_g``). A negative gain is a cost,
    and the other way round.
    """

    choice: Choice
    plan: Plan
    batches_fewer: int
    machines_fewer: int
    minutes_earlier: float
    spare_g: int
    green_g: int
    left_g: Sequence[tuple[Order, int]]


def alternatives(plan: Plan, watch: Watch = UNWATCHED) -> list[Alternative]:
    """The alternatives to a plan that are worth a look: of each kind those with the most gain for their cost.

    `Leave`: one batch of a product fewer, which leaves less than half a batch of an order unroasted. `Fill`: fuller
    batches of a product, as machine and green allow, that give the stock at least one of its smallest bags more and at
    most a quarter of the need, and take no batch more. `Spare`: a machine that is not warmed up, if no order loses by
    it and no batch is added.

    Raises
    ------
    PlanCancelled
        If it was cancelled.
    """
    found = []
    choices: list[Choice] = [*_leaves(plan), *_fills(plan), *_spares(plan)]
    for number, choice in enumerate(choices):
        watch.at("alternatives", number / len(choices))
        try:
            other = with_choices(plan, [choice], Watch(cancelled=watch.cancelled))
        except PlanError:  # such as a machine that a batch was pinned to
            continue
        each = _compared(choice, plan, other)
        if _is_worth_it(each, plan):
            found.append(each)
    return found


def _compared(choice: Choice, plan: Plan, other: Plan) -> Alternative:
    lost = [
        (each.order, more - less)
        for each, less, more in zip(plan.allocations, _unroasted_g(plan), _unroasted_g(other), strict=True)
        if more > less
    ]
    used = [sum(bool(machine.slots) for machine in each.machines) for each in (plan, other)]
    spare_g = [sum(product.spare_g for product in each.products) for each in (plan, other)]
    ends_ms = [0 if each.end is None else each.end.at_ms for each in (plan, other)]
    return Alternative(
        choice=choice,
        plan=other,
        batches_fewer=len(plan.batches) - len(other.batches),
        machines_fewer=used[0] - used[1],
        minutes_earlier=(ends_ms[0] - ends_ms[1]) / MS_PER_MIN if all(ends_ms) else 0.0,
        spare_g=spare_g[1] - spare_g[0],
        green_g=other.green_g - plan.green_g,
        left_g=lost,
    )


def _is_worth_it(each: Alternative, plan: Plan) -> bool:
    match each.choice:
        case Leave():
            return each.batches_fewer > 0
        case Fill(product):
            return each.spare_g >= _smallest_bag_g(plan, product) and each.batches_fewer >= 0 and not each.left_g
        case _:
            return each.machines_fewer > 0 and each.batches_fewer >= 0 and not each.left_g


def _unroasted_g(plan: Plan) -> list[int]:
    """Grams of each order that are left or short. [g]"""
    short_g = short_by_order(plan.allocations, {each.product.id: each.short_g for each in plan.products})
    return [each.left_g + lacking for each, lacking in zip(plan.allocations, short_g, strict=True)]


def _smallest_bag_g(plan: Plan, product: str) -> int:
    return min((order.bag_g for order in plan.day.orders if order.product == product), default=0)


def _free(plan: Plan) -> Iterator[tuple[ProductPlan, list[Batch]]]:
    """The products that are not short, with their batches that the person did not set."""
    for each in plan.products:
        batches = [batch for batch in plan.batches if batch.product == each.product.id and not batch.is_set]
        if batches and not each.short_g:
            yield each, batches


def _leaves(plan: Plan) -> list[Leave]:
    largest_g = {machine.id: machine.largest_g for machine in plan.day.used_machines}
    found = []
    for each, batches in _free(plan):
        others_g = sorted(largest_g[batch.machine] for batch in batches)[1:]  # full, without the smallest one
        set_g = list((Counter(each.charges_g) - Counter(batch.green_g for batch in batches)).elements())
        likely_g = roasted_with(each.product.loss, [*set_g, *others_g], plan.day.likelihood)
        left_g = each.needed_g - likely_g
        if 0 < left_g <= MOST_LEFT * each.needed_g / len(each.charges_g):
            found.append(Leave(each.product.id, left_g))
    return sorted(found, key=lambda choice: choice.grams)[:MOST_OF_A_KIND]


def _fills(plan: Plan) -> list[Fill]:
    largest_g = {machine.id: machine.largest_g for machine in plan.day.used_machines}
    found = []
    for each, batches in _free(plan):
        left_g = min((plan.green_after_g.get(part.lot, 0) - 1) / part.share for part in each.product.shares)
        full_g = max(largest_g[batch.machine] for batch in batches)
        for charge_g in (full_g, *range(full_g // STEP_G * STEP_G, 0, -STEP_G)):
            more_g = sum(max(0, min(charge_g, largest_g[batch.machine]) - batch.green_g) for batch in batches)
            gain_g = more_g * (1 - each.product.loss.mean)
            if more_g <= left_g and gain_g <= MOST_SPARE * each.needed_g:
                found.append((gain_g, Fill(each.product.id, charge_g)))
                break
    worth = [(gain_g, choice) for gain_g, choice in found if gain_g >= _smallest_bag_g(plan, choice.product)]
    return [choice for _, choice in sorted(worth, key=lambda pair: -pair[0])[:MOST_OF_A_KIND]]


def _spares(plan: Plan) -> list[Spare]:
    used = [each for each in plan.machines if each.slots]
    return [Spare(each.machine.id) for each in sorted(used, key=lambda each: len(each.slots))] if len(used) > 1 else []
