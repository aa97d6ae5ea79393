"""Rate of rise: one reading at a time for the live page, whole arrays for the record, with the same values."""

import math
from collections import deque
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roastlog.curve.rate.kalman import Trend
from roastlog.curve.rate.tracker import GAP_S, LEAST_STEP_S, ReadingTracker, TimedTemp
from roastlog.errors import CurveError

REPLAY_S = 20.0
"""Charge may be marked this late: readings are kept this long to restart from. [s]"""

LATEST_TURN_S = 240.0  # after this the rate of a probe that has not turned is accepted

State = Literal["settling", "ok", "held"]


class RateEstimate(NamedTuple):
    """A rate of rise and its standard error; both are NaN when, and only when, the state is "settling". [°C/min]"""

    rate_c_per_min: float
    error_c_per_min: float
    state: State


class Settling(NamedTuple):
    """Conditions for a valid rate: span of readings, time after charge, and whether it waits for the turning point."""

    span_s: float
    after_charge_s: float
    past_turning_point: bool


SETTLING = {
    "bean_probe": Settling(10.0, 30.0, past_turning_point=True),
    "bean_surface": Settling(5.0, 5.0, past_turning_point=False),
}
OTHER_SETTLING = Settling(10.0, 10.0, past_turning_point=False)

_NOT_YET = RateEstimate(math.nan, math.nan, "settling")


class FilteredCurve(NamedTuple):
    """A whole curve, filtered causally.

    Attributes
    ----------
    rate_c_per_min : ndarray, shape (n,)
        The live rate; NaN while it is settling. [°C/min]
    stretches : list of list of int
        Accepted rows; no rate is given between two stretches.
    noise_c2 : float
        Final estimate of the sensor's noise variance. [°C²]
    """

    rate_c_per_min: NDArray[np.float64]
    stretches: list[list[int]]
    noise_c2: float


class LiveRate:
    """Rate of rise of one channel, one reading at a time.

    A Kalman filter estimates temperature, rate and bend (`kalman.py`) and the sensor's noise.
    Each estimate uses only the readings so far, and its cost does not grow with their number. Spacing may be uneven,
    from 0.2 to 10 readings a second. The states:

    - "settling": not valid yet, so no rate is given. After a start, a silence of more than 10 s or a step of the
      sensor, until readings span 10 s (5 s for the bean surface); after charge, until the role's settling time has
      passed and, for the bean probe, until it has risen from its lowest reading for 10 s.
    - "ok": the rate and its standard error, which includes the noise, the sensor's step and possible bending.
    - "held": this reading was missing (NaN) or suspect, and the last rate is repeated. A reading is suspect if it is
      far from the prediction; three in a row, over a second or more, that agree with each other are a true step
      (another probe, beans under the infrared sensor), and the filter restarts from them.

    Parameters
    ----------
    role
        Role of the channel; selects the settling time after charge and the process noise.
    """

    def __init__(self, role: str = "bean_probe") -> None:
        self._role = role
        self._settling = SETTLING.get(role, OTHER_SETTLING)
        self._follower = ReadingTracker(role)
        self._recent: deque[TimedTemp] = deque()
        self._settled = True
        self._lowest = (-math.inf, math.inf)
        self._last = _NOT_YET
        self.counted = 0
        """Number of readings accepted with the last one: 0 if it was held back, more than 1 if a stretch started."""

    def charged(self, at_s: float) -> None:
        """Set the time of charge, on the time scale of the readings, and discard earlier readings. [s]

        The call may come up to 20 s late; later estimates are the same as if it had come in time.
        """
        heard = [reading for reading in self._recent if reading[0] >= at_s]
        self._recent.clear()
        self._follower = ReadingTracker(self._role, charge_s=at_s)
        self._settled, self._lowest, self._last = False, (at_s, math.inf), _NOT_YET
        for reading in heard:
            self.add(*reading)

    def add(self, time_s: float, temp_c: float) -> RateEstimate:
        """Rate of rise at this reading.

        Parameters
        ----------
        time_s
            Time of the reading. A reading less than 0.05 s after the last, or before it, is ignored. [s]
        temp_c
            The reading; NaN if missing. [°C]

        Returns
        -------
        RateEstimate
            The rate, its standard error and its state. [°C/min]
        """
        follower = self._follower
        self.counted = 0
        if time_s - follower.newest_s < LEAST_STEP_S:
            return self._last
        if math.isfinite(temp_c):
            self._remember(time_s, temp_c)
        self.counted = follower.update(time_s, temp_c)
        if self.counted:
            self._note_lowest(time_s, temp_c)
            self._last = self._estimate(time_s)
        elif self._last.state == "settling" or time_s - follower.last_s > GAP_S:
            self._last = _NOT_YET
        else:
            self._last = self._last._replace(state="held")
        return self._last

    @property
    def begins(self) -> bool:
        """Whether the readings just accepted start a new stretch."""
        return self.counted == self._follower.count

    @property
    def noise_c2(self) -> float:
        """Current estimate of the sensor's noise variance. [°C²]"""
        return self._follower.noise.variance_c2

    def _remember(self, time_s: float, temp_c: float) -> None:
        self._recent.append((time_s, temp_c))
        while self._recent[0][0] < time_s - REPLAY_S:
            self._recent.popleft()

    def _note_lowest(self, time_s: float, temp_c: float) -> None:
        # The latest of equal readings counts: on a coarse sensor the turning point is a long flat minimum.
        if not self._settled and temp_c <= self._lowest[1]:
            self._lowest = (time_s, temp_c)

    def _estimate(self, now_s: float) -> RateEstimate:
        follower, trend = self._follower, self._follower.trend
        if trend is None or follower.count < 3 or now_s - follower.started_s < self._settling.span_s:
            return _NOT_YET
        if not self._settled:
            self._settled = self._has_settled(now_s, trend)
            if not self._settled:
                return _NOT_YET
        return RateEstimate(60 * trend.rate, 60 * math.sqrt(trend.rr), "ok")

    def _has_settled(self, now_s: float, trend: Trend) -> bool:
        since_s = now_s - self._follower.charge_s
        if since_s < self._settling.after_charge_s:
            return False
        if not self._settling.past_turning_point or since_s > LATEST_TURN_S:
            return True
        return now_s - self._lowest[0] >= self._settling.span_s and trend.rate > 0


