"""Test cases of the outlook: batches of held-out coffees, forecast at known lead times.

A coffee is one bean on one machine by one operator. Its first `HISTORY` batches, with a person's taps, are the
history; the `SCORED` after them are forecast and scored against the true moments. The constants in `roastlog.curve`
were fitted on seeds 1 to 80; nothing here may use those.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from roastlog.curve.forecast.outlook import MomentForecast, Outlook
from roastlog.curve.rate.rate_of_rise import rate_of_rise
from roastlog.curve.roast import Roast
from tests.kept import kept
from tests.roast_corpus import Known, batches, read

HISTORY, SCORED = 20, 3
USUAL_CRACK_C = 196.0  # starting point of the straight line as long as no batch of the coffee is known


@dataclass(frozen=True, eq=False)
class Coffee:
    """Batches of one coffee: as entered, and as they truly were."""

    roasts: Sequence[Roast]
    known: Sequence[Known]


@dataclass(frozen=True)
class Asked:
    """One forecast beside the outcome, and beside the straight line's forecast. [s], [°C], [°C/min]"""

    seed: int
    batch: int
    lead_s: float
    forecast: MomentForecast
    true_s: float
    true_c: float
    true_rate: float
    straight_s: float

    @property
    def error_s(self) -> float:
        """Too late (+) or too early (−). [s]"""
        return self.forecast.time_s - self.true_s

    @property
    def straight_error_s(self) -> float:
        """Error of the straight line. [s]"""
        return self.straight_s - self.true_s

    @property
    def inside(self) -> bool | None:
        """Whether the band of the time covers the outcome; None without a band."""
        low_s, high_s = self.forecast.low_s, self.forecast.high_s
        return None if low_s is None or high_s is None else low_s <= self.true_s <= high_s


@kept
def _live_rates(seed: int, count: int) -> list[NDArray[np.float64]]:
    """Live rates of a coffee's batches, as the probe reads them; they take longer than all forecasts. [°C/min]"""
    known = batches(seed, count)
    return [rate_of_rise(one.time_s, _probed(one, seed, number)) for number, one in enumerate(known)]


def _probed(known: Known, seed: int, number: int) -> NDArray[np.float64]:
    """A batch as the probe reads it: σ 0.25 °C, steps of 0.1 °C."""
    return read(known.probe_c, np.random.default_rng([31, seed, number]))


@cache
def coffee(seed: int, scored: int = SCORED) -> Coffee | None:
    """All batches of a coffee, as the probe read them and a person tapped; None if its operator cannot roast it."""
    count = HISTORY + scored
    try:
        known = batches(seed, count)
    except AssertionError:
        return None
    told = [
        Roast(
            one.time_s, _probed(one, seed, number), rate, one.moments_s, one.moves, one.green_g, name=f"{seed}-{number}"
        )
        for number, (one, rate) in enumerate(zip(known, _live_rates(seed, count), strict=True))
    ]
    return Coffee(told, known)


def ask(
    seeds: Sequence[int], learnt: int, leads_s: Sequence[float], *, moment: str = "first_crack", scored: int = SCORED
) -> list[Asked]:
    """Forecasts of a moment after a number of earlier batches, at a lead time. [s]"""
    found = []
    for seed in seeds:
        if (beans := coffee(seed, scored)) is None:
            continue
        outlook = Outlook(beans.roasts[HISTORY - learnt : HISTORY])
        for number in range(HISTORY, HISTORY + scored):
            roast, known = beans.roasts[number], beans.known[number]
            true_s = known.true_s[moment]
            last = beans.roasts[number - 1] if learnt else None
            for lead_s in leads_s:
                # A late tap of yellow must not hide it: the outcome is the beans' true one.
                roast_so_far = roast.upto(true_s - lead_s)
                forecast = {one.moment: one for one in outlook.forecast(roast_so_far)}.get(moment)
                if forecast is not None:
                    then = (float(np.interp(true_s, known.time_s, c)) for c in (known.probe_c, known.rate_c_per_min))
                    found.append(Asked(seed, number, lead_s, forecast, true_s, *then, straight(roast_so_far, last)))
    return found


def straight(roast_so_far: Roast, last: Roast | None) -> float:
    """Time at which a line through the last 30 s reaches the last batch's first-crack temperature. [s]"""
    crack_c = USUAL_CRACK_C if last is None else np.interp(last.moments_s["first_crack"], last.time_s, last.temp_c)
    rise = (roast_so_far.temp_c[-1] - roast_so_far.temp_c[-31]) / 30
    return float(roast_so_far.time_s[-1] + (crack_c - roast_so_far.temp_c[-1]) / max(rise, 1e-3))


def mean_miss_s(asked: Sequence[Asked]) -> float:
    """Mean absolute error. [s]"""
    return float(np.mean([abs(one.error_s) for one in asked]))


def mean_straight_miss_s(asked: Sequence[Asked]) -> float:
    """Mean absolute error of the straight lines. [s]"""
    return float(np.mean([abs(one.straight_error_s) for one in asked]))


def coverage(asked: Sequence[Asked]) -> tuple[float, int]:
    """Share of bands that cover the outcome, and number of roasts: bands of one roast are not independent."""
    inside = [one.inside for one in asked if one.inside is not None]
    return float(np.mean(inside)), len({(one.seed, one.batch) for one in asked if one.inside is not None})


def crps_normal(z: float) -> float:
    """Continuous ranked probability score of a standard normal forecast (Gneiting and Raftery 2007)."""
    unit = NormalDist()
    return z * (2 * unit.cdf(z) - 1) + 2 * unit.pdf(z) - 1 / np.sqrt(np.pi)


def mean_crps_s(asked: Sequence[Asked]) -> float:
    """Mean score of the times with a band, treated as the normal distribution of that 80 % band. [s]"""
    scores = []
    for one in asked:
        if one.forecast.low_s is not None and one.forecast.high_s is not None:
            sd_s = (one.forecast.high_s - one.forecast.low_s) / (2 * 1.2815515655446004)
            scores.append(sd_s * crps_normal(one.error_s / sd_s))
    return float(np.mean(scores))
