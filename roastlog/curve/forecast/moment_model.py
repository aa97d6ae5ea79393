"""When a moment comes: at what probe temperature it shows, where the climb meets that, and how far that may be off.

Probes of machines differ by 5 to 20 °C [memory: practice], so what is usual holds only until the first batch of a
coffee on a machine has shown what its probe reads. All numbers here were fitted on simulated roasts
(`tests/roast_corpus.py`, seeds 1 to 80), to make the quantiles of the forecasts right between half a minute and four
minutes ahead.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Column = NDArray[np.float64]

BELIEF: Final = 6.0
"""What is usual of a spread counts as so many batches."""

_NORMAL: Final = NormalDist()
_SLOPE_BELIEF: Final = 8.0  # so much must the batches' rates vary to count as what is usual does. [(°C/min)²]
_OVERDUE_SD: Final = 3.0  # a moment as late as that has most likely passed without a tap
_TRIED_S: Final = 250.0  # the errors were fitted so far ahead


class Growth(NamedTuple):
    """A spread that grows with the seconds ahead: ``(ever + new / √(1 + batches)) · (ahead / 100 s) ** power``."""

    ever: float
    new: float
    power: float

    def at(self, ahead_s: float, batches: int) -> float:
        """The spread that long ahead, after so many batches. [s]"""
        share = self.ever + self.new / math.sqrt(1 + batches)
        return share * float((max(ahead_s, 5.0) / 100) ** self.power)


@dataclass(frozen=True)
class MomentPrior:
    """What is usual for a moment over coffees and machines at large.

    Attributes
    ----------
    temp_c, rate, per_rate : float
        The probe temperature it shows at when the rate is ``rate``, and how that goes with the rate: the probe lags.
    between_c, within_c : float
        Spread of that from coffee to coffee, and from batch to batch of one. [°C]
    from_c : float
        Below this a forecast is too rough for a band. [°C]
    drawn, drawn_to_s : tuple of float, float
        A forecast of more than a little is drawn to so many seconds ahead, by a share (ever, and by batch lacking):
        people and beans differ less than climbs do, so extremes among the forecasts are mostly errors.
    tap_s : float
        How far a tap is from what the beans did. [s]
    time_share : Growth
        Error of the climb, as a share of the time ahead.
    rate_share : tuple of float, Growth
        Error of the rate then, as a share of it: what there always is, and what comes on top.
    """

    temp_c: float
    rate: float
    per_rate: float
    between_c: float
    within_c: float
    from_c: float
    drawn: tuple[float, float]
    drawn_to_s: float
    tap_s: float
    time_share: Growth
    rate_share: tuple[float, Growth]


# First crack is usual near 196 °C [verified: doi:10.1038/s41598-025-06601-w]; the simulated probes read 197.4.
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
        Growth(0.0, 0.18, 1.2),
        (0.039, Growth(0.042, 0.21, 0.36)),
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
        Growth(0.042, 0.058, 0.49),
        (0.041, Growth(0.059, 0.105, 0.64)),
    ),
}


class Sign(NamedTuple):
    """At what temperature a moment shows for this coffee, how that goes with the rate, and its spread. [°C]"""

    temp_c: float
    rate: float
    per_rate: float
    sd_c: float
    batches: int


def sign_of(usual: MomentPrior, temps: Column, rates: Column) -> Sign:
    """What is usual, and what the batches showed, weighed against each other. [°C], [°C/min]"""
    count = temps.size
    if not count:
        return Sign(usual.temp_c, usual.rate, usual.per_rate, math.hypot(usual.between_c, usual.within_c), 0)
    rate, spread = float(rates.mean()), rates - rates.mean()
    per_rate = float(spread @ temps + usual.per_rate * _SLOPE_BELIEF) / float(spread @ spread + _SLOPE_BELIEF)
    left = temps - temps.mean() - per_rate * spread
    within = math.sqrt((BELIEF * usual.within_c**2 + float(left @ left)) / (BELIEF + count - 1))
    share = count / (count + (within / usual.between_c) ** 2)
    before = usual.temp_c + usual.per_rate * (rate - usual.rate)
    temp_c = share * float(temps.mean()) + (1 - share) * before
    return Sign(temp_c, rate, per_rate, within * math.sqrt(1 + share / count), count)


class Meeting(NamedTuple):
    """Where the climb meets a sign: in how many seconds, at what temperature and rate. [s], [°C], [°C/min]"""

    ahead_s: float
    temp_c: float
    rate: float


def meet(sign: Sign, time_s: Column, temp_c: Column, rate: Column) -> Meeting:
    """Where a climb from now on first meets a sign; before now where it is past it already. [s], [°C], [°C/min]"""
    wanted = sign.temp_c + sign.per_rate * (rate - sign.rate)
    over = temp_c - wanted
    past = np.flatnonzero(over >= 0)
    at = int(past[0]) if past.size else over.size - 1
    if at == 0 or not past.size:  # along a straight line from the end of the climb that is nearer
        ahead_s = float(time_s[at] - time_s[0] - 60 * over[at] / rate[at])
        return Meeting(ahead_s, float(wanted[at]), float(rate[at]))
    share = float(over[at - 1] / (over[at - 1] - over[at]))
    ahead_s, temp, then = (float(c[at - 1] + share * (c[at] - c[at - 1])) for c in (time_s - time_s[0], temp_c, rate))
    return Meeting(ahead_s, temp, then)


class Guess(NamedTuple):
    """A normal distribution, of which only what is above 0 can still be, for the seconds ahead. [s]"""

    ahead_s: float
    sd_s: float

    def quantile(self, share: float) -> float:
        """So many seconds ahead with that probability, given that it has not come yet. [s]"""
        open_share = _NORMAL.cdf(max(self.ahead_s / self.sd_s, -6.0))
        return max(0.0, self.ahead_s - self.sd_s * _NORMAL.inv_cdf(min((1 - share) * open_share, 1 - 1e-12)))

    @property
    def overdue(self) -> bool:
        """Whether it is so late that it has most likely passed untold."""
        return self.ahead_s < -_OVERDUE_SD * self.sd_s

    @property
    def tried(self) -> bool:
        """Whether it is as near as the errors were fitted for."""
        return self.ahead_s <= _TRIED_S


def guess(usual: MomentPrior, sign: Sign, met: Meeting) -> Guess:
    """When it comes, drawn to what is common, and how far that may be off."""
    pull = usual.drawn[0] + usual.drawn[1] / (1 + sign.batches)
    near = min(max(met.ahead_s / usual.drawn_to_s, 0.0), 1.0)
    ahead_s = met.ahead_s + pull * near * (usual.drawn_to_s - met.ahead_s)
    by_temp = 60 * sign.sd_c / met.rate
    by_climb = max(ahead_s, 0.0) * usual.time_share.at(ahead_s, sign.batches) if ahead_s > 0 else 0.0
    return Guess(ahead_s, math.sqrt(by_temp**2 + by_climb**2 + 4.0))


def rate_spread(usual: MomentPrior, sign: Sign, met: Meeting) -> float:
    """Standard error of the rate then, as a share of it."""
    always, on_top = usual.rate_share
    return math.hypot(always, on_top.at(met.ahead_s, sign.batches))
