"""Accuracy, calibration and cost of the outlook on coffees that it was not fitted on."""

import time

from roastlog.curve.forecast.outlook import Outlook
from tests.bench.report import Figure, quantile
from tests.outlooks import ask, coffee, coverage, mean_crps_s, mean_miss_s, mean_straight_miss_s

SEEDS = (*range(20_000, 20_060), *range(30_000, 30_060))
LEADS_S = (60.0, 120.0, 180.0)
ASKED_S = 120.0
BOUNDS = {0: "≤ 0.75 times", 5: "≤ 0.5 times", 20: "≤ 0.5 times"}


def measure() -> list[Figure]:
    """Error with the straight line's as its floor, coverage and score by number of earlier batches; and costs."""
    return [figure for learnt in (0, 1, 5, 20) for figure in _learnt(learnt)] + _costs()


def _learnt(learnt: int) -> list[Figure]:
    found = ask(SEEDS, learnt, LEADS_S)
    at = [one for one in found if one.lead_s == ASKED_S]
    held, roasts = coverage(found)
    name = f"first crack, {learnt} batches learnt, {roasts} roasts"
    straight = mean_straight_miss_s(at)
    return [
        Figure(
            f"{name}: error, asked 120 s before",
            mean_miss_s(at),
            "s",
            straight,
            "straight line",
            BOUNDS.get(learnt, ""),
        ),
        *(
            Figure(f"  asked {lead_s:.0f} s before", mean_miss_s([one for one in found if one.lead_s == lead_s]), "s")
            for lead_s in LEADS_S
        ),
        Figure("  moments within their band", 100 * held, "%", bound="75 to 85 %"),
        Figure("  score of the bands (CRPS)", mean_crps_s(found), "s"),
    ]


def _costs() -> list[Figure]:
    beans = next(found for seed in SEEDS if (found := coffee(seed)) is not None)
    begun_s = time.perf_counter()
    outlook = Outlook(beans.roasts[:20], development_s=80.0)
    learnt_s = time.perf_counter() - begun_s
    roast, updates = beans.roasts[20], []
    for at_s in range(120, int(roast.time_s[-1]), 2):
        roast_so_far = roast.upto(float(at_s))
        begun_s = time.perf_counter()
        outlook.forecast(roast_so_far)
        updates.append(time.perf_counter() - begun_s)
    return [
        Figure("an outlook learns from 20 batches", 1000 * learnt_s, "ms"),
        Figure("an update of it, 95 of 100", 1000 * quantile(updates, 0.95), "ms", bound="≤ 5 ms"),
    ]
