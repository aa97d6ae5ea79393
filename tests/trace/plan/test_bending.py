"""A day as it goes: what was roasted counts, and the rest changes as little as it can; and changes by hand."""

from dataclasses import replace

import pytest

from roastlog.errors import PlanError
from roastlog.trace.plan.bending import bend, pin, split, with_choices
from roastlog.trace.plan.day import Batch, Done, Leave
from roastlog.trace.plan.planning import Plan, plan_day
from roastlog.trace.plan.schedule import Slot
from tests.trace.plan.days import after_ms, day, machine, order, product

ALDER, HEATHER = product("alder", mean=0.15), product("heather", mean=0.16)
DECAF = product("decaf", mean=0.15, kind="decaf")
ORDERS = [order("alder", 10_000), order("heather", 6000), order("decaf", 2000)]


@pytest.fixture
def plan() -> Plan:
    """Three batches of one coffee, two of another, and one of decaf."""
    return plan_day(day(ORDERS, [ALDER, HEATHER, DECAF], [machine()]))


def done(slot: Slot, *, loss: float | None = None, late_min: float = 0, **also: object) -> Done:
    """A batch as planned; weighed if it has a loss."""
    batch, late_ms = slot.batch, round(60_000 * late_min)
    times = slot.charge.at_ms + late_ms, slot.drop.at_ms + late_ms
    roasted_g = None if loss is None else round(batch.green_g * (1 - loss))
    return replace(Done(batch.product, batch.machine, batch.green_g, *times, roasted_g), **also)


def rest(plan: Plan) -> list[tuple[str, int]]:
    """Products and charges that are still to come."""
    return [(batch.product, batch.green_g) for batch in plan.batches]


def needed(plan: Plan, name: str) -> int:
    """Roasted grams that a product still needs."""
    return next((each.needed_g for each in plan.products if each.product.id == name), 0)


def test_day_that_goes_as_planned_stays_as_planned(plan: Plan):
    """After each batch with the expected loss, the others keep order, charges, places and times."""
    slots, happened, bent = plan.machines[0].slots, [], plan
    for number, slot in enumerate(slots[:-1], start=1):
        loss = next(each.product.loss.mean for each in plan.products if each.product.id == slot.batch.product)
        happened.append(done(slot, loss=loss))
        bent = bend(bent, happened, slot.drop.at_ms + 1)
        assert rest(bent) == rest(plan)[number:]
        assert [each.charge.at_ms for each in bent.machines[0].slots] == pytest.approx(
            [each.charge.at_ms for each in slots[number:]], abs=10
        )
    assert bent.shortfalls == []


def test_green_and_grams_of_done_batches_are_counted_once(plan: Plan):
    """Charged green is off the lot and weighed coffee off the need, however often the day is bent."""
    slots = plan.machines[0].slots
    first, second = done(slots[0], loss=0.15), done(slots[1], loss=0.15)
    once = bend(plan, [first, second], slots[1].drop.at_ms)
    twice = bend(bend(plan, [first], slots[0].drop.at_ms), [first, second], slots[1].drop.at_ms)
    assert once == twice
    assert once.green_after_g == plan.green_after_g
    roasted_g = sum(each.roasted_g for each in (first, second) if each.product == "alder")
    assert needed(once, "alder") == 10_000 - roasted_g


def test_rejected_batch_is_roasted_again(plan: Plan):
    """Its green is gone; one more batch of the product follows those that remain, and the others stay."""
    first = plan.machines[0].slots[0]
    bent = bend(plan, [done(first, loss=0.15, rejected=True)], first.drop.at_ms)
    name = first.batch.product
    assert [each for each in rest(bent) if each[0] != name] == [each for each in rest(plan) if each[0] != name]
    assert sum(each == name for each, _ in rest(bent)) == sum(each == name for each, _ in rest(plan))
    assert bent.green_after_g[f"lot-{name}"] < plan.green_after_g[f"lot-{name}"] - 2000
    assert bent.shortfalls == []


def test_late_batch_shifts_those_after_it(plan: Plan):
    """Twenty minutes late in, twenty minutes late out, and nothing else."""
    first = plan.machines[0].slots[0]
    bent = bend(plan, [done(first, loss=0.15, late_min=20)], first.drop.at_ms + 20 * 60_000)
    assert rest(bent) == rest(plan)[1:]
    assert bent.end.at_ms - plan.end.at_ms == pytest.approx(20 * 60_000, abs=10)


