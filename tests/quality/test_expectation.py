"""Expectations from earlier batches: Student's prediction, and practice where they are few."""

from itertools import pairwise
from math import inf, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.quality.expectation import Expectation, Practice
from roastlog.quality.loss import LEAST_SPREAD, PRACTICE, PRACTICE_ANY, degree_of, expected_loss

RANGE = Practice(0.11, 0.22, 0.008)
LOSSES = st.lists(st.floats(0.08, 0.25), max_size=12)


def test_prediction_of_one_batch_is_the_textbook_one():
    """Mean ± t·s·√(1 + 1/n): 0.15 ± 2.776·0.0158·√1.2 for five batches; t of 4 degrees and 95 % from a table."""
    losses = [0.13, 0.14, 0.15, 0.16, 0.17]
    low, high = Expectation.of(losses, RANGE, least_spread=0).band(0.95)
    half = 2.776 * np.std(losses, ddof=1) * sqrt(1.2)
    assert (low, high) == pytest.approx((0.15 - half, 0.15 + half), abs=1e-5)


@pytest.mark.parametrize("count", [3, 10, 40])
@pytest.mark.parametrize("spread", [0.004, 0.008, 0.02])
def test_band_covers_what_it_says(count: int, spread: float):
    """80 % bands of a steady product hold 80 % of its next batches, whatever its spread: 3000 simulated products."""
    draw = np.random.default_rng(count)
    held = 0
    for _ in range(3000):
        values = draw.normal(0.15, spread, count + 1)
        low, high = Expectation.of(list(values[1:]), RANGE, least_spread=0).band(0.8)
        held += low <= values[0] <= high
    assert held / 3000 == pytest.approx(0.8, abs=0.03)  # four standard errors


def test_nothing_known_is_the_range_of_practice():
    """Without a batch, nine of ten products are within the range, and the expectation says that it is practice."""
    found = Expectation.of([], RANGE, least_spread=0.001)
    assert found.band(0.9) == pytest.approx((0.11, 0.22), abs=1e-4)
    assert (found.practice, found.degrees, found.batches) == (RANGE, inf, 0)


def test_one_batch_draws_the_range_towards_it():
    """One batch narrows the range and moves it; three speak for themselves."""
    none, one = (Expectation.of(values, RANGE, least_spread=0.001) for values in ([], [0.14]))
    assert none.mean > one.mean > 0.14
    assert one.mean_error < none.mean_error
    assert one.practice is RANGE
    assert Expectation.of([0.14, 0.14, 0.15], RANGE, least_spread=0.001).practice is None


@given(LOSSES, st.floats(0.5, 0.99))
def test_quantile_and_likelihood_are_inverse(losses, likelihood):
    """A value below the quantile of a likelihood has that likelihood."""
    found = expected_loss(losses)
    assert found.likelihood(found.at(likelihood)) == pytest.approx(likelihood)


@given(LOSSES, st.integers(1, 20))
def test_batches_average_out_their_own_part_alone(losses, count):
    """Over more batches the mean varies less, but never less than the mean of the product is known."""
    found = expected_loss(losses)
    alone, many = found.scale([1.0]), found.scale([1.0] * count) / count
    assert found.mean_error <= many <= alone * (1 + 1e-12)


def test_weighing_error_is_left_out():
    """A roasted weight of half a batch does not widen what is expected; the two of a steady coffee do."""
    steady = [0.148, 0.151, 0.153, 0.149, 0.150, 0.155]
    assert expected_loss([*steady, 0.39]) == expected_loss(steady)
    assert expected_loss([*steady, 0.165]).batches == 7


def test_equal_losses_are_not_taken_for_certain():
    """Three equal losses have the spread of a scale and of green moisture."""
    assert expected_loss([0.15, 0.15, 0.15]).spread == LEAST_SPREAD


def test_degrees_follow_each_other():
    """The ranges of practice touch, and a loss within one has its degree."""
    ranges = list(PRACTICE.values())
    assert all(before.high == after.low for before, after in pairwise(ranges))
    assert [degree_of((each.low + each.high) / 2) for each in ranges] == list(PRACTICE)
    assert degree_of(0.3) == "very_dark"
    assert (PRACTICE_ANY.low, PRACTICE_ANY.high) == (0.11, 0.22)
