"""Time to plan a day of 40 orders, 12 products and 3 machines, and how long a cancel of it waits at most."""

import statistics
import time
from collections.abc import Sequence
from itertools import pairwise

from roastlog.trace.plan.alternatives import alternatives
from roastlog.trace.plan.planning import Plan, plan_day
from roastlog.trace.plan.watch import Watch
from tests.bench.report import Figure, quantile
from tests.trace.plan.days import after_ms, large

DAYS = 12
SHORT = after_ms(240)  # four hours, which are too few for the orders


def measure() -> list[Figure]:
    """Days with time enough, days that are short of it, and the alternatives to the former."""
    plan_day(large(0))  # scipy is imported
    enough, plans, waits = _planned([None] * DAYS)
    short, _, waits_short = _planned([SHORT] * DAYS)
    traded = []
    for plan in plans[:4]:
        begun_s = time.perf_counter()
        alternatives(plan)
        traded.append(time.perf_counter() - begun_s)
    proven = sum(plan.is_proven for plan in plans) / len(plans)
    return [
        Figure("plan of 40 orders, 12 products, 3 machines, median", statistics.median(enough), "s", bound="under 2 s"),
        Figure("plan of 40 orders, 12 products, 3 machines, longest", max(enough), "s", bound="under 2 s"),
        Figure("those that are proven", 100 * proven, "%"),
        Figure("plan of a day too short for them, median", statistics.median(short), "s"),
        Figure("alternatives to a plan, longest", max(traded), "s"),
        Figure("wait for a cancel, p95", quantile([*waits, *waits_short], 0.95), "s"),
        Figure("wait for a cancel, longest", max(*waits, *waits_short), "s", bound="a fraction of a second"),
    ]


def _planned(closings: Sequence[int | None]) -> tuple[list[float], list[Plan], list[float]]:
    """Seconds of each plan, the plans, and the seconds between any two questions whether it was cancelled."""
    took_s, plans, waits_s = [], [], []
    for seed, closes_ms in enumerate(closings):
        asked_s = [time.perf_counter()]
        watch = Watch(progress=lambda _step, _share, asked_s=asked_s: asked_s.append(time.perf_counter()))
        plans.append(plan_day(large(seed, closes_ms=closes_ms), watch))
        asked_s.append(time.perf_counter())
        took_s.append(asked_s[-1] - asked_s[0])
        waits_s += [after - before for before, after in pairwise(asked_s)]
    return took_s, plans, waits_s
