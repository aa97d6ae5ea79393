"""Resampling of readings to a curve with one row a second, in one pass or incrementally."""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roastlog.errors import CurveError

Column = NDArray[np.float64]

HOLD_S = 2
"""The last reading is repeated for this many seconds. A channel read every 2 s or 3 s has no gaps; a longer silence
becomes a gap that starts 2 s after the last reading. [s]"""

ALLOWED_LATENESS_S = 0.5
"""A live row waits this long for readings of slower instruments before it is final. [s]"""


@dataclass(frozen=True, eq=False)
class Curve:
    """Temperatures over time, one column per channel.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Time since charge, increasing. [s]
    channels : dict of str to ndarray, shape (n,)
        Values by channel; NaN is a gap. [°C, or the channel's own unit]

    Raises
    ------
    CurveError
        If a column's length differs from that of ``time_s``.
    """

    time_s: NDArray[np.float64]
    channels: dict[str, NDArray[np.float64]]

    def __post_init__(self) -> None:
        """Reject columns of different lengths."""
        for name, values in self.channels.items():
            if values.shape != self.time_s.shape:
                raise CurveError(f"Column {name} has {values.shape} values for {self.time_s.shape} times.")


def finite_pair(time_s: ArrayLike, values: ArrayLike) -> tuple[Column, Column]:
    """Times and values without the gaps; raises CurveError if the shapes differ. [s], [the column's own unit]"""
    times, known = np.asarray(time_s, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if times.ndim != 1 or times.shape != known.shape:
        raise CurveError(f"Times and values must have the same length, not {times.shape} and {known.shape}.")
    finite = np.isfinite(known)
    return times[finite], known[finite]


def bin_seconds(
    at_ms: ArrayLike,
    channels: Mapping[str, ArrayLike],
    *,
    origin_ms: int,
    start_s: int,
    end_s: int,
    points: Collection[str] = (),
) -> Curve:
    """Average readings into one row a second.

    The row of second s is the mean of the readings in [s − 0.5, s + 0.5), so that averaging shifts nothing in time. A
    second without a reading repeats the row before, for at most `HOLD_S` seconds, and is a gap after that. No row
    depends on later readings, so the live chart and the record show the same values.

    Parameters
    ----------
    at_ms : array-like, shape (n,)
        Time of each row of readings, in any order. [ms UTC]
    channels : mapping of str to array-like, shape (n,)
        Readings by channel; NaN where that channel has none at that time. [°C]
    origin_ms
        Moment of charge. [ms UTC]
    start_s, end_s
        First and last second of the curve, both inclusive, negative before charge. [s]
    points
        Channels read by hand: their readings are not repeated.

    Returns
    -------
    Curve
        One row a second from ``start_s`` to ``end_s``; NaN is a gap.

    Raises
    ------
    CurveError
        If the shapes differ, or ``end_s`` is before ``start_s``.
    """
    if end_s < start_s:
        raise CurveError(f"A curve cannot end at {end_s} s if it starts at {start_s} s.")
    times = (np.asarray(at_ms, dtype=np.int64) - origin_ms) / 1000
    rows = np.floor(times + 0.5).astype(np.int64) - start_s
    length = end_s - start_s + 1
    columns = {}
    for name, given in channels.items():
        values = np.asarray(given, dtype=np.float64)
        if values.shape != rows.shape:
            raise CurveError(f"Column {name} has {values.shape} readings for {rows.shape} times.")
        used = np.isfinite(values) & (rows >= 0) & (rows < length)
        counts = np.bincount(rows[used], minlength=length)
        sums = np.bincount(rows[used], weights=values[used], minlength=length)
        means = np.full(length, np.nan)
        np.divide(sums, counts, out=means, where=counts > 0)
        columns[name] = means if name in points else _hold(means)
    return Curve(np.arange(start_s, end_s + 1, dtype=np.float64), columns)


def _hold(means: NDArray[np.float64]) -> NDArray[np.float64]:
    """Repeat each value into the gap after it, for at most `HOLD_S` rows."""
    places = np.arange(means.size)
    last = np.maximum.accumulate(np.where(np.isnan(means), -1, places))
    near = (last >= 0) & (places - last <= HOLD_S)
    return np.where(near, means[last], np.nan)


@dataclass(frozen=True)
class SecondRow:
    """One final second of a live curve; NaN is a gap. [s], [°C]"""

    time_s: int
    values: dict[str, float]


class SecondBins:
    """The live counterpart of `bin_seconds`: readings go in one at a time, finished rows come out in order.

    The rows are those that `bin_seconds` makes of the same readings, as long as no reading comes later than
    ``allowed_lateness_s`` after a newer one; one that does is too late for its row and is left out.

    Parameters
    ----------
    channels
        Names of the columns; each row has all of them.
    start_s
        Second of the first row. Earlier readings are dropped. [s since charge]
    allowed_lateness_s
        A row waits this long for its last readings. [s]
    points
        As in `bin_seconds`.
    """

    def __init__(
        self,
        channels: Sequence[str],
        *,
        start_s: int = 0,
        allowed_lateness_s: float = ALLOWED_LATENESS_S,
        points: Collection[str] = (),
    ) -> None:
        self._next_s = start_s
        self._allowed_lateness_s = allowed_lateness_s
        self._sums: dict[int, dict[str, tuple[float, int]]] = {}
        self._last = dict.fromkeys(channels, math.nan)
        self._last_s = dict.fromkeys(channels, start_s - HOLD_S - 1)
        self._hold_s = {name: 0 if name in points else HOLD_S for name in channels}

    def add(self, time_s: float, channel: str, value: float) -> list[SecondRow]:
        """Add one reading and return the rows that its time makes final, oldest first; see `put`. [s], [°C]"""
        self.put(time_s, channel, value)
        return self.upto(time_s)

    def put(self, time_s: float, channel: str, value: float) -> None:
        """Add one reading without returning rows.

        Parameters
        ----------
        time_s
            Time since charge. [s]
        channel
            One of the names given to the constructor.
        value
            The reading; ignored unless finite. [°C]
        """
        if channel not in self._last:
            raise CurveError(f"There is no column {channel}; there are {', '.join(self._last)}.")
        second = math.floor(time_s + 0.5)
        if second >= self._next_s and math.isfinite(value):
            sums = self._sums.setdefault(second, {})
            total, count = sums.get(channel, (0.0, 0))
            sums[channel] = (total + value, count + 1)

    def upto(self, time_s: float) -> list[SecondRow]:
        """Rows that are final at ``time_s``, even if no reading arrived, oldest first. [s]"""
        rows = []
        while self._next_s + 0.5 + self._allowed_lateness_s <= time_s:
            rows.append(self._finish(self._next_s))
            self._next_s += 1
        return rows

    def _finish(self, second: int) -> SecondRow:
        for name, (total, count) in self._sums.pop(second, {}).items():
            self._last[name], self._last_s[name] = total / count, second
        return SecondRow(
            second,
            {n: v if second - self._last_s[n] <= self._hold_s[n] else math.nan for n, v in self._last.items()},
        )
