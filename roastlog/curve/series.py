"""A curve at one row a second, made of readings at any rate: at once, or second by second while they come."""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roastlog.errors import CurveError

Column = NDArray[np.float64]

HELD_S = 2
"""How many seconds without a reading repeat the last one. A channel read every 2 s looks whole, and one read every 3 s
just so; a longer silence shows as a gap that begins 2 s after the last reading. [s]"""

PATIENCE_S = 0.5
"""How long a live row waits for readings of slower instruments before it is finished. [s]"""


@dataclass(frozen=True, eq=False)
class Curve:
    """Temperatures over time, one column a channel.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Time since charge, increasing. [s]
    channels : dict of str to ndarray, shape (n,)
        Values by channel; NaN is a gap. [°C, or the channel's own unit]

    Raises
    ------
    CurveError
        If a column has not the length of ``time_s``.
    """

    time_s: NDArray[np.float64]
    channels: dict[str, NDArray[np.float64]]

    def __post_init__(self) -> None:
        """Refuse ragged columns."""
        for name, values in self.channels.items():
            if values.shape != self.time_s.shape:
                raise CurveError(f"Column {name} has {values.shape} values for {self.time_s.shape} times.")


def finite_pair(time_s: ArrayLike, values: ArrayLike) -> tuple[Column, Column]:
    """Times and values without the gaps; raises CurveError if the shapes differ. [s], [the column's own unit]"""
    times, known = np.asarray(time_s, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if times.ndim != 1 or times.shape != known.shape:
        raise CurveError(f"A curve needs times and values of one length, not {times.shape}, {known.shape}.")
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

    The row of second s is the mean of the readings from s − 0.5 up to, but not with, s + 0.5, so that averaging
    shifts nothing in time. A second without a reading repeats the row before, for at most `HELD_S` seconds, then it is
    a gap: so the row can be known without the readings after it, and a live chart draws what the record will hold.

    Parameters
    ----------
    at_ms : array-like, shape (n,)
        When each row of readings was taken, in any order. [ms UTC]
    channels : mapping of str to array-like, shape (n,)
        Readings by channel; NaN where that channel had none at that time. [°C]
    origin_ms
        Moment of charge. [ms UTC]
    start_s, end_s
        First and last second of the curve, both included, negative before charge. [s]
    points
        Channels that are read now and then, by a person: there nothing is repeated, each reading is a point.

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
        raise CurveError(f"A curve cannot end at {end_s} s when it begins at {start_s} s.")
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
    """Repeat each value into the gap after it, for at most `HELD_S` rows."""
    places = np.arange(means.size)
    last = np.maximum.accumulate(np.where(np.isnan(means), -1, places))
    near = (last >= 0) & (places - last <= HELD_S)
    return np.where(near, means[last], np.nan)


@dataclass(frozen=True)
class SecondRow:
    """One finished second of a live curve: NaN is a gap. [s], [°C]"""

    time_s: int
    values: dict[str, float]


class SecondBins:
    """The live counterpart of `bin_seconds`: readings go in one at a time, finished rows come out in order.

    The rows are those that `bin_seconds` makes of the same readings, as long as no reading comes later than
    ``patience_s`` after a newer one; one that does is too late for its row and is left out.

    Parameters
    ----------
    channels
        Names of the columns; each row has all of them.
    start_s
        Second of the first row. Readings before it are left out. [s since charge]
    patience_s
        How long a row waits for its last readings. [s]
    points
        As in `bin_seconds`.
    """

    def __init__(
        self,
        channels: Sequence[str],
        *,
        start_s: int = 0,
        patience_s: float = PATIENCE_S,
        points: Collection[str] = (),
    ) -> None:
        self._next_s = start_s
        self._patience_s = patience_s
        self._sums: dict[int, dict[str, tuple[float, int]]] = {}
        self._last = dict.fromkeys(channels, math.nan)
        self._last_s = dict.fromkeys(channels, start_s - HELD_S - 1)
        self._held_s = {name: 0 if name in points else HELD_S for name in channels}

    def add(self, time_s: float, channel: str, value: float) -> list[SecondRow]:
        """Take in one reading and give the rows that its time finishes, oldest first; see `put`. [s], [°C]"""
        self.put(time_s, channel, value)
        return self.upto(time_s)

    def put(self, time_s: float, channel: str, value: float) -> None:
        """Take in one reading; it finishes no row by itself.

        Parameters
        ----------
        time_s
            Time since charge. [s]
        channel
            One of the names given at the start.
        value
            The reading; one that is not finite counts as none. [°C]
        """
        if channel not in self._last:
            raise CurveError(f"There is no column {channel}; there are {', '.join(self._last)}.")
        second = math.floor(time_s + 0.5)
        if second >= self._next_s and math.isfinite(value):
            sums = self._sums.setdefault(second, {})
            total, count = sums.get(channel, (0.0, 0))
            sums[channel] = (total + value, count + 1)

    def upto(self, time_s: float) -> list[SecondRow]:
        """Rows that are finished by ``time_s``, even if no reading came, oldest first. [s]"""
        rows = []
        while self._next_s + 0.5 + self._patience_s <= time_s:
            rows.append(self._finish(self._next_s))
            self._next_s += 1
        return rows

    def _finish(self, second: int) -> SecondRow:
        for name, (total, count) in self._sums.pop(second, {}).items():
            self._last[name], self._last_s[name] = total / count, second
        return SecondRow(
            second,
            {n: v if second - self._last_s[n] <= self._held_s[n] else math.nan for n, v in self._last.items()},
        )