def rate_of_rise(
    time_s: ArrayLike, temp_c: ArrayLike, *, role: str = "bean_probe", charge_s: float | None = 0.0
) -> NDArray[np.float64]:
    """Rate of rise of a temperature series, the same values as `LiveRate` gives reading by reading.

    It uses no later readings, so the live and the stored curve agree.

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time since charge, strictly increasing, any spacing. [s]
    temp_c : array-like, shape (n,)
        Temperature; NaN marks a missed reading. [°C]
    role : str, default "bean_probe"
        Role of the channel; selects the settling time after charge.
    charge_s : float or None, default 0.0
        Time of charge; None without one. [s]

    Returns
    -------
    ndarray, shape (n,)
        Rate of rise; NaN while settling, the last value where a reading is missing or suspect. [°C/min]

    Raises
    ------
    CurveError
        If the shapes differ, or time does not increase.
    """
    return filter_curve(time_s, temp_c, role=role, charge_s=charge_s).rate_c_per_min


def filter_curve(
    time_s: ArrayLike, temp_c: ArrayLike, *, role: str = "bean_probe", charge_s: float | None = 0.0
) -> FilteredCurve:
    """As `rate_of_rise`, but also returns the accepted rows and the noise variance."""
    times, temps = series(time_s, temp_c)
    live = LiveRate(role)
    first_after = times.size if charge_s is None else int(np.searchsorted(times, charge_s))
    rates = np.full(times.shape, np.nan)
    heard: list[int] = []
    heard_s = -math.inf
    stretches: list[list[int]] = []
    for row, (at_s, value_c) in enumerate(zip(times.tolist(), temps.tolist(), strict=True)):
        if row == first_after and charge_s is not None:
            live.charged(charge_s)
            heard_s = -math.inf
        rates[row] = live.add(at_s, value_c).rate_c_per_min
        if at_s - heard_s >= LEAST_STEP_S and math.isfinite(value_c):
            heard.append(row)
            heard_s = at_s
        if live.counted:
            if live.begins:
                stretches.append([])
            stretches[-1] += heard[-live.counted :]
    return FilteredCurve(rates, stretches, live.noise_c2)


def series(time_s: ArrayLike, temp_c: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times and temperatures as arrays; raises `CurveError` unless they form a curve. [s], [°C]"""
    times, temps = np.asarray(time_s, dtype=np.float64), np.asarray(temp_c, dtype=np.float64)
    if times.ndim != 1 or times.shape != temps.shape:
        raise CurveError(f"Times and temperatures must have the same length, not {times.shape} and {temps.shape}.")
    if not (np.diff(times) > 0).all():
        raise CurveError("The times of a curve must increase from reading to reading.")
    return times, temps
