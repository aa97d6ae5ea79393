"""Green from roasted: the likelihood, and its coverage over simulated days."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.quality.loss import expected_loss
from roastlog.trace.plan.planning import plan_day
from roastlog.trace.plan.yields import green_with, likelihood_of, likely_yield, roasted_with
from tests.trace.plan.days import day, machine, order, product

LOSSES = st.lists(st.floats(0.10, 0.22), max_size=12)
CHARGES = st.lists(st.integers(500, 12_000), min_size=1, max_size=8)
DAYS = 2000


@pytest.mark.parametrize("likelihood", [0.5, 0.9])
@pytest.mark.parametrize("batches", [3, 10, 40])
def test_planned_green_suffices_as_often_as_asked(batches: int, likelihood: float):
    """Of 2000 days, each with its own earlier batches, the plan's charges suffice on the asked share of them ± 3 %."""
    draw = np.random.default_rng(batches)
    sufficed = 0
    for _ in range(DAYS):
        mean, spread = draw.uniform(0.12, 0.19), draw.uniform(0.004, 0.012)
        losses = draw.normal(mean, spread, batches).tolist()
        needed_g = 250 * int(draw.integers(30, 120))
        loss = expected_loss(losses)
        count = -(-needed_g // 3500)
        green_g = green_with(loss, needed_g, [1.0] * count, likelihood)
        charges_g = [green_g // count] * count
        charges_g[0] += green_g - sum(charges_g)
        sufficed += sum(charges_g * (1 - draw.normal(mean, spread, count))) >= needed_g
    assert sufficed / DAYS == pytest.approx(likelihood, abs=0.03)  # the standard error is 0.011 at most


@pytest.mark.parametrize("batches", [3, 10, 40])
def test_whole_plans_suffice_as_often_as_asked(batches: int):
    """The same with whole plans of 200 days: 90 % asked, 85 to 95 % suffice."""
    draw = np.random.default_rng(batches)
    sufficed = 0
    for seed in range(200):
        mean, spread = draw.uniform(0.12, 0.19), draw.uniform(0.004, 0.012)
        alder = product("alder", losses=tuple(draw.normal(mean, spread, batches)), seed=seed)
        plan = plan_day(day([order("alder", 250 * int(draw.integers(30, 120)))], [alder], [machine()]))
        charges_g = np.array(plan.products[0].charges_g)
        sufficed += np.sum(charges_g * (1 - draw.normal(mean, spread, charges_g.size))) >= plan.products[0].needed_g
        assert plan.products[0].likelihood == pytest.approx(0.9, abs=0.01)
    assert 0.85 <= sufficed / 200 <= 0.95


@given(LOSSES, CHARGES, st.floats(0.5, 0.99))
def test_likelihood_and_what_is_likely_agree(losses, charges, likelihood):
    """The grams that charges give with a likelihood they give with at least that one, and 20 g more with less."""
    loss = expected_loss(losses)
    likely_g = roasted_with(loss, charges, likelihood)
    assert likelihood_of(loss, charges, likely_g) >= likelihood - 1e-6
    if likely_yield(loss, charges, likelihood) > 0.6:
        assert likelihood_of(loss, charges, likely_g + 20) < likelihood


@given(LOSSES, st.integers(1, 60_000), st.integers(1, 12), st.floats(0.5, 0.99))
def test_green_for_a_need_is_the_least_that_does(losses, needed_g, count, likelihood):
    """The green of equal charges suffices with the likelihood, and two grams less do not."""
    loss = expected_loss(losses)
    green_g = green_with(loss, needed_g, [1.0] * count, likelihood)
    assert green_g * likely_yield(loss, [1.0] * count, likelihood) >= needed_g - 1e-6
    assert (green_g - 2) * likely_yield(loss, [1.0] * count, likelihood) < needed_g


def test_few_batches_ask_for_more_green():
    """For the same losses, fewer earlier batches ask for more green, and none for most."""
    known = [0.145, 0.15, 0.155]
    asked = [green_with(expected_loss(losses), 10_000, [1.0] * 3, 0.9) for losses in (known * 10, known * 3, known, [])]
    assert asked == sorted(asked)
    assert len(set(asked)) == 4


def test_no_coffee_loses_more_than_all_it_can():
    """Three wild batches leave a loss open that no coffee has: the green is that for 40 %, and then it is certain."""
    loss = expected_loss([0.05, 0.2, 0.38])
    assert green_with(loss, 6000, [1.0], 0.99) == 10_000
    assert likelihood_of(loss, [10_000], 6000) == 1.0
    assert likelihood_of(loss, [10_000], 10_001) == 0.0
