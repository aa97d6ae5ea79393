"""A straight line by least squares through the newest readings of a stream."""

import math
from collections import deque
from collections.abc import Iterator
from typing import NamedTuple


class LineFit(NamedTuple):
    """A straight line and how well it is known: the slope's error, and the deviation of what is left over.

    The standard error [1]_ takes every value as equally uncertain and independent of the others.

    References
    ----------
    .. [1] NIST/SEMATECH, "e-Handbook of Statistical Methods", sec. 4.1.4.1, doi:10.18434/M32189.
    """

    intercept: float
    slope: float
    slope_error: float
    residual_sd: float


class TrailingLine:
    """The least-squares line through the last ``window_s`` of a stream, kept up as running sums.

    A reading costs the same whatever the window holds: it is added to the sums and those that have grown too old are
    taken out. What rounding leaves behind in the sums is thrown away by summing afresh, about the newest reading,
    each time a whole window has been replaced.

    Parameters
    ----------
    window_s
        A reading older than this, counted from the newest one, is forgotten. [s]
    """

    def __init__(self, window_s: float) -> None:
        self._window_s = window_s
        self._points: deque[tuple[float, float]] = deque()
        self._sum_afresh()

    def __len__(self) -> int:
        return len(self._points)

    def __iter__(self) -> Iterator[tuple[float, float]]:
        """Readings in the window, oldest first. [s], [°C]"""
        return iter(self._points)

    @property
    def newest(self) -> tuple[float, float]:
        """The newest reading; an IndexError when there is none. [s], [°C]"""
        return self._points[-1]

    @property
    def span_s(self) -> float:
        """Time from the oldest reading in the window to the newest. [s]"""
        return self._points[-1][0] - self._points[0][0] if self._points else 0.0

    def add(self, time_s: float, temp_c: float) -> None:
        """Take in a reading that is newer than all before it. [s], [°C]"""
        if not self._points:
            self._origin = time_s, temp_c
        self._points.append((time_s, temp_c))
        self._count(time_s, temp_c, 1.0)
        self.keep_from(time_s - self._window_s)

    def keep_from(self, time_s: float) -> None:
        """Forget the readings before ``time_s``. [s]"""
        points = self._points
        while points and points[0][0] < time_s:
            self._count(*points.popleft(), -1.0)
            self._forgotten += 1
        if self._forgotten > len(points):
            self._sum_afresh()

    def clear(self) -> None:
        """Forget all readings."""
        self._points.clear()
        self._sum_afresh()

    def fit(self) -> LineFit | None:
        """Line through the window, or None for fewer than 3 readings; its x counts from the newest. [°C], [°C/s]"""
        n = len(self._points)
        if n < 3:
            return None
        mean_t, mean_y = self._t / n, self._y / n
        stt = self._tt - self._t * mean_t
        sty = self._ty - self._t * mean_y
        syy = self._yy - self._y * mean_y
        slope = sty / stt
        sd = math.sqrt(max(0.0, syy - slope * sty) / (n - 2))
        ahead_s = self._points[-1][0] - self._origin[0] - mean_t
        return LineFit(
            intercept=self._origin[1] + mean_y + slope * ahead_s,
            slope=slope,
            slope_error=sd / math.sqrt(stt),
            residual_sd=sd,
        )

    def _count(self, time_s: float, temp_c: float, weight: float) -> None:
        t, y = time_s - self._origin[0], temp_c - self._origin[1]
        self._t += weight * t
        self._y += weight * y
        self._tt += weight * t * t
        self._ty += weight * t * y
        self._yy += weight * y * y

    def _sum_afresh(self) -> None:
        self._origin = self._points[-1] if self._points else (0.0, 0.0)
        self._t = self._y = self._tt = self._ty = self._yy = 0.0
        self._forgotten = 0
        for time_s, temp_c in self._points:
            self._count(time_s, temp_c, 1.0)