def test_high_loss_raises_the_charges_before_it_adds_a_batch(plan: Plan):
    """3 % more loss than expected is made up by the remaining charges; a batch that is lost to half, by one more."""
    slots = [slot for slot in plan.machines[0].slots if slot.batch.product == "alder"]
    place = plan.machines[0].slots.index(slots[0])
    before = [done(slot, loss=0.155) for slot in plan.machines[0].slots[:place]]
    now_ms = slots[0].drop.at_ms
    little = bend(plan, [*before, done(slots[0], loss=0.18)], now_ms)
    assert [name for name, _ in rest(little)] == [name for name, _ in rest(plan)][place + 1 :]
    assert all(g > slots[1].batch.green_g for name, g in rest(little) if name == "alder")
    much = bend(plan, [*before, done(slots[0], roasted_g=1000)], now_ms)
    assert sum(name == "alder" for name, _ in rest(much)) == len(slots)
    for bent in (little, much):
        assert all(each.likelihood >= 0.9 for each in bent.products if each.needed_g)
        assert [each for each in rest(bent) if each[0] == "decaf"] == [
            each for each in rest(plan) if each[0] == "decaf"
        ]


def test_batch_that_is_not_needed_any_more_is_left_out(plan: Plan):
    """After a batch that nobody had planned gave all that an order needs, its own batch is off the plan."""
    extra = Done("decaf", "drum", 2600, after_ms(30), after_ms(41), 2200)
    bent = bend(plan, [extra], after_ms(41))
    assert [each for each in rest(plan) if each[0] != "decaf"] == rest(bent)


def test_batch_in_the_drum_counts_with_its_expected_loss(plan: Plan):
    """Until it is weighed its loss is open: the likelihood is that of all charges together."""
    first = plan.machines[0].slots[0]
    charged = replace(done(first), dropped_ms=None)
    bent = bend(plan, [charged], first.charge.at_ms + 60_000)
    assert rest(bent) == rest(plan)[1:]
    of_it = next(each for each in bent.products if each.product.id == first.batch.product)
    assert first.batch.green_g in of_it.charges_g
    assert of_it.likelihood == next(e.likelihood for e in plan.products if e.product is of_it.product)


def test_pinned_batch_stays_until_it_is_charged(plan: Plan):
    """The decaf pinned to the second place stays there when the first was charged; when it was, it is no longer set."""
    decaf = next(batch for batch in plan.batches if batch.product == "decaf")
    pinned = pin(plan, decaf, 2)
    slots = pinned.machines[0].slots
    assert slots[1].batch.product == "decaf"
    once = bend(pinned, [done(slots[0], loss=0.15)], slots[0].drop.at_ms)
    assert once.batches[0].position == 2
    twice = bend(once, [done(slots[0], loss=0.15), done(slots[1], loss=0.15)], slots[1].drop.at_ms)
    assert not [batch for batch in twice.batches if batch.is_set]
    assert needed(twice, "decaf") == 0 or "decaf" in [name for name, _ in rest(twice)]


def test_batch_can_be_pinned_elsewhere(plan: Plan):
    """To pin a pinned batch is to move it: it is there once, with its charge."""
    decaf = next(batch for batch in plan.batches if batch.product == "decaf")
    once = pin(plan, decaf, 2)
    moved = pin(once, once.batches[1], 4)
    assert [(n, b.green_g) for n, b in enumerate(moved.batches) if b.product == "decaf"] == [(3, decaf.green_g)]


def test_split_batch_is_two(plan: Plan):
    """Two parts with the green of the one, both ordered by the rules; a part below the smallest charge is refused."""
    heather = next(batch for batch in plan.batches if batch.product == "heather")
    parts = split(plan, heather, 1500)
    charges = [batch.green_g for batch in parts.batches if batch.product == "heather" and batch.is_set]
    assert sorted(charges) == [1500, heather.green_g - 1500]
    places = [number for number, batch in enumerate(parts.batches) if batch.product == "heather"]
    assert places == list(range(places[0], places[0] + 3))
    with pytest.raises(PlanError, match="a charge must be 800–4500 g, not 500 g"):
        split(plan, heather, 500)


def test_choice_in_mid_day_keeps_the_order(plan: Plan):
    """The batch left out after the first one goes; all others stay in their order."""
    first = plan.machines[0].slots[0]
    bent = bend(plan, [done(first, loss=0.15)], first.drop.at_ms)
    fewer = with_choices(bent, [Leave("decaf", 2000)])
    assert rest(fewer) == [each for each in rest(bent) if each[0] != "decaf"]
    assert [(each.order.product, each.left_g) for each in fewer.allocations if each.left_g] == [("decaf", 2000)]


def test_batch_of_another_plan_is_refused_with_a_reason():
    """A batch that was charged on a machine of which the plan knows nothing is named."""
    given = replace(
        day(ORDERS, [ALDER, HEATHER, DECAF], [machine()]), remaining=[Batch("alder", "elsewhere", 3000, {})]
    )
    with pytest.raises(PlanError, match="There is no machine elsewhere in this plan"):
        plan_day(given)
