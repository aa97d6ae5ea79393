"""Following one channel reading by reading: which readings count, how noisy they are, and when to start anew."""

import math
from collections import deque

from roastlog.curve.rate.kalman import OTHER_PUSHES, PUSHES, Trend, passage

GAP_S = 10.0
"""Nothing is said across a silence longer than this. [s]"""

LEAST_STEP_S = 0.05
"""Readings closer than this tell nothing new; leaving them out bounds time and memory. [s]"""

_STEP_C = 3.0  # a reading this far off what was foretold is never doubted
_BEND_C_PER_S = 0.5  # … nor one further off by what a bend of the curve can do since the last good reading
_FASTEST_C_PER_S = 10.0  # the fastest that a thin probe falls when cold beans hit it [memory: common practice]
_OUTLIER = 4.0  # a reading further off, in standard deviations, counts only as if it were so far off
_WAKE = 1.08  # mean of the last deviations, in the same unit, that chance alone does not make: 3.8 of its own
_WAKE_SHARE = 0.15  # weight of the newest deviation in that mean
_WAKE_RATE, _WAKE_BEND = 2.5e-3, 1e-6  # what a bend nobody expected adds to the variances [°C²/s²], [°C²/s⁴]


TimedTemp = tuple[float, float]  # [s], [°C]


class Noise:
    """Variance of a sensor's noise, learned from how far each reading lies off the line between its neighbours.

    Gasser, Sroka and Jennen-Steinmetz's pseudo-residuals [1]_, less what the known bend of the curve makes: they tell
    the noise whatever the curve does, at any spacing. A sensor that reads in steps has at least the noise of its
    step. The newest 240 readings count.

    References
    ----------
    .. [1] T. Gasser, L. Sroka, C. Jennen-Steinmetz, "Residual variance and residual pattern in nonlinear regression",
       Biometrika 73, 625-633 (1986) [memory].
    """

    __slots__ = ("_before", "_count", "_last", "_mean_c2", "_resolution_c", "variance_c2")

    def __init__(self) -> None:
        self._mean_c2 = 0.25**2
        self._count = 4.0  # what the first guess weighs, in readings
        self._resolution_c = math.inf
        self.variance_c2 = self._mean_c2
        self.lift()

    def lift(self) -> None:
        """Forget the last readings, but not what they taught: the next ones are of another stretch."""
        self._before: TimedTemp | None = None
        self._last: TimedTemp | None = None

    def learn(self, time_s: float, temp_c: float, bend: float) -> None:
        """Take in a reading that counts, and the bend of the curve about it. [s], [°C], [°C/s²]"""
        before, last = self._before, self._last
        if last is not None:
            step_c = abs(temp_c - last[1])
            if 0 < step_c < self._resolution_c:
                self._resolution_c = step_c
            if before is not None:
                self._count_in(before, last, (time_s, temp_c), bend)
        self._before, self._last = last, (time_s, temp_c)
        step_c = self._resolution_c if self._resolution_c < 10 else 0.1
        self.variance_c2 = max(self._mean_c2, step_c * step_c / 12, 1e-8)

    def _count_in(self, first: TimedTemp, middle: TimedTemp, last: TimedTemp, bend: float) -> None:
        left_s, right_s = middle[0] - first[0], last[0] - middle[0]
        by_first = right_s / (left_s + right_s)
        off_c = middle[1] - by_first * first[1] - (1 - by_first) * last[1] + bend * left_s * right_s / 2
        square_c2 = off_c * off_c / (1 + by_first * by_first + (1 - by_first) * (1 - by_first))
        self._count = min(self._count + 1, 240.0)
        self._mean_c2 += (min(square_c2, 16 * self.variance_c2) - self._mean_c2) / self._count


