"""Turning point, phases and development: what the moments and the bean curve say together.

Moments are named charge, yellow, first_crack, first_crack_fading, second_crack and drop, and given in seconds from
charge. Nothing here is ever a mark by itself: the person's taps are the moments, only the turning point is computed.
"""

from collections.abc import Mapping
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roastlog.errors import CurveError

NEAR_S = 3.0
"""A value at a moment is read from rows no further away than this. [s]"""

_TURN_S = (20.0, 240.0)  # a probe turns 60 to 90 s after charge on most machines [memory: common practice]
_AROUND_S = 8.0  # how far the parabola reaches to both sides of the lowest reading
_SMOOTH_S = 2.5  # half the width of the moving mean that finds the lowest reading
_BOUNDS: tuple[tuple[str, str], ...] = (
    ("drying", "charge"),
    ("browning", "yellow"),
    ("development", "first_crack"),
    ("", "drop"),
)


class TurningPoint(NamedTuple):
    """Where the bean probe stops falling and starts to rise. [s since charge], [°C]"""

    time_s: float
    temp_c: float


class Phase(NamedTuple):
    """A part of the roast between two moments; the one under way ends now. [s], share 0 to 1, [°C/min]"""

    name: str
    start_s: float
    duration_s: float
    share: float
    mean_rate_c_per_min: float | None


class Development(NamedTuple):
    """Time since first crack, and that time over the time since charge. [s], 0 to 1"""

    time_s: float
    ratio: float


def turning_point(time_s: ArrayLike, temp_c: ArrayLike) -> TurningPoint | None:
    """Turning point of the bean probe: the vertex of a parabola laid through the readings around its lowest.

    Much of it is the probe's own lag, where the cooling probe meets the warming beans; it is a mark of the machine and
    the charge more than of the beans.

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time since charge, increasing, any spacing up to about 5 s. [s]
    temp_c : array-like, shape (n,)
        Bean probe; NaN marks a missed reading. [°C]

    Returns
    -------
    TurningPoint or None
        None as long as the probe has not turned for some 8 s, and when it did not turn between 20 and 240 s.

    Raises
    ------
    CurveError
        If the shapes differ.
    """
    times, temps = _finite_pair(time_s, temp_c)
    wide = (times >= _TURN_S[0] - _AROUND_S) & (times <= _TURN_S[1] + _AROUND_S)
    times, temps = times[wide], temps[wide]
    if times.size < 5:
        return None
    lowest_s = float(times[np.argmin(_moving_mean(times, temps))])
    if not _TURN_S[0] <= lowest_s <= _TURN_S[1] or times[-1] - lowest_s < _AROUND_S:
        return None
    # A slow sensor needs a wider reach to have five readings under the parabola.
    reach_s = max(_AROUND_S, 2.5 * float(np.median(np.diff(times))))
    near = np.abs(times - lowest_s) <= reach_s
    if near.sum() < 4:
        return None
    x = times[near] - lowest_s
    bend, slope, level = np.linalg.lstsq(np.vander(x, 3), temps[near], rcond=None)[0].tolist()
    if bend <= 0 or abs(slope) > 2 * bend * reach_s:
        return None
    offset_s = -slope / (2 * bend)
    return TurningPoint(lowest_s + offset_s, level + slope * offset_s / 2)


def _moving_mean(times: NDArray[np.float64], temps: NDArray[np.float64]) -> NDArray[np.float64]:
    first = np.searchsorted(times, times - _SMOOTH_S, side="left")
    behind = np.searchsorted(times, times + _SMOOTH_S, side="right")
    sums = np.concatenate(([0.0], np.cumsum(temps - temps[0])))
    means: NDArray[np.float64] = (sums[behind] - sums[first]) / (behind - first)
    return means


def phase_at(moments_s: Mapping[str, float], now_s: float) -> str:
    """Name of the phase at ``now_s``: before charge, drying, browning, development or cooling.

    A moment that is missing is passed over: after a first crack without a yellow it is development. [s since charge]
    """
    reached = {name for name, at_s in moments_s.items() if at_s <= now_s}
    if "drop" in reached:
        return "cooling"
    for phase, opening in reversed(_BOUNDS[:3]):
        if opening in reached:
            return phase
    return "before charge"


