"""Trailing least-squares lines, running noise and hysteresis intervals of a column with gaps."""

import numpy as np
from numpy.typing import NDArray

_Column = NDArray[np.float64]

_WHOLE = 0.7  # share of the rows of a window that must be known


def trailing_slope(time_s: _Column, values: _Column, window_s: float, *, from_s: float = -np.inf) -> _Column:
    """Slope of the least-squares line through the window that ends at each row.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Time, increasing. [s]
    values : ndarray, shape (n,)
        One column; NaN is a gap.
    window_s
        Length of the window, both ends inclusive. [s]
    from_s
        Rows before this are ignored. [s]

    Returns
    -------
    ndarray, shape (n,)
        Slope per second; NaN where the window starts before the first row or ``from_s``, or more than 30 % is gaps.
    """
    if not time_s.size:
        return np.empty(0)
    slope, _, _ = _lines(time_s, values, 0.0, window_s, window_s, from_s)
    return slope


def trailing_trend(
    time_s: _Column, values: _Column, *, ago_s: float, longest_s: float, shortest_s: float, from_s: float
) -> _Column:
    """Extrapolation of a column from the line that ended ``ago_s`` ago; a rising line is taken as level.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Time, increasing. [s]
    values : ndarray, shape (n,)
        One column; NaN is a gap.
    ago_s
        Time from the end of the line to its row. [s]
    longest_s, shortest_s
        Maximum and minimum length of the least-squares line. [s]
    from_s
        Rows before this are ignored. [s]

    Returns
    -------
    ndarray, shape (n,)
        The line at each row's own time, level where it would rise; NaN where the line is too short or more than 30 %
        is gaps.
    """
    if not time_s.size:
        return np.empty(0)
    slope, mean_s, mean = _lines(time_s, values, ago_s, longest_s, shortest_s, from_s)
    line: _Column = mean + np.minimum(slope, 0.0) * (time_s - mean_s)
    return line


def running_noise_sd(values: _Column) -> _Column:
    """Standard deviation of white noise on a smooth column, from the second differences of all rows up to each.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One column, evenly spaced; NaN is a gap.

    Returns
    -------
    ndarray, shape (n,)
        Zero before there are 30 such differences.
    """
    bends = np.zeros(values.shape)
    bends[2:] = values[2:] - 2 * values[1:-1] + values[:-2]
    bends[:2] = np.nan
    known = np.isfinite(bends)
    count = np.cumsum(known)
    variance = np.cumsum(np.where(known, bends, 0.0) ** 2) / np.maximum(6 * count, 1)  # 1² + 2² + 1² of it
    return np.where(count >= 30, np.sqrt(variance), 0.0)


def hysteresis_intervals(values: _Column, begin: float, keep: float) -> list[tuple[int, int]]:
    """Intervals that start at a value of at least ``begin`` and last until a value is below ``keep``.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One column; a gap (NaN) neither starts nor ends an interval.
    begin, keep
        The two thresholds, ``keep`` not above ``begin``.

    Returns
    -------
    list of (int, int)
        First and last row of each. Later rows never change a first row.
    """
    turns = np.where(values >= begin, 1, np.where(values < keep, -1, 0))
    latest = np.maximum.accumulate(np.where(turns != 0, np.arange(turns.size), -1))
    inside = (latest >= 0) & (turns[latest] == 1) if turns.size else np.empty(0, dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], inside.astype(np.int8), [0]))))
    return [(int(i), int(j) - 1) for i, j in zip(edges[::2], edges[1::2], strict=True)]


def _lines(
    time_s: _Column, values: _Column, ago_s: float, longest_s: float, shortest_s: float, from_s: float
) -> tuple[_Column, _Column, _Column]:
    """Slope, mean time and mean value of the line through the window that ended ``ago_s`` before each row."""
    after = np.searchsorted(time_s, time_s - ago_s, side="right")
    first = np.searchsorted(time_s, np.maximum(time_s - ago_s - longest_s, from_s), side="left")
    first = np.minimum(first, after)
    known = np.isfinite(values)
    # Relative to the first known row for precision; a later origin would change earlier results.
    zero_s, zero = time_s[0], values[np.argmax(known)]
    x, y = np.where(known, time_s - zero_s, 0.0), np.where(known, values - zero, 0.0)
    n, sx, sy, sxx, sxy = (_sums(column, first, after) for column in (known.astype(np.float64), x, y, x * x, x * y))
    long_enough = time_s - ago_s - max(from_s, time_s[0]) >= shortest_s
    enough = long_enough & (n >= _WHOLE * (after - first)) & (n > 1)
    slope = _divided(n * sxy - sx * sy, n * sxx - sx * sx, enough)
    return slope, zero_s + _divided(sx, n, enough), zero + _divided(sy, n, enough)


def _sums(column: _Column, first: NDArray[np.intp], after: NDArray[np.intp]) -> _Column:
    total = np.concatenate(([0.0], np.cumsum(column)))
    return total[after] - total[first]


def _divided(above: _Column, below: _Column, where: NDArray[np.bool_]) -> _Column:
    out = np.full(above.shape, np.nan)
    np.divide(above, below, out=out, where=where)
    return out
