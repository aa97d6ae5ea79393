"""Rate of rise: one reading at a time for the live page, whole arrays for the record, and both the same."""

import math
from collections import deque
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roastlog.curve.fit import LineFit, TrailingLine
from roastlog.errors import CurveError

WINDOW_S = 20.0
"""Default length of the trailing window; the rate lags by half of it while the rate itself is changing. [s]"""

_LEAST_STEP_S = 0.05  # readings closer than this tell nothing new; leaving them out bounds time and memory
_STEP_C = 3.0  # a reading this far off the line is never doubted
_BEND_C_PER_S = 0.5  # … nor one further off by what a bend of the curve can do since the last good reading
_FASTEST_C_PER_S = 10.0  # the fastest that a thin probe falls when cold beans hit it [memory: common practice]
_LATEST_TURN_S = 240.0  # a probe that has not turned by now is believed as it is
_RESOLUTION_C = 0.1  # assumed step of the sensor until two readings have differed

State = Literal["settling", "ok", "held"]


class RateEstimate(NamedTuple):
    """A rate of rise and its standard error; both are NaN when, and only when, the state is "settling". [°C/min]"""

    rate_c_per_min: float
    error_c_per_min: float
    state: State


class _Settling(NamedTuple):
    """When a rate may be believed: a window at least so full, this long after charge, past the turning point."""

    share_of_window: float
    after_charge_s: float
    past_turning_point: bool


_BY_ROLE = {
    "bean_probe": _Settling(0.5, 30.0, past_turning_point=True),
    "bean_surface": _Settling(0.25, 5.0, past_turning_point=False),
}
_OTHER_ROLE = _Settling(0.5, 10.0, past_turning_point=False)
_SETTLING = RateEstimate(math.nan, math.nan, "settling")


class LiveRate:
    """Rate of rise of one channel, a reading at a time: the slope of a trailing least-squares line.

    Each answer rests on the readings so far and on no later one, and costs the same in the first minute and in the
    twentieth. Spacing may be uneven, from 0.2 to 10 readings a second. The states:

    - "settling": not to be believed yet, and not given. After a start, a gap of half a window or a step of the sensor
      until the window is half full (a quarter for the bean surface); after charge until the role's time has passed
      and, for the bean probe, until it has risen from its lowest reading for half a window.
    - "ok": the slope. Its error is the standard error of the fit, or what the sensor's own step may hide; it
      says nothing of the lag of half a window.
    - "held": this reading was missing (NaN) or was doubted, and the last slope stands. A reading is doubted when it
      is far off the line; three such in a row, over a second or more, that agree with each other are a true step
      (another probe, beans under the infrared sensor), and the line starts anew from them.

    Parameters
    ----------
    role
        Role of the channel, which says when it has settled after charge.
    window_s
        Length of the trailing window, at least two readings long. [s]
    settle_s
        Least time after charge in place of the role's own: 30 for the bean probe, 5 for its surface, else 10. [s]

    Raises
    ------
    CurveError
        If ``window_s`` is not above zero.
    """

    def __init__(self, role: str = "bean_probe", *, window_s: float = WINDOW_S, settle_s: float | None = None) -> None:
        if not window_s > 0:
            raise CurveError(f"The window of a rate is longer than 0 s, not {window_s}.")
        settling = _BY_ROLE.get(role, _OTHER_ROLE)
        self._gap_s = window_s / 2
        self._least_span_s = window_s * settling.share_of_window
        self._settle_s = settling.after_charge_s if settle_s is None else settle_s
        self._turns = settling.past_turning_point
        self._line = TrailingLine(window_s)
        self._doubted: deque[tuple[float, float]] = deque(maxlen=64)
        self._charge_s = -math.inf
        self._settled = True
        self._lowest = (-math.inf, math.inf)
        self._resolution_c = math.inf
        self._last = _SETTLING

    def charged(self, at_s: float) -> None:
        """Say when the beans fell, on the same time scale as the readings; what was read before is forgotten. [s]

        It may be said late: from then on the answers are as if it had been said in time, if it is less than a window
        late, and one window later in any case.
        """
        self._charge_s = at_s
        self._settled = False
        self._doubted.clear()
        self._line.keep_from(at_s)
        self._lowest = (at_s, math.inf)
        for time_s, temp_c in self._line:
            self._note_lowest(time_s, temp_c)
        self._last = _SETTLING

    def add(self, time_s: float, temp_c: float) -> RateEstimate:
        """Rate of rise as of this reading.

        Parameters
        ----------
        time_s
            Time of the reading. One less than 0.05 s after the last, or before it, changes nothing. [s]
        temp_c
            The reading; NaN for one that is missing. [°C]

        Returns
        -------
        RateEstimate
            The rate, its standard error and whether it can be believed. [°C/min]
        """
        if time_s - self._newest_s() < _LEAST_STEP_S:
            return self._last
        if not math.isfinite(temp_c):
            return self._held(time_s)
        if len(self._line) and time_s - self._line.newest[0] > self._gap_s:
            self._restart()
        if self._is_doubtful(time_s, temp_c):
            self._doubt(time_s, temp_c)
            if not self._doubts_agree():
                return self._held(time_s)
            confirmed = list(self._doubted)
            self._restart()
            for reading in confirmed:
                self._accept(*reading)
        else:
            self._doubted.clear()
            self._accept(time_s, temp_c)
        self._last = self._estimate()
        return self._last

    def _newest_s(self) -> float:
        """Time of the newest reading, doubted or not. [s]"""
        if self._doubted:
            return self._doubted[-1][0]
        return self._line.newest[0] if len(self._line) else -math.inf

    def _held(self, time_s: float) -> RateEstimate:
        if self._last.state == "settling" or time_s - self._line.newest[0] > self._gap_s:
            self._last = _SETTLING
        else:
            self._last = self._last._replace(state="held")
        return self._last

    def _restart(self) -> None:
        self._line.clear()
        self._doubted.clear()

    def _is_doubtful(self, time_s: float, temp_c: float) -> bool:
        if not len(self._line):
            return False
        since_s = time_s - self._line.newest[0]
        fit = self._line.fit()
        if fit is None:  # nothing to foretell with yet: only what no probe can do is doubted
            return not _follows(self._line.newest, (time_s, temp_c))
        expected_c = fit.intercept + fit.slope * since_s
        allowed_c = _STEP_C + _BEND_C_PER_S * since_s + 6 * fit.residual_sd
        return abs(temp_c - expected_c) > allowed_c

    def _doubt(self, time_s: float, temp_c: float) -> None:
        if self._doubted and not _follows(self._doubted[-1], (time_s, temp_c)):
            self._doubted.clear()
        self._doubted.append((time_s, temp_c))

    def _doubts_agree(self) -> bool:
        return len(self._doubted) >= 3 and self._doubted[-1][0] - self._doubted[0][0] >= 1.0

    def _accept(self, time_s: float, temp_c: float) -> None:
        if len(self._line):
            step_c = abs(temp_c - self._line.newest[1])
            if 0 < step_c < self._resolution_c:
                self._resolution_c = step_c
        self._line.add(time_s, temp_c)
        self._note_lowest(time_s, temp_c)

    def _note_lowest(self, time_s: float, temp_c: float) -> None:
        # Of equal readings the latest counts: on a coarse sensor the turning point is a long flat floor.
        if time_s >= self._charge_s and temp_c <= self._lowest[1]:
            self._lowest = (time_s, temp_c)

    def _estimate(self) -> RateEstimate:
        if not self._settled:
            self._settled = self._has_settled()
        fit = self._line.fit()
        if fit is None or not self._settled or self._line.span_s < self._least_span_s:
            return _SETTLING
        return RateEstimate(60 * fit.slope, 60 * self._slope_error(fit), "ok")

    def _has_settled(self) -> bool:
        now_s = self._line.newest[0]
        if now_s - self._charge_s < self._settle_s:
            return False
        if not self._turns or now_s - self._charge_s > _LATEST_TURN_S:
            return True
        if now_s - self._lowest[0] < self._least_span_s:
            return False
        self._line.keep_from(self._lowest[0])  # the fall before the turn says nothing about the rise after it
        fit = self._line.fit()
        return fit is not None and fit.slope > fit.slope_error

    def _slope_error(self, fit: LineFit) -> float:
        # A sensor that reads in steps hides a change of up to one step over the window, evenly spread: q/√12. With
        # noise above the step the fit's own error is the larger one and says it all.
        step_c = self._resolution_c if math.isfinite(self._resolution_c) else _RESOLUTION_C
        return max(fit.slope_error, step_c / (math.sqrt(12) * self._line.span_s))