class ReadingTracker:
    """One channel, followed: each reading is taken, held back, or begins a new stretch.

    A reading is held back when it is missing (NaN) or doubted: far off what was foretold. Three doubted ones in a row,
    over a second or more, that agree with each other are a true step (another probe, beans under the infrared
    sensor), and a new stretch begins with them; so does one after a silence longer than `GAP_S`.

    Parameters
    ----------
    role
        Role of the channel, which says how it is thrown about.
    charge_s
        When the beans fell, on the time scale of the readings; never, when not given. [s]
    """

    def __init__(self, role: str, *, charge_s: float = -math.inf) -> None:
        self._pushes = PUSHES.get(role, OTHER_PUSHES)
        self.noise = Noise()
        self.charge_s = charge_s
        self.trend: Trend | None = None
        self._doubted: deque[TimedTemp] = deque(maxlen=64)
        self.restart()

    def restart(self) -> None:
        """Begin a new stretch with the next reading; the noise stays known."""
        self.trend = None
        self.last: TimedTemp | None = None
        self.noise.lift()
        self._doubted.clear()
        self.begun_s, self.count, self._drift = math.nan, 0, 0.0

    @property
    def last_s(self) -> float:
        """Time of the last reading that counted. [s]"""
        return self.last[0] if self.last else -math.inf

    @property
    def newest_s(self) -> float:
        """Time of the newest reading, doubted or not. [s]"""
        return self._doubted[-1][0] if self._doubted else self.last_s

    def take(self, time_s: float, temp_c: float) -> int:
        """Take in one reading, newer than all before; how many of the newest readings count by it. [s], [°C]

        That is 1 as a rule, 0 for one that is held back, and all of those that begin a new stretch together. A stretch
        has just begun when its ``count`` is no more than that.
        """
        if not math.isfinite(temp_c):
            return 0
        if time_s - self.last_s > GAP_S:
            self.restart()
        fresh = [(time_s, temp_c)]
        if self._is_doubtful(time_s, temp_c):
            self._doubt(time_s, temp_c)
            if len(self._doubted) < 3 or self._doubted[-1][0] - self._doubted[0][0] < 1.0:
                return 0
            fresh = list(self._doubted)
            self.restart()
        self._doubted.clear()
        for reading in fresh:
            self._accept(*reading)
        return len(fresh)

    def _is_doubtful(self, time_s: float, temp_c: float) -> bool:
        trend, last = self.trend, self.last
        if trend is None or last is None:
            return False
        if self.count < 3:  # nothing to foretell with yet: only what no probe can do is doubted
            return not _follows(last, (time_s, temp_c))
        since_s = time_s - self.last_s
        off_c = abs(temp_c - trend.level - since_s * trend.rate) - _STEP_C - _BEND_C_PER_S * since_s
        if off_c <= 0:
            return False
        spread_c = math.sqrt(trend.ll + since_s * (2 * trend.lr + since_s * trend.rr) + self.noise.variance_c2)
        return off_c > 6 * spread_c

    def _doubt(self, time_s: float, temp_c: float) -> None:
        if self._doubted and not _follows(self._doubted[-1], (time_s, temp_c)):
            self._doubted.clear()
        self._doubted.append((time_s, temp_c))

    def _accept(self, time_s: float, temp_c: float) -> None:
        trend = self.trend
        if trend is None:
            self.trend = trend = Trend(temp_c, self.noise.variance_c2)
            self.begun_s = time_s
        else:
            trend.pass_time(passage(round(time_s - self.last_s, 9)), self._pushes.at(time_s - self.charge_s))
            self._see(trend, temp_c)
        self.noise.learn(time_s, temp_c, trend.bend)
        self.last = time_s, temp_c
        self.count += 1

    def _see(self, trend: Trend, temp_c: float) -> None:
        spread_c = math.sqrt(trend.ll + self.noise.variance_c2)
        off = max(-_OUTLIER, min(_OUTLIER, (temp_c - trend.level) / spread_c))
        trend.take(off * spread_c, self.noise.variance_c2)
        # Deviations to one side, reading after reading, are a bend sharper than the model holds for likely.
        self._drift += _WAKE_SHARE * (off - self._drift)
        if abs(self._drift) > _WAKE:
            trend.loosen(_WAKE_RATE, _WAKE_BEND)
            self._drift = 0.0


def _follows(before: TimedTemp, after: TimedTemp) -> bool:
    """Whether a probe can get from one reading to the next."""
    return abs(after[1] - before[1]) <= _STEP_C + _FASTEST_C_PER_S * (after[0] - before[0])
