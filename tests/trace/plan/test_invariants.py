"""Whatever the day, a plan adds up: to the gram, to the lot, to the order."""

import random
from dataclasses import replace

import pytest

from roastlog.errors import PlanError
from roastlog.trace.plan.bending import bend
from roastlog.trace.plan.day import Choice, Day, Done, Fill, Leave, Pin, Share, Spare
from roastlog.trace.plan.demand import roasted_needed
from roastlog.trace.plan.planning import Plan, plan_day
from tests.trace.plan.days import after_ms, day, machine, order, product

DAYS = 90
NAMES = "abcd"


def odd_day(seed: int) -> Day:
    """A day with anything: blends, machines that close or open late, little green, stock, and choices."""
    draw = random.Random(seed)
    lots = ["lot-a", "lot-b", "lot-c"]
    products = []
    for name in NAMES:
        chosen = draw.sample(lots, draw.randint(1, 3))
        parts = [draw.randint(1, 9) for _ in chosen]
        shares = tuple(Share(lot, part / sum(parts)) for lot, part in zip(chosen, parts, strict=True))
        kind = draw.choice(["plain", "plain", "decaf", "flavoured"])
        batches = draw.choice([0, 1, 2, 3, 20])
        products.append(
            product(name, mean=draw.uniform(0.1, 0.25), batches=batches, seed=seed, shares=shares, kind=kind)
        )
    machines = []
    for number in range(draw.randint(1, 3)):
        low_g = draw.randrange(200, 3000)
        closes_ms = draw.choice([None, after_ms(draw.uniform(0, 300))])
        only = draw.choice([None, frozenset(draw.sample(NAMES, 2))])
        drum = machine(f"m{number}", low_g, low_g + draw.randrange(0, 6000), closes_ms=closes_ms, products=only)
        machines.append(replace(drum, opens_ms=after_ms(draw.choice([0, 0, 45]))))
    orders = [
        order(draw.choice(NAMES), 250 * draw.randint(1, 40), days=draw.randint(-1, 3), number=number)
        for number in range(draw.randint(0, 8))
    ]
    choices: list[Choice] = []
    for _ in range(draw.choice([0, 0, 1, 2])):
        on, name = draw.choice(machines), draw.choice(NAMES)
        pin = Pin(name, on.id, draw.randint(on.smallest_g, on.largest_g), draw.choice([None, 1, 3]))
        choices.append(draw.choice([Leave(name, draw.randint(1, 3000)), Fill(name, draw.randint(500, 6000)), pin]))
    if len(machines) == 3:
        choices += draw.choice([[], [Spare("m2")]])
    green_g = {lot: draw.choice([-500, 0, 700, 5000, 90_000]) for lot in lots}
    return day(
        orders, products, machines, green_g=green_g, stock_g={"a": draw.choice([-100, 0, 2000])}, choices=choices
    )


def check_sums(plan: Plan) -> None:
    """Charges, lots, times and orders add up."""
    given = plan.day
    green_g = {lot: max(0, grams) for lot, grams in given.green_g.items()}
    done_g = dict.fromkeys(green_g, 0)
    for batch in plan.batches:
        drum = next(each for each in given.used_machines if each.id == batch.machine)
        assert drum.smallest_g <= batch.green_g <= drum.largest_g
        assert drum.roasts(batch.product)
        assert sum(batch.parts_g.values()) == batch.green_g
        assert all(grams >= 0 for grams in batch.parts_g.values())
        for lot, grams in batch.parts_g.items():
            green_g[lot] -= grams
    if not given.done:
        assert plan.green_after_g == green_g
    assert all(grams >= 0 for grams in plan.green_after_g.values())
    assert set(done_g) == set(plan.green_after_g)
    for each in plan.machines:
        times = [time for slot in each.slots for time in (slot.charge, slot.drop)]
        assert all(time.low_ms <= time.at_ms <= time.high_ms for time in times)
        assert [time.at_ms for time in times] == sorted(time.at_ms for time in times)
        closes_ms = each.machine.closes_ms
        if closes_ms is not None and each.end is not None and not any(slot.batch.is_set for slot in each.slots):
            assert each.end.at_ms <= closes_ms + 1000
    assert all(sum((a.from_stock_g, a.to_roast_g, a.left_g)) == a.order.grams for a in plan.allocations)
    needed_g = roasted_needed(plan.allocations)
    for each in plan.products:
        name = each.product.id
        assert each.needed_g <= needed_g.get(name, 0)
        lacking_g = sum(short.grams for short in plan.shortfalls if short.order.product == name)
        assert lacking_g == each.short_g
        assert 0 <= each.likelihood <= 1
        assert (each.likelihood >= given.likelihood - 1e-6) == (each.short_g == 0)
        pinned = [batch for batch in plan.batches if batch.product == name and batch.is_set]
        free = [batch for batch in plan.batches if batch.product == name and not batch.is_set]
        if free and not any(isinstance(choice, Fill) for choice in given.choices):
            assert each.needed_g, pinned  # nothing is roasted that nobody needs
    assert {batch.product for batch in plan.batches} <= {each.product.id for each in plan.products}


@pytest.mark.parametrize("part", range(3))
def test_every_plan_adds_up(part: int):
    """90 odd days: each plan keeps its limits and adds up, before the day and after each of its first batches."""
    planned = refused = 0
    for seed in range(part, DAYS, 3):
        try:
            plan = plan_day(odd_day(seed))
        except PlanError:  # a pin on a machine that is spared, or with green that is not there
            refused += any(isinstance(choice, Pin) for choice in odd_day(seed).choices)
            continue
        planned += 1
        check_sums(plan)
        check_sums(gone_on(plan, random.Random(seed)))
    assert planned > DAYS / 3 / 2
    assert planned + refused == DAYS / 3


def gone_on(plan: Plan, draw: random.Random) -> Plan:
    """The plan after one or two batches of its first machine that has some."""
    happened: list[Done] = []
    slots = next((each.slots for each in plan.machines if each.slots), ())
    for slot in slots[: draw.randint(1, 2)]:
        batch = slot.batch
        weighed_g = draw.choice([None, round(batch.green_g * draw.uniform(0.7, 0.9))])
        late_ms = draw.choice([0, 600_000])
        happened.append(
            Done(
                batch.product,
                batch.machine,
                batch.green_g,
                slot.charge.at_ms + late_ms,
                slot.drop.at_ms + late_ms,
                weighed_g,
                rejected=draw.random() < 0.2,
            )
        )
    return bend(plan, happened, max((each.dropped_ms or 0 for each in happened), default=0))
