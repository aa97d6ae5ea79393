"""Moment model: the probe temperature of a moment, the time at which the climb reaches it, and the error of both.

Probes of machines differ by 5 to 20 °C [memory: practice], so the prior holds only until the first batch of a coffee on
a machine shows what its probe reads. All numbers here were fitted on simulated roasts (`tests/roast_corpus.py`, seeds
1 to 80), to calibrate the quantiles of the forecasts between half a minute and four minutes ahead.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Column = NDArray[np.float64]

PRIOR_WEIGHT: Final = 6.0
"""The prior of a spread weighs as much as this many batches."""

_NORMAL: Final = NormalDist()
_SLOPE_PRIOR_WEIGHT: Final = 8.0  # sum of squares of the batches' rates that weighs as much as the prior [(°C/min)²]
_OVERDUE_SD: Final = 3.0  # a moment this late has most likely passed without a tap
_FITTED_TO_S: Final = 250.0  # the errors were fitted up to this lead time


class SpreadGrowth(NamedTuple):
    """A spread over lead time: ``(floor + untrained / √(1 + batches)) · (ahead / 100 s) ** power``."""

    floor: float
    untrained: float
    power: float

    def at(self, ahead_s: float, batches: int) -> float:
        """The spread at a lead time, with a number of earlier batches. [s]"""
        share = self.floor + self.untrained / math.sqrt(1 + batches)
        return share * float((max(ahead_s, 5.0) / 100) ** self.power)


@dataclass(frozen=True)
class MomentPrior:
    """Prior of a moment over all coffees and machines.

    Attributes
    ----------
    temp_c, rate, per_rate : float
        Probe temperature of the moment at ``rate``, and its slope over the rate, because the probe lags.
    between_c, within_c : float
        Spread of the temperature between coffees, and between batches of one. [°C]
    from_c : float
        Below this temperature a forecast is too rough for a band. [°C]
    shrinkage, shrink_to_s : tuple of float, float
        Forecasts are shrunk to this lead time, by a share (constant, and untrained): people and beans vary less than
        climbs, so extreme forecasts are mostly errors.
    tap_sd_s : float
        Spread of a tap around the true moment. [s]
    time_share : SpreadGrowth
        Error of the climb, as a share of the lead time.
    rate_share : tuple of float, SpreadGrowth
        Relative error of the rate at the moment: a constant part, and a part that grows.
    """

    temp_c: float
    rate: float
    per_rate: float
    between_c: float
    within_c: float
    from_c: float
    shrinkage: tuple[float, float]
    shrink_to_s: float
    tap_sd_s: float
    time_share: SpreadGrowth
    rate_share: tuple[float, SpreadGrowth]


# First crack usually occurs near 196 °C [verified: doi:10.1038/s41598-025-06601-w]; the simulated probes read 197.4.
MOMENTS: Final[Mapping[str, MomentPrior]] = {
    "yellow": MomentPrior(
        148.4,
        18.7,
        -0.3,
        4.0,
        2.9,
        105.0,
        (0.0, 0.0),
        110.0,
        8.0,
        SpreadGrowth(0.0, 0.18, 1.2),
        (0.039, SpreadGrowth(0.042, 0.21, 0.36)),
    ),
    "first_crack": MomentPrior(
        197.4,
        7.1,
        -0.4,
        2.4,
        0.95,
        125.0,
        (0.053, 0.28),
        110.0,
        3.0,
        SpreadGrowth(0.042, 0.058, 0.49),
        (0.041, SpreadGrowth(0.059, 0.105, 0.64)),
    ),
}


class MomentEstimate(NamedTuple):
    """A coffee's temperature of a moment at a rate, its slope over the rate, and its spread. [°C], [°C/min]"""

    temp_c: float
    rate: float
    per_rate: float
    sd_c: float
    batches: int