def phases(
    moments_s: Mapping[str, float], time_s: ArrayLike, temp_c: ArrayLike, *, now_s: float | None = None
) -> list[Phase]:
    """Drying, browning and development, as far as their moments are known and in order.

    Parameters
    ----------
    moments_s : mapping of str to float
        Moments by name. [s since charge]
    time_s : array-like, shape (n,)
        Time since charge, increasing. [s]
    temp_c : array-like, shape (n,)
        Bean probe; NaN is a gap. [°C]
    now_s : float, optional
        Where the phase under way ends for the time being; the last row when not given. [s since charge]

    Returns
    -------
    list of Phase
        In order. Shares are of the time from charge to drop, or to now. The mean rate is the change of temperature over
        the phase by its length; that of drying counts from the turning point, since what the probe reads before it is
        not the beans; None where the temperature at an end is not known.

    Raises
    ------
    CurveError
        If the shapes differ.
    """
    times, temps = _finite_pair(time_s, temp_c)
    end_s = moments_s.get("drop", now_s if now_s is not None else (float(times[-1]) if times.size else None))
    if end_s is None or "charge" not in moments_s:
        return []
    whole_s = end_s - moments_s["charge"]
    known = [(name, opening, moments_s.get(opening)) for name, opening in _BOUNDS]
    running = next((name for name, _, at_s in reversed(known) if at_s is not None), "")
    found = []
    for (name, _, start_s), (_, _, closing_s) in pairwise(known):
        stop_s = end_s if name == running else closing_s
        if start_s is None or stop_s is None or not moments_s["charge"] <= start_s < stop_s <= end_s:
            continue
        from_s = start_s
        if name == "drying" and (turn := turning_point(times, temps)) is not None:
            from_s = max(start_s, turn.time_s)
        rate = _mean_rate(times, temps, from_s, stop_s)
        found.append(Phase(name, start_s, stop_s - start_s, (stop_s - start_s) / whole_s, rate))
    return found


def _mean_rate(times: NDArray[np.float64], temps: NDArray[np.float64], from_s: float, to_s: float) -> float | None:
    first_c, last_c = value_at(times, temps, from_s), value_at(times, temps, to_s)
    if first_c is None or last_c is None or to_s <= from_s:
        return None
    return 60 * (last_c - first_c) / (to_s - from_s)


def development(moments_s: Mapping[str, float], now_s: float) -> Development | None:
    """Development so far, or up to the drop; None without a charge and a first crack before it. [s since charge]"""
    charge_s, crack_s = moments_s.get("charge"), moments_s.get("first_crack")
    end_s = min(now_s, moments_s.get("drop", now_s))
    if charge_s is None or crack_s is None or not charge_s < crack_s <= end_s:
        return None
    return Development(end_s - crack_s, (end_s - crack_s) / (end_s - charge_s))


def planned_drop_s(
    first_crack_s: float, development_s: float | None = None, development_ratio: float | None = None
) -> float | None:
    """When the planned development will have been reached.

    Parameters
    ----------
    first_crack_s
        Time of first crack. [s since charge]
    development_s
        Planned development time; it counts when both are given. [s]
    development_ratio
        Planned development time over time since charge; the drop d solves (d − first crack) / d = ratio. 0 to 1

    Returns
    -------
    float or None
        Time of the planned drop; None without a plan. [s since charge]

    Raises
    ------
    CurveError
        If the planned time is not above 0, or the ratio not between 0 and 1.
    """
    if development_s is not None:
        if not development_s > 0:
            raise CurveError(f"A planned development time is above 0 s, not {development_s}.")
        return first_crack_s + development_s
    if development_ratio is None:
        return None
    if not 0 < development_ratio < 1:
        raise CurveError(f"A planned development ratio lies between 0 and 1, not at {development_ratio}.")
    return first_crack_s / (1 - development_ratio)


def value_at(time_s: ArrayLike, values: ArrayLike, at_s: float) -> float | None:
    """Value at a time, on the straight line between the rows before and after it.

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time since charge, increasing. [s]
    values : array-like, shape (n,)
        One column; NaN is a gap.
    at_s
        When. [s since charge]

    Returns
    -------
    float or None
        Where only one row lies within 3 s, at an end or beside a gap, that row's value; None where none does.

    Raises
    ------
    CurveError
        If the shapes differ.
    """
    times, known = _finite_pair(time_s, values)
    near = np.abs(times - at_s) <= NEAR_S
    return float(np.interp(at_s, times[near], known[near])) if near.any() else None


def _finite_pair(time_s: ArrayLike, values: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    times, known = np.asarray(time_s, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if times.ndim != 1 or times.shape != known.shape:
        raise CurveError(f"A curve needs times and values of one length, not {times.shape}, {known.shape}.")
    finite = np.isfinite(known)
    return times[finite], known[finite]
