"""Batches: against every plan there is on small days, and against the bound of the linear relaxation on large ones."""

import random
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import product as cross
from math import ceil, inf, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.trace.plan import planning, solver
from roastlog.trace.plan.day import Day, Machine, Product, Share
from roastlog.trace.plan.patterns import Need, even, patterns
from roastlog.trace.plan.planning import Plan, plan_day
from tests.trace.plan.days import after_ms, day, large, machine, order, product

SMALL_DAYS = 200
MOST = 3  # batches of a product on one machine, in a small day


@cache
def quantile(degrees: float, likelihood: float) -> float:
    """Scipy's quantile of Student's distribution, or of the normal one."""
    from scipy.stats import norm, t  # costs each worker a second

    return float(norm.ppf(likelihood) if degrees == inf else t.ppf(likelihood, degrees))


def sufficient(of: Product, charges: Sequence[int], roasted_g: float, likelihood: float) -> bool:
    """Whether charges suffice with a likelihood."""
    loss, total = of.loss, sum(charges)
    scale = sqrt(loss.spread**2 * sum(g * g for g in charges) + (loss.mean_error * total) ** 2)
    return total * (1 - loss.mean) - quantile(loss.degrees, likelihood) * scale >= roasted_g - 1e-6


def least_green(of: Product, counts: Sequence[int], machines: Sequence[Machine], roasted_g: int, likelihood: float):
    """Least green that suffices in so many batches, tried from the smallest charges on; None if full ones do not.

    Batches as even as can be need least: the spread of a sum is least where its parts are alike.
    """
    limits = [(each.smallest_g, each.largest_g) for each in machines]
    low = sum(count * limit[0] for count, limit in zip(counts, limits, strict=True))
    high = sum(count * limit[1] for count, limit in zip(counts, limits, strict=True))
    if not sufficient(of, even(counts, limits, high).all_g, roasted_g, likelihood):
        return None
    while low < high:  # the likelihood rises with the green
        middle = (low + high) // 2
        if sufficient(of, even(counts, limits, middle).all_g, roasted_g, likelihood):
            high = middle
        else:
            low = middle + 1
    charges = even(counts, limits, low).all_g
    apart = max(charges) - min(charges)
    return low, 0 if apart <= 1 else apart


def every_plan(of: Day) -> Iterator[tuple[int, int, int]]:
    """Batches, unevenness and green of each plan that meets all orders in time."""
    wanted = {}
    for each in of.orders:
        wanted[each.product] = wanted.get(each.product, 0) + each.grams
    options = []
    for each in of.products:
        some = []
        for counts in cross(range(MOST + 1), repeat=len(of.machines)):
            if any(count and not m.roasts(each.id) for count, m in zip(counts, of.machines, strict=True)):
                continue
            found = sum(counts) and least_green(each, counts, of.machines, wanted[each.id], of.likelihood)
            if found:
                some.append((each, counts, *found))
        options.append(some)
    for plan in cross(*options):
        if fits(of, plan):
            yield sum(sum(counts) for _, counts, _, _ in plan), sum(o[3] for o in plan), sum(o[2] for o in plan)


def fits(of: Day, plan: Sequence[tuple[Product, tuple[int, ...], int, int]]) -> bool:
    """Whether a plan keeps within the green of each lot, to the gram for each blend, and the hours of each machine."""
    for lot, left_g in of.green_g.items():
        taken = sum(green_g * part.share for p, _, green_g, _ in plan for part in p.shares if part.lot == lot)
        if taken > left_g + 0.5:
            return False
    for place, each in enumerate(of.machines):
        used = sum(counts[place] * (p.length_s.mean / 60 + each.between_min) for p, counts, _, _ in plan)
        hours = inf if each.closes_ms is None else (each.closes_ms - each.opens_ms) / 60_000 - each.warm_up_min
        if used > hours + each.between_min + 1e-6:
            return False
    return True


def small(seed: int) -> Day:
    """Two products on one or two machines, in most days with little green or time."""
    draw = random.Random(seed)
    names = ("a", "b")
    products = [
        product(name, mean=draw.uniform(0.12, 0.2), batches=draw.choice([0, 3, 10]), seed=seed) for name in names
    ]
    if draw.random() < 0.5:
        products[1] = product("b", seed=seed, shares=(Share("lot-a", 0.25), Share("lot-b", 0.75)))
    machines = []
    for number in range(draw.choice([1, 2])):
        low_g = draw.randrange(500, 3000, 100)
        closes_ms = draw.choice([None, after_ms(30 + draw.uniform(20, 120))])
        only = draw.choice([None, None, frozenset(draw.choice(names))]) if number else None
        machines.append(
            machine(f"m{number}", low_g, low_g + draw.randrange(500, 4000, 100), closes_ms=closes_ms, products=only)
        )
    orders = [order(name, 250 * draw.randint(4, 24)) for name in names]
    green_g = {lot: draw.randint(4000, 16_000) for lot in ("lot-a", "lot-b")}
    return day(orders, products, machines, green_g=green_g)


