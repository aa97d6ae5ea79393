"""Online tracking of one channel: outlier rejection, noise estimation and restarts."""

import math
from collections import deque

from roastlog.curve.rate.kalman import OTHER_PROCESS_NOISE, PROCESS_NOISE, Trend, transition

GAP_S = 10.0
"""No rate is given across a silence longer than this. [s]"""

LEAST_STEP_S = 0.05
"""Readings closer than this are ignored, which bounds time and memory. [s]"""

_STEP_C = 3.0  # a reading this close to the prediction is never suspect
_BEND_C_PER_S = 0.5  # … plus this per second since the last good reading, for a bend of the curve
_FASTEST_C_PER_S = 10.0  # the fastest that a thin probe falls when cold beans hit it [memory: common practice]
_OUTLIER = 4.0  # larger innovations are clipped to this [standard deviations]
_DRIFT_LIMIT = 1.08  # mean innovation that chance alone does not produce, 3.8 of its own deviations [the same unit]
_DRIFT_WEIGHT = 0.15  # weight of the newest innovation in that mean
_DRIFT_RATE, _DRIFT_BEND = 2.5e-3, 1e-6  # added to the variances at such a drift [°C²/s²], [°C²/s⁴]


TimedTemp = tuple[float, float]  # [s], [°C]


class Noise:
    """Variance of a sensor's noise, estimated from each reading's distance to the line between its neighbours.

    Gasser, Sroka and Jennen-Steinmetz's pseudo-residuals [1]_, corrected for the estimated bend, so that they measure
    the noise on any curve, at any spacing. A sensor with a coarse step has at least the noise of its step. The newest
    240 readings count.

    References
    ----------
    .. [1] T. Gasser, L. Sroka, C. Jennen-Steinmetz, "Residual variance and residual pattern in nonlinear regression",
       Biometrika 73, 625-633 (1986) [memory].
    """

    __slots__ = ("_before", "_count", "_last", "_mean_c2", "_resolution_c", "variance_c2")

    def __init__(self) -> None:
        self._mean_c2 = 0.25**2
        self._count = 4.0  # weight of the initial estimate, in readings
        self._resolution_c = math.inf
        self.variance_c2 = self._mean_c2
        self.start_stretch()

    def start_stretch(self) -> None:
        """Start a new stretch: discard the last readings but keep the estimate."""
        self._before: TimedTemp | None = None
        self._last: TimedTemp | None = None

    def learn(self, time_s: float, temp_c: float, bend: float) -> None:
        """Add an accepted reading and the bend of the curve around it. [s], [°C], [°C/s²]"""
        before, last = self._before, self._last
        if last is not None:
            step_c = abs(temp_c - last[1])
            if 0 < step_c < self._resolution_c:
                self._resolution_c = step_c
            if before is not None:
                self._add_residual(before, last, (time_s, temp_c), bend)
        self._before, self._last = last, (time_s, temp_c)
        step_c = self._resolution_c if self._resolution_c < 10 else 0.1
        self.variance_c2 = max(self._mean_c2, step_c * step_c / 12, 1e-8)

    def _add_residual(self, first: TimedTemp, middle: TimedTemp, last: TimedTemp, bend: float) -> None:
        left_s, right_s = middle[0] - first[0], last[0] - middle[0]
        by_first = right_s / (left_s + right_s)
        off_c = middle[1] - by_first * first[1] - (1 - by_first) * last[1] + bend * left_s * right_s / 2
        square_c2 = off_c * off_c / (1 + by_first * by_first + (1 - by_first) * (1 - by_first))
        self._count = min(self._count + 1, 240.0)
        self._mean_c2 += (min(square_c2, 16 * self.variance_c2) - self._mean_c2) / self._count