def _follows(before: tuple[float, float], after: tuple[float, float]) -> bool:
    """Whether a probe can get from one reading to the next."""
    return abs(after[1] - before[1]) <= _STEP_C + _FASTEST_C_PER_S * (after[0] - before[0])


def rate_of_rise(
    time_s: ArrayLike,
    temp_c: ArrayLike,
    *,
    role: str = "bean_probe",
    window_s: float = WINDOW_S,
    charge_s: float | None = 0.0,
    settle_s: float | None = None,
) -> NDArray[np.float64]:
    """Rate of rise of a temperature series, the same values as `LiveRate` gives reading by reading.

    Each value is the least-squares slope [1]_ over the window that ends at that reading: no later reading is used, so
    the live and the stored curve agree.

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time since charge, strictly increasing, any spacing. [s]
    temp_c : array-like, shape (n,)
        Temperature; NaN marks a missed reading. [°C]
    role : str, default "bean_probe"
        Role of the channel, which says when it has settled after charge.
    window_s : float, default 20.0
        Length of the trailing window. [s]
    charge_s : float or None, default 0.0
        When the beans fell; None when they did not. [s]
    settle_s : float, optional
        Least time after charge in place of the role's own. [s]

    Returns
    -------
    ndarray, shape (n,)
        Rate of rise; NaN while it is settling, the last value where a reading was missed or doubted. [°C/min]

    Raises
    ------
    CurveError
        If the shapes differ, time does not increase, or ``window_s`` <= 0.

    References
    ----------
    .. [1] NIST/SEMATECH, "e-Handbook of Statistical Methods", sec. 4.1.4.1, doi:10.18434/M32189.
    """
    times, temps = np.asarray(time_s, dtype=np.float64), np.asarray(temp_c, dtype=np.float64)
    if times.ndim != 1 or times.shape != temps.shape:
        raise CurveError(f"A rate needs times and temperatures of one length, not {times.shape}, {temps.shape}.")
    if not (np.diff(times) > 0).all():
        raise CurveError("The times of a curve must increase from reading to reading.")
    live = LiveRate(role, window_s=window_s, settle_s=settle_s)
    first_after = times.size if charge_s is None else int(np.searchsorted(times, charge_s))
    rates = np.full(times.shape, np.nan)
    for i, (t, c) in enumerate(zip(times.tolist(), temps.tolist(), strict=True)):
        if i == first_after and charge_s is not None:
            live.charged(charge_s)
        rates[i] = live.add(t, c).rate_c_per_min
    return rates
