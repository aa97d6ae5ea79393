"""Development model: the rate from first crack to drop, and the probe's temperature at the planned drop.

The rate falls slowly at first, because the probe lags behind the moves of first crack, then fast, then slowly again:
the remaining fall is proportional to x²(3 − 2x), where x is the share of the time that is left. This shape, the share
of the rate left at the drop, and the spreads were fitted on simulated roasts (`tests/roast_corpus.py`, seeds 1 to 80).
"""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

# The share left at the drop, and its spread between coffees and between batches of one.
_PRIOR_SHARE, _BETWEEN_SD, _WITHIN_SD = 0.48, 0.19, 0.22
_MEAN_DECLINE: Final = 0.41  # mean of the remaining fall from first crack to drop
_MEAN_SD_SHARE: Final = 0.72  # the mean rate varies less than the rate at the drop
_RATE_ERROR, _TEMP_ERROR = 0.5, 0.25  # errors of the live rate and the last readings [°C/min], [°C]


class DropRateShare(NamedTuple):
    """Share of first crack's rate that is left at the drop, and its spread."""

    share: float
    sd: float


class DropForecast(NamedTuple):
    """Temperature and rate at the drop, with their spreads. [°C], [°C/min]"""

    temp_c: float
    temp_sd: float
    rate: float
    rate_sd: float


def estimate_drop_rate_share(shares: Sequence[float]) -> DropRateShare:
    """Estimate from the batches, shrunk to the prior."""
    weight = len(shares) / (len(shares) + (_WITHIN_SD / _BETWEEN_SD) ** 2)
    mean = float(np.mean(shares)) if shares else _PRIOR_SHARE
    left = _BETWEEN_SD * math.sqrt(1 - weight)
    return DropRateShare(weight * mean + (1 - weight) * _PRIOR_SHARE, math.hypot(_WITHIN_SD, left))


def forecast_drop_from_crack(
    drop_rate: DropRateShare, temp_c: float, temp_sd: float, rate: float, rate_share: float, over_s: float
) -> DropForecast:
    """Forecast the drop before first crack.

    Parameters
    ----------
    drop_rate
        The coffee's drop rate share.
    temp_c, temp_sd, rate
        Temperature at first crack, its spread, and the rate there. [°C], [°C/min]
    rate_share
        Relative spread of that rate.
    over_s
        The planned development. [s]
    """
    gain, rise = drop_rate.share + (1 - drop_rate.share) * _MEAN_DECLINE, rate / 60 * over_s
    return DropForecast(
        temp_c + gain * rise,
        math.hypot(temp_sd, rise * math.hypot(_MEAN_SD_SHARE * drop_rate.sd, gain * rate_share)),
        rate * drop_rate.share,
        rate * math.hypot(drop_rate.sd, drop_rate.share * rate_share),
    )


def forecast_drop_from_now(
    drop_rate: DropRateShare, temp_c: float, rate: float, crack_rate: float, left_s: float, over_s: float
) -> DropForecast:
    """Forecast the drop after first crack.

    Parameters
    ----------
    drop_rate
        The coffee's drop rate share.
    temp_c, rate, crack_rate
        Temperature and rate now, and the rate at first crack. [°C], [°C/min]
    left_s, over_s
        Remaining and total planned development. [s]
    """
    left = min(left_s / max(over_s, 1.0), 1.0)
    decline = (1 - drop_rate.share) * crack_rate
    drop_rate_c = rate - decline * left**2 * (3 - 2 * left)
    mean_rate = drop_rate_c + decline * _MEAN_DECLINE * left**2 * (2 - left)
    rate_sd = crack_rate * drop_rate.sd * min(1.2 * left, 1.0)
    return DropForecast(
        temp_c + left_s / 60 * mean_rate,
        math.hypot(_TEMP_ERROR, left_s / 60 * _MEAN_SD_SHARE * rate_sd),
        drop_rate_c,
        math.hypot(_RATE_ERROR, rate_sd),
    )