class ReadingTracker:
    """Tracks one channel: accepts each reading, holds it back, or starts a new stretch with it.

    A reading is held back if it is missing (NaN) or suspect: far from the prediction. Three suspect readings in a row,
    over a second or more, that agree with each other are a true step (another probe, beans under the infrared
    sensor) and start a new stretch; so does the first reading after a silence longer than `GAP_S`.

    Parameters
    ----------
    role
        Role of the channel; selects the process noise.
    charge_s
        Time of charge on the time scale of the readings; none by default. [s]
    """

    def __init__(self, role: str, *, charge_s: float = -math.inf) -> None:
        self._pushes = PROCESS_NOISE.get(role, OTHER_PROCESS_NOISE)
        self.noise = Noise()
        self.charge_s = charge_s
        self.trend: Trend | None = None
        self._suspects: deque[TimedTemp] = deque(maxlen=64)
        self.restart()

    def restart(self) -> None:
        """Start a new stretch with the next reading; keep the noise estimate."""
        self.trend = None
        self.last: TimedTemp | None = None
        self.noise.start_stretch()
        self._suspects.clear()
        self.started_s, self.count, self._drift = math.nan, 0, 0.0

    @property
    def last_s(self) -> float:
        """Time of the last accepted reading. [s]"""
        return self.last[0] if self.last else -math.inf

    @property
    def newest_s(self) -> float:
        """Time of the newest reading, suspect or not. [s]"""
        return self._suspects[-1][0] if self._suspects else self.last_s

    def update(self, time_s: float, temp_c: float) -> int:
        """Add one reading, newer than all before; returns the number of readings accepted with it. [s], [°C]

        Usually 1; 0 if it is held back; more if several readings start a new stretch together. A stretch has just
        started if its ``count`` does not exceed that number.
        """
        if not math.isfinite(temp_c):
            return 0
        if time_s - self.last_s > GAP_S:
            self.restart()
        fresh = [(time_s, temp_c)]
        if self._is_suspect(time_s, temp_c):
            self._add_suspect(time_s, temp_c)
            if len(self._suspects) < 3 or self._suspects[-1][0] - self._suspects[0][0] < 1.0:
                return 0
            fresh = list(self._suspects)
            self.restart()
        self._suspects.clear()
        for reading in fresh:
            self._accept(*reading)
        return len(fresh)

    def _is_suspect(self, time_s: float, temp_c: float) -> bool:
        trend, last = self.trend, self.last
        if trend is None or last is None:
            return False
        if self.count < 3:  # no prediction yet: only physically impossible changes are suspect
            return not _is_plausible_change(last, (time_s, temp_c))
        since_s = time_s - self.last_s
        off_c = abs(temp_c - trend.level - since_s * trend.rate) - _STEP_C - _BEND_C_PER_S * since_s
        if off_c <= 0:
            return False
        spread_c = math.sqrt(trend.ll + since_s * (2 * trend.lr + since_s * trend.rr) + self.noise.variance_c2)
        return off_c > 6 * spread_c

    def _add_suspect(self, time_s: float, temp_c: float) -> None:
        if self._suspects and not _is_plausible_change(self._suspects[-1], (time_s, temp_c)):
            self._suspects.clear()
        self._suspects.append((time_s, temp_c))

    def _accept(self, time_s: float, temp_c: float) -> None:
        trend = self.trend
        if trend is None:
            self.trend = trend = Trend(temp_c, self.noise.variance_c2)
            self.started_s = time_s
        else:
            trend.predict(transition(round(time_s - self.last_s, 9)), self._pushes.at(time_s - self.charge_s))
            self._update(trend, temp_c)
        self.noise.learn(time_s, temp_c, trend.bend)
        self.last = time_s, temp_c
        self.count += 1

    def _update(self, trend: Trend, temp_c: float) -> None:
        spread_c = math.sqrt(trend.ll + self.noise.variance_c2)
        off = max(-_OUTLIER, min(_OUTLIER, (temp_c - trend.level) / spread_c))
        trend.update(off * spread_c, self.noise.variance_c2)
        # Innovations of one sign, reading after reading, show a sharper bend than the model expects.
        self._drift += _DRIFT_WEIGHT * (off - self._drift)
        if abs(self._drift) > _DRIFT_LIMIT:
            trend.inflate(_DRIFT_RATE, _DRIFT_BEND)
            self._drift = 0.0


def _is_plausible_change(before: TimedTemp, after: TimedTemp) -> bool:
    """Whether a probe can change from one reading to the next in that time."""
    return abs(after[1] - before[1]) <= _STEP_C + _FASTEST_C_PER_S * (after[0] - before[0])
