"""Phases and development, computed from the moments and the bean curve.

Moments are named charge, yellow, first_crack, first_crack_fading, second_crack and drop, and given in seconds from
charge. A person's taps are the moments; only the turning point is computed (`roastlog.curve.turning_point`).
"""

import math
from collections.abc import Mapping
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from roastlog.curve.series import Column, finite_pair
from roastlog.curve.turning_point import turning_point
from roastlog.errors import CurveError

NEAR_S = 3.0
"""Maximum distance from a moment to the rows that its value is read from. [s]"""

AREA_BASE_C = 100.0
"""Default base temperature of the area under the curve: the boiling point of water [our choice]. [°C]"""

_BOUNDS: tuple[tuple[str, str], ...] = (
    ("drying", "charge"),
    ("browning", "yellow"),
    ("development", "first_crack"),
    ("", "drop"),
)


class Phase(NamedTuple):
    """A part of the roast between two moments; the current one ends now.

    Times are in s from charge, the share is 0 to 1, the mean rate in °C/min. The area lies between the bean curve and
    the base temperature, where the curve is above it, in °C·min.
    """

    name: str
    start_s: float
    duration_s: float
    share: float
    mean_rate_c_per_min: float | None
    area_c_min: float | None


class Development(NamedTuple):
    """Time since first crack, and that time over the time since charge. [s], 0 to 1"""

    time_s: float
    ratio: float


def phase_at(moments_s: Mapping[str, float], now_s: float) -> str:
    """Name of the phase at ``now_s``: before charge, drying, browning, development or cooling.

    A missing moment is skipped: first crack without yellow starts development. A moment that was marked before the
    charge starts no phase. [s since charge]
    """
    charge_s = moments_s.get("charge")
    if charge_s is None or charge_s > now_s:
        return "before charge"
    if moments_s.get("drop", math.inf) <= now_s:
        return "cooling"
    opened = {name for name, at_s in moments_s.items() if charge_s < at_s <= now_s}
    return next((phase for phase, opening in reversed(_BOUNDS[:3]) if opening in opened), "drying")


def phases(
    moments_s: Mapping[str, float],
    time_s: ArrayLike,
    temp_c: ArrayLike,
    *,
    now_s: float | None = None,
    area_base_c: float = AREA_BASE_C,
) -> list[Phase]:
    """Drying, browning and development, where their moments are known and in order.

    Parameters
    ----------
    moments_s : mapping of str to float
        Moments by name. [s since charge]
    time_s : array-like, shape (n,)
        Time since charge, increasing. [s]
    temp_c : array-like, shape (n,)
        Bean probe; NaN is a gap. [°C]
    now_s : float, optional
        Provisional end of the current phase; defaults to the last row. [s since charge]
    area_base_c : float
        Base temperature of the area under the curve. [°C]

    Returns
    -------
    list of Phase
        In order. Shares are of the time from charge to drop, or to now. The mean rate is the change of temperature over
        the phase divided by its length; for drying it starts at the turning point, because the probe does not read the
        beans before it; None if the temperature at either end is unknown. The area starts at the start of the phase and
        is None if the curve has a gap of more than 6 s.

    Raises
    ------
    CurveError
        If the shapes differ.
    """
    times, temps = finite_pair(time_s, temp_c)
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
        area = area_above(times, temps, start_s, stop_s, area_base_c)
        found.append(Phase(name, start_s, stop_s - start_s, (stop_s - start_s) / whole_s, rate, area))
    return found


def _mean_rate(times: Column, temps: Column, from_s: float, to_s: float) -> float | None:
    first_c, last_c = value_at(times, temps, from_s), value_at(times, temps, to_s)
    if first_c is None or last_c is None or to_s <= from_s:
        return None
    return 60 * (last_c - first_c) / (to_s - from_s)


def area_above(time_s: ArrayLike, temp_c: ArrayLike, from_s: float, to_s: float, base_c: float) -> float | None:
    """Area between a curve and a base temperature, where the curve is above it; linear between rows.

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time since charge, increasing. [s]
    temp_c : array-like, shape (n,)
        One temperature; NaN is a gap. [°C]
    from_s, to_s
        Interval. [s since charge]
    base_c
        Base temperature. [°C]

    Returns
    -------
    float or None
        None if the curve is unknown at either end, or for more than 6 s between them. [°C·min]

    Raises
    ------
    CurveError
        If the shapes differ.
    """
    times, temps = finite_pair(time_s, temp_c)
    ends = value_at(times, temps, from_s), value_at(times, temps, to_s)
    if ends[0] is None or ends[1] is None or to_s <= from_s:
        return None
    inside = (times > from_s) & (times < to_s)
    x = np.concatenate(([from_s], times[inside], [to_s]))
    above = np.concatenate(([ends[0]], temps[inside], [ends[1]])) - base_c
    steps = np.diff(x)
    if steps.max() > 2 * NEAR_S:
        return None
    low, high = np.minimum(above[:-1], above[1:]), np.maximum(above[:-1], above[1:])
    # A line that crosses the base contributes only the triangle above it.
    rise = np.where(high > low, high - low, 1.0)
    heights = np.where(low >= 0, (low + high) / 2, np.maximum(high, 0.0) ** 2 / (2 * rise))
    return float(steps @ heights) / 60


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
    """Time at which the planned development is complete.

    Parameters
    ----------
    first_crack_s
        Time of first crack. [s since charge]
    development_s
        Planned development time; takes precedence if both are given. [s]
    development_ratio
        Planned development time over time since charge; the drop d solves (d − first crack) / d = ratio. 0 to 1

    Returns
    -------
    float or None
        Time of the planned drop; None without a plan, and where first crack was marked before the charge. [s since
        charge]

    Raises
    ------
    CurveError
        If the planned time is not above 0, or the ratio not between 0 and 1.
    """
    if development_s is not None and not development_s > 0:
        raise CurveError(f"The planned development time must be above 0 s, not {development_s}.")
    if development_s is None and development_ratio is not None and not 0 < development_ratio < 1:
        raise CurveError(f"The planned development ratio must be between 0 and 1, not {development_ratio}.")
    if first_crack_s <= 0:
        return None
    if development_s is not None:
        return first_crack_s + development_s
    return None if development_ratio is None else first_crack_s / (1 - development_ratio)


def value_at(time_s: ArrayLike, values: ArrayLike, at_s: float) -> float | None:
    """Value at a time, interpolated linearly between the rows before and after it.

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time since charge, increasing. [s]
    values : array-like, shape (n,)
        One column; NaN is a gap.
    at_s
        Time. [s since charge]

    Returns
    -------
    float or None
        If only one row lies within 3 s, at an end or beside a gap, that row's value; None if no row does.

    Raises
    ------
    CurveError
        If the shapes differ.
    """
    times, known = finite_pair(time_s, values)
    near = np.abs(times - at_s) <= NEAR_S
    return float(np.interp(at_s, times[near], known[near])) if near.any() else None