def estimate_moment(usual: MomentPrior, temps: Column, rates: Column) -> MomentEstimate:
    """Estimate from the batches, shrunk to the prior. [°C], [°C/min]"""
    count = temps.size
    if not count:
        return MomentEstimate(usual.temp_c, usual.rate, usual.per_rate, math.hypot(usual.between_c, usual.within_c), 0)
    rate, spread = float(rates.mean()), rates - rates.mean()
    per_rate = float(spread @ temps + usual.per_rate * _SLOPE_PRIOR_WEIGHT) / float(
        spread @ spread + _SLOPE_PRIOR_WEIGHT
    )
    left = temps - temps.mean() - per_rate * spread
    within = math.sqrt((PRIOR_WEIGHT * usual.within_c**2 + float(left @ left)) / (PRIOR_WEIGHT + count - 1))
    share = count / (count + (within / usual.between_c) ** 2)
    before = usual.temp_c + usual.per_rate * (rate - usual.rate)
    temp_c = share * float(temps.mean()) + (1 - share) * before
    return MomentEstimate(temp_c, rate, per_rate, within * math.sqrt(1 + share / count), count)


class Crossing(NamedTuple):
    """Lead time, temperature and rate at which the climb reaches a moment. [s], [°C], [°C/min]"""

    ahead_s: float
    temp_c: float
    rate: float


def find_crossing(estimate: MomentEstimate, time_s: Column, temp_c: Column, rate: Column) -> Crossing:
    """First crossing of a climb with a moment's temperature; negative if already past it. [s], [°C], [°C/min]"""
    wanted = estimate.temp_c + estimate.per_rate * (rate - estimate.rate)
    over = temp_c - wanted
    past = np.flatnonzero(over >= 0)
    at = int(past[0]) if past.size else over.size - 1
    if at == 0 or not past.size:  # extrapolate linearly from the nearer end of the climb
        ahead_s = float(time_s[at] - time_s[0] - 60 * over[at] / rate[at])
        return Crossing(ahead_s, float(wanted[at]), float(rate[at]))
    share = float(over[at - 1] / (over[at - 1] - over[at]))
    ahead_s, temp, then = (float(c[at - 1] + share * (c[at] - c[at - 1])) for c in (time_s - time_s[0], temp_c, rate))
    return Crossing(ahead_s, temp, then)


class TimeForecast(NamedTuple):
    """Lead time as a normal distribution truncated at 0. [s]"""

    ahead_s: float
    sd_s: float

    def quantile(self, share: float) -> float:
        """Quantile of the lead time, given that the moment has not occurred yet. [s]"""
        open_share = _NORMAL.cdf(max(self.ahead_s / self.sd_s, -6.0))
        return max(0.0, self.ahead_s - self.sd_s * _NORMAL.inv_cdf(min((1 - share) * open_share, 1 - 1e-12)))

    @property
    def overdue(self) -> bool:
        """Whether the moment has most likely passed without a tap."""
        return self.ahead_s < -_OVERDUE_SD * self.sd_s

    @property
    def is_within_fitted_range(self) -> bool:
        """Whether the lead time is within the range for which errors were fitted."""
        return self.ahead_s <= _FITTED_TO_S


def forecast_time(usual: MomentPrior, estimate: MomentEstimate, crossing: Crossing) -> TimeForecast:
    """Lead time with its shrinkage and its error."""
    pull = usual.shrinkage[0] + usual.shrinkage[1] / (1 + estimate.batches)
    near = min(max(crossing.ahead_s / usual.shrink_to_s, 0.0), 1.0)
    ahead_s = crossing.ahead_s + pull * near * (usual.shrink_to_s - crossing.ahead_s)
    by_temp = 60 * estimate.sd_c / crossing.rate
    by_climb = max(ahead_s, 0.0) * usual.time_share.at(ahead_s, estimate.batches) if ahead_s > 0 else 0.0
    return TimeForecast(ahead_s, math.sqrt(by_temp**2 + by_climb**2 + 4.0))


def rate_spread(usual: MomentPrior, estimate: MomentEstimate, crossing: Crossing) -> float:
    """Relative standard error of the rate at the moment."""
    always, on_top = usual.rate_share
    return math.hypot(always, on_top.at(crossing.ahead_s, estimate.batches))
