"""Comparison of a batch with 200 others: the pure computation, without reading them."""

import time
from dataclasses import replace

from roastlog.curve.comparison.compare import compare
from roastlog.curve.comparison.deviations import usual_spread
from tests.bench.report import Figure
from tests.hands import steady

BATCHES = 200
DIFFERENT = 10  # the others repeat them: the cost does not depend on the content of a curve
SEED = 340


def measure() -> list[Figure]:
    """Usual differences from 20 batches, and 200 comparisons by them."""
    guide, *others = (steady(SEED, number) for number in range(DIFFERENT + 1))
    made = [replace(others[number % DIFFERENT], name=str(number)) for number in range(BATCHES)]
    begun_s = time.perf_counter()
    usual = usual_spread(made)
    learnt_s = time.perf_counter() - begun_s
    for batch in made:
        compare(batch, guide, usual=usual)
    whole_s = time.perf_counter() - begun_s
    return [
        Figure("what is usual, from 20 batches", 1000 * learnt_s, "ms"),
        Figure(f"comparing with {BATCHES} batches, the usual among it", whole_s, "s", bound="≤ 1 s"),
    ]
