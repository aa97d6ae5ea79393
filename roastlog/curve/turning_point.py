"""Turning point: the bean probe's minimum after charge."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from roastlog.curve.series import Column, finite_pair

_TURN_S = (20.0, 240.0)  # a probe turns 60 to 90 s after charge on most machines [memory: common practice]
_TURNED_S = 8.0  # required time of rise
_AROUND_S = 16.0  # half-width of the fit around the lowest reading
_SMOOTH_S = 2.5  # half-width of the moving mean that finds the lowest reading
_SPIKE_C = 8.0  # a reading this far from the median of five is a spike
_SHOCK_C = 100.0  # … and at an end, one this far
_LEAST_READINGS = 7


class TurningPoint(NamedTuple):
    """Time and temperature of the minimum, and the standard error of the time. [s since charge], [°C]"""

    time_s: float
    temp_c: float
    error_s: float


def turning_point(time_s: ArrayLike, temp_c: ArrayLike) -> TurningPoint | None:
    """Turning point of the bean probe: the minimum of a cubic fitted to the readings around it.

    It depends on the probe's lag, as the cooling probe meets the warming beans, and characterises the machine and the
    charge more than the beans.

    The fit is a parabola with a cubic term, over 16 s on both sides: a probe falls more steeply than it rises, and the
    vertex of a plain parabola would be at least half a second too late.

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time since charge, increasing, any spacing up to about 5 s. [s]
    temp_c : array-like, shape (n,)
        Bean probe; NaN marks a missed reading, isolated spikes are ignored. [°C]

    Returns
    -------
    TurningPoint or None
        The error is that of the fit, from its covariance and its residual noise, which is assumed independent between
        readings. None until the probe has risen for 8 s, and if it did not turn between 20 and 240 s.

    Raises
    ------
    CurveError
        If the shapes differ.
    """
    times, temps = finite_pair(time_s, temp_c)
    wide = (times >= _TURN_S[0] - _AROUND_S) & (times <= _TURN_S[1] + _AROUND_S)
    times, temps = without_spikes(times[wide], temps[wide])
    if times.size < _LEAST_READINGS:
        return None
    lowest_s = float(times[np.argmin(_moving_mean(times, temps))])
    if not _TURN_S[0] <= lowest_s <= _TURN_S[1] or times[-1] - lowest_s < _TURNED_S:
        return None
    # A slow sensor needs a wider window to have enough readings for the fit.
    reach_s = max(_AROUND_S, 3.5 * float(times[-1] - times[0]) / (times.size - 1))
    first = _bend(times, temps, lowest_s, reach_s)
    if first is None:
        return None
    return _bend(times, temps, first.time_s, reach_s) or first  # refit around the first estimate


def _bend(times: Column, temps: Column, about_s: float, reach_s: float) -> TurningPoint | None:
    """Minimum of a cubic fitted to the readings within ``reach_s`` of a time; None if it lies outside them. [s]"""
    near = np.abs(times - about_s) <= reach_s + 1e-6
    x, y = times[near] - about_s, temps[near]
    if x.size < _LEAST_READINGS or not x[0] < 0 < x[-1]:
        return None
    powers = np.vander(x, 4)
    inverse = np.linalg.inv(powers.T @ powers)
    cubic, square, slope, level = found = inverse @ (powers.T @ y)
    under_root = float(square**2 - 3 * cubic * slope)
    if under_root <= 0:
        return None
    root = math.sqrt(under_root)  # half the curvature there
    lowest = float(-slope / (square + root)) if square + root else math.inf
    if not x[0] <= lowest <= x[-1]:
        return None
    left_over = y - powers @ found
    moved_by = np.array([3 * lowest**2, 2 * lowest, 1.0, 0.0]) / (
        2 * root
    )  # how each coefficient moves the lowest point
    variance = float(left_over @ left_over) / (x.size - 4) * float(moved_by @ inverse @ moved_by)
    return TurningPoint(
        about_s + lowest,
        float(level + lowest * (slope + lowest * (square + lowest * cubic))),
        math.sqrt(max(0.0, variance)),
    )


def without_spikes(times: Column, temps: Column) -> tuple[Column, Column]:
    """The readings without those more than 8 °C from the median of five. [s], [°C]

    The first two and the last two may lie on a steep fall; they are removed only if they are off by 100 °C.
    """
    if times.size < 5:
        return times, temps
    middles = _medians_of_five(temps)
    off = np.abs(temps - np.concatenate((middles[[0, 0]], middles, middles[[-1, -1]])))
    kept = off <= _SPIKE_C
    kept[[0, 1, -2, -1]] = off[[0, 1, -2, -1]] <= _SHOCK_C
    return times[kept], temps[kept]


def _medians_of_five(values: Column) -> Column:
    """Median of each five values in a row: six times as fast as to sort them."""
    first, second, third, fourth, fifth = (values[start : values.size - 4 + start] for start in range(5))
    lower = np.maximum(np.minimum(first, second), np.minimum(third, fourth))
    upper = np.minimum(np.maximum(first, second), np.maximum(third, fourth))
    medians: Column = np.clip(fifth, np.minimum(lower, upper), np.maximum(lower, upper))
    return medians


def _moving_mean(times: Column, temps: Column) -> Column:
    first = np.searchsorted(times, times - _SMOOTH_S, side="left")
    behind = np.searchsorted(times, times + _SMOOTH_S, side="right")
    sums = np.concatenate(([0.0], np.cumsum(temps - temps[0])))
    means: Column = (sums[behind] - sums[first]) / (behind - first)
    return means
