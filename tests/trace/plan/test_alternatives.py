"""Alternatives to a plan: each is another plan, and its gain and cost are theirs."""

import pytest

from roastlog.errors import PlanCancelled
from roastlog.trace.plan.alternatives import MOST_SPARE, Alternative, alternatives
from roastlog.trace.plan.day import Fill, Leave, Spare
from roastlog.trace.plan.planning import Plan, plan_day
from roastlog.trace.plan.watch import Watch
from tests.trace.plan.days import after_ms, day, large, machine, order, product

ALDER, HEATHER = product("alder"), product("heather", mean=0.16)


def of_kind(found: list[Alternative], kind: type) -> list[Alternative]:
    """The alternatives whose choice is of a kind."""
    return [each for each in found if isinstance(each.choice, kind)]


def test_one_batch_fewer_leaves_what_the_full_ones_do_not_give():
    """12 kg take four batches; three full ones of 4.5 kg give some 11.3 kg, and the last order lacks the rest."""
    orders = [order("alder", 6000, days=1), order("alder", 6000, days=2)]
    plan = plan_day(day(orders, [ALDER], [machine()]))
    [fewer] = of_kind(alternatives(plan), Leave)
    assert (len(plan.batches), fewer.batches_fewer, len(fewer.plan.batches)) == (4, 1, 3)
    assert [(each.due, grams) for each, grams in fewer.left_g] == [
        (orders[1].due, 12_000 - fewer.plan.products[0].needed_g)
    ]
    assert fewer.left_g[0][1] == pytest.approx(12_000 - 3 * 4500 * 0.85, abs=250)
    assert fewer.minutes_earlier == pytest.approx(640 / 60 + 5, abs=1)
    assert all(batch.green_g >= 4499 for batch in fewer.plan.batches)


def test_no_batch_fewer_that_would_cost_half_of_one():
    """Two batches of 3.5 kg cannot be one: it would leave a quarter of the order. Nor can the only one be none."""
    for grams in (6000, 2000):
        plan = plan_day(day([order("alder", grams)], [ALDER], [machine()]))
        assert of_kind(alternatives(plan), Leave) == []


def test_fuller_batches_give_stock_and_no_batch_more():
    """Two batches of 3.6 kg, filled a little, give the stock at least a bag and at most a quarter of the need."""
    plan = plan_day(day([order("heather", 6000)], [HEATHER], [machine()]))
    [fuller] = of_kind(alternatives(plan), Fill)
    assert (fuller.batches_fewer, fuller.left_g, fuller.machines_fewer) == (0, [], 0)
    assert 250 <= fuller.spare_g <= MOST_SPARE * 6000 + 20
    assert fuller.green_g == pytest.approx(fuller.spare_g / (1 - HEATHER.loss.mean), abs=10)
    assert [batch.green_g for batch in fuller.plan.batches] == [fuller.choice.charge_g] * 2


def test_fuller_batches_keep_to_the_green():
    """With 400 g of green left, the batches take no more than that; with 200 g it gives no bag, and is not offered."""
    given = day([order("heather", 6000)], [HEATHER], [machine()])
    green_g = plan_day(given).green_g
    for left_g, offered in ((400, 1), (200, 0)):
        plan = plan_day(
            day([order("heather", 6000)], [HEATHER], [machine()], green_g={"lot-heather": green_g + left_g})
        )
        found = of_kind(alternatives(plan), Fill)
        assert len(found) == offered
        assert all(each.plan.green_after_g["lot-heather"] >= 0 for each in found)


def test_second_machine_need_not_be_warmed_up():
    """Four batches on two equal drums fit on one: one machine fewer, and the day ends later."""
    plan = plan_day(day([order("alder", 12_000)], [ALDER], [machine("x"), machine("y")]))
    assert [len(each.slots) for each in plan.machines] == [2, 2]
    found = of_kind(alternatives(plan), Spare)
    assert [(each.machines_fewer, each.batches_fewer) for each in found] == [(1, 0), (1, 0)]
    assert all(each.minutes_earlier == pytest.approx(-2 * (640 / 60 + 5), abs=1) for each in found)


def test_machine_that_is_needed_is_not_spared():
    """Where the other drum closes too early, none is spared."""
    drums = [machine("x", closes_ms=after_ms(70)), machine("y", closes_ms=after_ms(70))]
    plan = plan_day(day([order("alder", 12_000)], [ALDER], drums))
    assert not plan.shortfalls
    assert of_kind(alternatives(plan), Spare) == []


@pytest.fixture(scope="module")
def large_plan() -> Plan:
    """40 orders."""
    return plan_day(large(2))


def test_alternatives_of_a_large_day_are_what_their_plans_say(large_plan: Plan):
    """Each one's numbers are the difference of the plans, and its day holds the choice for planning again."""
    found = alternatives(large_plan)
    assert {type(each.choice) for each in found} >= {Leave, Fill}
    for each in found:
        assert each.plan.day.choices == (each.choice,)
        assert plan_day(each.plan.day) == each.plan
        assert len(large_plan.batches) - len(each.plan.batches) == each.batches_fewer
        assert each.plan.green_g - large_plan.green_g == each.green_g
        assert each.batches_fewer >= 0
        lost_g = sum(grams for _, grams in each.left_g)
        assert lost_g == (each.choice.grams if isinstance(each.choice, Leave) else 0)
        assert each.plan.shortfalls == []


def test_alternatives_can_be_cancelled(large_plan: Plan):
    """The search for them ends at the next plan, with its own error and not as if there were none."""
    asked = []
    with pytest.raises(PlanCancelled):
        alternatives(large_plan, Watch(cancelled=lambda: asked.append(1) or len(asked) > 5))
