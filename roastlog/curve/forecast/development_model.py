"""From first crack to drop: how the rate goes on, and what the probe will read when the planned development is over.

The rate falls late at first, for the probe lags behind the moves of first crack, then fast, then less: what is still
to fall goes as x²(3 − 2x) with the share x of the time that is left. That, the share of the rate that is left at the
drop, and the spreads were fitted on simulated roasts (`tests/roast_corpus.py`, seeds 1 to 80).
"""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

_USUAL, _BETWEEN, _WITHIN = 0.48, 0.19, 0.22  # the share left at the drop; its spread over coffees, and over batches
_BENT: Final = 0.41  # mean from first crack to drop of what is still to fall
_MEAN_STRAYS: Final = 0.72  # the mean rate strays less than the one at the drop
_RATE_ERROR, _TEMP_ERROR = 0.5, 0.25  # of the live rate and the last readings. [°C/min], [°C]


class Ending(NamedTuple):
    """The share of first crack's rate that is left at the drop, and the spread of that."""

    share: float
    sd: float


class Drop(NamedTuple):
    """What the probe will read at the drop and how fast it will rise, with their spreads. [°C], [°C/min]"""

    temp_c: float
    temp_sd: float
    rate: float
    rate_sd: float


def ending_of(shares: Sequence[float]) -> Ending:
    """What is usual, and what the batches showed, weighed against each other."""
    weight = len(shares) / (len(shares) + (_WITHIN / _BETWEEN) ** 2)
    mean = float(np.mean(shares)) if shares else _USUAL
    left = _BETWEEN * math.sqrt(1 - weight)
    return Ending(weight * mean + (1 - weight) * _USUAL, math.hypot(_WITHIN, left))


def from_crack(ending: Ending, temp_c: float, temp_sd: float, rate: float, rate_share: float, over_s: float) -> Drop:
    """The drop from a first crack that is still to come.

    Parameters
    ----------
    ending
        How this coffee goes on.
    temp_c, temp_sd, rate
        Temperature at first crack, its spread, and the rate there. [°C], [°C/min]
    rate_share
        Spread of that rate, as a share of it.
    over_s
        The planned development. [s]
    """
    gain, rise = ending.share + (1 - ending.share) * _BENT, rate / 60 * over_s
    return Drop(
        temp_c + gain * rise,
        math.hypot(temp_sd, rise * math.hypot(_MEAN_STRAYS * ending.sd, gain * rate_share)),
        rate * ending.share,
        rate * math.hypot(ending.sd, ending.share * rate_share),
    )


def from_now(ending: Ending, temp_c: float, rate: float, crack_rate: float, left_s: float, over_s: float) -> Drop:
    """The drop of a roast that is past its first crack.

    Parameters
    ----------
    ending
        How this coffee goes on.
    temp_c, rate, crack_rate
        Temperature and rate now, and the rate at first crack. [°C], [°C/min]
    left_s, over_s
        What is left of the planned development, and the whole of it. [s]
    """
    left = min(left_s / max(over_s, 1.0), 1.0)
    falls = (1 - ending.share) * crack_rate
    then = rate - falls * left**2 * (3 - 2 * left)
    mean_rate = then + falls * _BENT * left**2 * (2 - left)
    strays = crack_rate * ending.sd * min(1.2 * left, 1.0)
    return Drop(
        temp_c + left_s / 60 * mean_rate,
        math.hypot(_TEMP_ERROR, left_s / 60 * _MEAN_STRAYS * strays),
        then,
        math.hypot(_RATE_ERROR, strays),
    )