@pytest.mark.parametrize("part", range(4))
def test_plans_of_small_days_are_as_good_as_the_best_of_all(part: int):
    """Fewest batches, then least uneven, then least green, as the best plan; short only where none meets all orders."""
    met = 0
    for seed in range(part, SMALL_DAYS, 4):
        given = small(seed)
        plan, best = plan_day(given), min(every_plan(given), default=None)
        if best is None:
            assert plan.shortfalls, seed
            continue
        met += 1
        assert not plan.shortfalls, seed
        assert plan.is_proven, seed
        assert [round(each.value) for each in plan.proofs[:3]] == list(best), seed
        assert (len(plan.batches), plan.green_g) == (best[0], best[2]), seed
    assert met > SMALL_DAYS / 4 / 4  # enough of both


def lowest_batches(of: Day, plan: Plan) -> float:
    """Bound of the linear relaxation: fractions of batches, all full, in the hours and the green there are."""
    places = [
        (n, m) for n, each in enumerate(plan.products) for m, on in enumerate(of.machines) if on.roasts(each.product.id)
    ]
    rows, limits = [], []
    for number, each in enumerate(plan.products):  # the least green that could do: all uncertainty averaged out
        loss = each.product.loss
        least_g = each.needed_g / (1 - loss.mean - loss.at(of.likelihood) * loss.mean_error)
        rows.append([-of.machines[m].largest_g if n == number else 0 for n, m in places])
        limits.append(-least_g)
    for place, on in enumerate(of.machines):
        if on.closes_ms is not None:
            hours = (on.closes_ms - on.opens_ms) / 60_000 - on.warm_up_min + on.between_min
            minutes = [plan.products[n].product.length_s.mean / 60 + on.between_min for n, _ in places]
            rows.append([minutes[i] if m == place else 0 for i, (_, m) in enumerate(places)])
            limits.append(hours)
    from scipy.optimize import linprog  # see above

    return linprog(np.ones(len(places)), A_ub=np.array(rows), b_ub=np.array(limits)).fun


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("closes_ms", [None, after_ms(420)])
def test_large_days_are_proven_and_near_the_linear_bound(seed: int, closes_ms: int | None):
    """40 orders, 12 products, 3 machines: fewest batches proven, at most one a product above the relaxation's bound."""
    given = large(seed, closes_ms=closes_ms)
    plan = plan_day(given)
    assert not plan.shortfalls
    fewest = next(each for each in plan.proofs if each.goal == "batches")
    assert fewest.proven
    assert len(plan.batches) == fewest.value
    assert (
        ceil(lowest_batches(given, plan) - 1e-6)
        <= len(plan.batches)
        <= lowest_batches(given, plan) + len(plan.products)
    )
    check_limits(given, plan)


def check_limits(of: Day, plan: Plan) -> None:
    """All charges, lots, hours and permissions hold, and whole grams add up."""
    taken: dict[str, int] = {}
    for slots in plan.machines:
        for slot in slots.slots:
            batch = slot.batch
            assert slots.machine.smallest_g <= batch.green_g <= slots.machine.largest_g
            assert slots.machine.roasts(batch.product)
            assert sum(batch.parts_g.values()) == batch.green_g
            assert min(batch.parts_g.values()) >= 0
            for lot, grams in batch.parts_g.items():
                taken[lot] = taken.get(lot, 0) + grams
        if slots.machine.closes_ms is not None and slots.end is not None:
            assert slots.end.at_ms <= slots.machine.closes_ms + 1000
    for lot, grams in of.green_g.items():
        assert plan.green_after_g[lot] == grams - taken.get(lot, 0) >= 0


@pytest.mark.parametrize("seed", range(2))
def test_short_days_keep_their_limits_too(seed: int):
    """With little green and short hours the plan takes no gram and no minute more than there is."""
    given = large(seed, closes_ms=after_ms(240), green_g=30_000)
    plan = plan_day(given)
    assert plan.shortfalls
    check_limits(given, plan)


CHARGES = st.lists(st.tuples(st.integers(0, 4), st.integers(1, 9), st.integers(0, 6)), min_size=1, max_size=3)


@given(CHARGES, st.data())
def test_green_is_spread_as_evenly_as_the_machines_allow(machines, data):
    """The charges sum to the green, keep to their limits, and no gram moved from a larger to a smaller one fits."""
    counts = [count for count, _, _ in machines]
    limits = [(low, low + width) for _, low, width in machines]
    least, most = (sum(c * limit[end] for c, limit in zip(counts, limits, strict=True)) for end in (0, 1))
    green_g = data.draw(st.integers(least, most))
    charges = even(counts, limits, green_g).charges_g
    assert [len(some) for some in charges] == counts
    each = [(charge, low, high) for some, (low, high) in zip(charges, limits, strict=True) for charge in some]
    assert sum(charge for charge, _, _ in each) == green_g
    assert all(low <= charge <= high for charge, low, high in each)
    assert not [1 for a, low, _ in each for b, _, high in each if a > low and b < high and a - b > 1]


def test_hours_lead_to_the_machine_that_has_them():
    """A drum that closes after two batches does two; the small one does the rest."""
    alder = product("alder")
    big = machine("big", 2000, 8000, closes_ms=after_ms(30 + 2 * 640 / 60 + 5 + 2))
    plan = plan_day(day([order("alder", 20_000)], [alder], [big, machine("small", 500, 3000)]))
    assert [len(each.slots) for each in plan.machines] == [2, 3]


def test_machine_that_may_not_roast_a_product_does_not():
    """A product goes to the drum that is left to it, however small."""
    alder, decaf = product("alder"), product("decaf", kind="decaf")
    big = machine("big", 2000, 8000, products=frozenset({"alder"}))
    plan = plan_day(
        day([order("alder", 6000), order("decaf", 6000)], [alder, decaf], [big, machine("small", 500, 3000)])
    )
    assert {(batch.product, batch.machine) for batch in plan.batches} == {("alder", "big"), ("decaf", "small")}


def test_many_machines_are_planned_with_the_bound_that_is_known():
    """Where the counts to try are too many, the fewest batches are still proven, and later goals state no bound."""
    products = [product(name) for name in "abc"]
    machines = [machine(f"m{number}", 500, 2000 + number) for number in range(7)]
    plan = plan_day(day([order(name, 15_000) for name in "abc"], products, machines))
    assert plan.is_proven
    assert {each.goal: each.bound for each in plan.proofs}["green"] == 0
    assert len(plan.batches) == 27  # 15 kg at some 15 % loss in charges of 2 kg: 9 each


def test_blend_takes_its_shares_to_the_gram():
    """A blend of a third and two thirds takes both within a gram, batch by batch and in all."""
    ferry = product("ferry", shares=(Share("x", 1 / 3), Share("y", 2 / 3)))
    plan = plan_day(day([order("ferry", 20_000)], [ferry], [machine()]))
    taken_g = plan.green_g
    assert abs((500_000 - plan.green_after_g["x"]) - taken_g / 3) <= 1
    for batch in plan.batches:
        assert sum(batch.parts_g.values()) == batch.green_g
        assert abs(batch.parts_g["x"] - batch.green_g / 3) <= 1


@given(
    st.integers(2000, 30_000),
    st.lists(st.tuples(st.integers(500, 3000), st.integers(500, 4000)), min_size=1, max_size=3),
    st.lists(st.integers(1000, 5000), max_size=2),
)
def test_patterns_are_all_counts_without_a_batch_too_many(needed_g, machines, set_g):
    """The patterns are those counts, of all there are, that suffice when full while one batch fewer does not."""
    loss, limits = product("alder").loss, [(low, low + width) for low, width in machines]
    need = Need(loss, needed_g, 0.9, set_g)

    def full(counts: Sequence[int]) -> bool:
        return need.met_by([high for (_, high), count in zip(limits, counts, strict=True) for _ in range(count)])

    places = range(len(limits))
    most = [next(n for n in range(99) if full([n if m == place else 0 for m in places])) for place in places]
    wanted = set()
    for counts in cross(*(range(count + 1) for count in most)):
        fewer = [[*counts[:m], count - 1, *counts[m + 1 :]] for m, count in enumerate(counts) if count]
        if full(counts) and not any(full(some) for some in fewer):
            wanted.add(counts)
    found, complete = patterns(need, limits)
    assert not complete or {each.counts for each in found} == wanted
    assert {each.counts for each in found} <= wanted
    assert all(need.met_by(each.all_g) for each in found)
    for each in found:
        for (low, high), some in zip(limits, each.charges_g, strict=True):
            assert all(low <= charge <= high for charge in some)


@pytest.mark.parametrize("closes_ms", [None, after_ms(240)])
def test_plan_stands_without_the_choice_of_patterns(closes_ms: int | None, monkeypatch: pytest.MonkeyPatch):
    """If the solver finds no patterns in its time, the linear model's counts give a plan, which claims no proof."""
    given = large(1, closes_ms=closes_ms)
    chosen = plan_day(given)
    monkeypatch.setattr(planning, "choose", lambda *_: None)
    plan = plan_day(given)
    check_limits(given, plan)
    assert not plan.is_proven
    assert len(plan.batches) == len(chosen.batches)
    short_g, least_g = (sum(each.grams for each in some.shortfalls) for some in (plan, chosen))
    assert short_g <= least_g + 100


def test_plan_says_that_it_found_nothing_in_time(monkeypatch: pytest.MonkeyPatch):
    """With no time at all for the solver nothing is planned, and the orders are short for want of a solution."""
    monkeypatch.setattr(solver, "SLICE_S", 0.0)
    plan = plan_day(large(1))
    assert not plan.is_proven
    assert plan.batches == []
    assert {reason for each in plan.shortfalls for reason in each.reasons} == {"unsolved"}
    assert {each.goal: each.proven for each in plan.proofs}["lack"] is False
