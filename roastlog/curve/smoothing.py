"""Fixed-interval smoothing of temperature and rate of a finished curve, without lag."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roastlog.curve.rate.kalman import OTHER_PROCESS_NOISE, PROCESS_NOISE, ProcessNoise, Transition, Trend, transition
from roastlog.curve.rate.rate_of_rise import (
    LATEST_TURN_S,
    OTHER_SETTLING,
    SETTLING,
    FilteredCurve,
    Settling,
    filter_curve,
    series,
)

Array = NDArray[np.float64]

_FIRST_S, _FIRST_C2 = 10.0, 25.0  # look-ahead of the initial rate estimate, and its variance [°C²/s²]


class SmoothCurve(NamedTuple):
    """A smoothed curve, one value per row; NaN where unknown. [°C], [°C/min], [°C/min]"""

    temp_c: Array
    rate_c_per_min: Array
    error_c_per_min: Array


class _Step(NamedTuple):
    """Filter output of one row, as the backward pass needs it."""

    step: Transition | None
    trend: tuple[float, ...]  # level, rate, bend, and their covariance: ll, lr, lb, rr, rb, bb
    off_c: float  # NaN where there was no reading
    spread_c2: float
    gain: tuple[float, float, float]


def smooth_curve(
    time_s: ArrayLike,
    temp_c: ArrayLike,
    *,
    role: str = "bean_probe",
    charge_s: float | None = 0.0,
    filtered: FilteredCurve | None = None,
) -> SmoothCurve:
    """Smooth the temperature and rate of a finished curve; also returns the standard error of the rate.

    The live rate's filter runs forward over the curve with one constant noise variance, then Bryson and Frazier's
    fixed-interval smoother [1]_ runs backward; the result equals that of Rauch, Tung and Striebel [2]_.

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time since charge, strictly increasing, any spacing. [s]
    temp_c : array-like, shape (n,)
        Temperature; NaN marks a missed reading. [°C]
    role : str, default "bean_probe"
        Role of the channel; selects the process noise and the settling time after charge.
    charge_s : float or None, default 0.0
        Time of charge; None without one. [s]
    filtered : FilteredCurve, optional
        The result of `filter_curve` for the same curve, if already computed.

    Returns
    -------
    SmoothCurve
        Missing or suspect rows are bridged where the live rate would be held; NaN across longer silences and in
        isolated stretches shorter than 10 s (5 s for the bean surface). Rate and error are also NaN until the
        channel's settling time after charge has passed and, for the bean probe, until its turning point.

    Raises
    ------
    CurveError
        If the shapes differ, or time does not increase.

    References
    ----------
    .. [1] G. J. Bierman, "Fixed interval smoothing with discrete measurements", Int. J. Control 18, 65-75 (1973)
       [memory].
    .. [2] H. E. Rauch, F. Tung, C. T. Striebel, "Maximum likelihood estimates of linear dynamic systems", AIAA J. 3,
       1445-1450 (1965) [memory].
    """
    times, temps = series(time_s, temp_c)
    settling = SETTLING.get(role, OTHER_SETTLING)
    level, rate, error = (np.full(times.shape, np.nan) for _ in range(3))
    _, stretches, noise_c2 = filtered or filter_curve(times, temps, role=role, charge_s=charge_s)
    for rows in stretches:
        first, last = rows[0], rows[-1] + 1
        if len(rows) < 3 or times[last - 1] - times[first] < settling.span_s:
            continue
        counted = np.full(last - first, np.nan)
        counted[np.array(rows) - first] = temps[rows]
        steps = filter_forward(
            times[first:last], counted, noise_c2, PROCESS_NOISE.get(role, OTHER_PROCESS_NOISE), charge_s
        )
        states, covariances = smooth_backward(steps)
        level[first:last] = states[:, 0]
        rate[first:last] = 60 * states[:, 1]
        error[first:last] = 60 * np.sqrt(covariances[:, 1, 1])
    if charge_s is not None:
        unsettled = _unsettled(times, rate, charge_s, settling)
        rate[unsettled] = error[unsettled] = np.nan
    return SmoothCurve(level, rate, error)


def _unsettled(times: Array, rate: Array, charge_s: float, settling: Settling) -> NDArray[np.bool_]:
    """Rows after charge whose rate is not yet that of the beans; for the probe, until it rises for good."""
    since_s = times - charge_s
    settled_s = settling.after_charge_s
    if settling.past_turning_point:
        for falling_s in since_s[(since_s >= 0) & (since_s <= LATEST_TURN_S) & (rate <= 0)].tolist():
            if falling_s <= settled_s + settling.span_s:
                settled_s = max(settled_s, math.nextafter(falling_s, math.inf))
    unsettled: NDArray[np.bool_] = (since_s >= 0) & (since_s < settled_s)
    return unsettled


def filter_forward(
    times: Array, temps: Array, noise_c2: float, process_noise: ProcessNoise, charge_s: float | None = None
) -> list[_Step]:
    """Filter a stretch of rows with a known noise variance; the first row must have a reading. [s], [°C], [°C²]"""
    origin_s = math.inf if charge_s is None else charge_s
    ats, values = times.tolist(), temps.tolist()
    # A diffuse initial rate would cost the backward pass precision; a rough estimate with little weight does not.
    trend, before_s = Trend(values[0], noise_c2, rate=_first_rate(times, temps), rate_c2=_FIRST_C2), ats[0]
    steps = [_Step(None, _state(trend), math.nan, 1.0, (0.0, 0.0, 0.0))]
    for at_s, value_c in zip(ats[1:], values[1:], strict=True):
        step = transition(round(at_s - before_s, 9))
        trend.predict(step, process_noise.at(at_s - origin_s))
        off_c, spread_c2 = value_c - trend.level, trend.ll + noise_c2
        gain = (trend.ll / spread_c2, trend.lr / spread_c2, trend.lb / spread_c2)
        if off_c == off_c:  # noqa: PLR0124, not NaN; three times as fast as math.isnan
            trend.update(off_c, noise_c2)
        steps.append(_Step(step, _state(trend), off_c, spread_c2, gain))
        before_s = at_s
    return steps


def _first_rate(times: Array, temps: Array) -> float:
    """Rate between the first reading and the last one within 10 s of it, or 0 without one. [°C/s]"""
    near = np.flatnonzero(np.isfinite(temps) & (times <= times[0] + _FIRST_S))
    return float((temps[near[-1]] - temps[0]) / (times[near[-1]] - times[0])) if near[-1] else 0.0


def _state(trend: Trend) -> tuple[float, ...]:
    t = trend
    return t.level, t.rate, t.bend, t.ll, t.lr, t.lb, t.rr, t.rb, t.bb


def smooth_backward(steps: list[_Step]) -> tuple[Array, Array]:
    """Smooth what `filter_forward` filtered: states of shape (n, 3), covariances of shape (n, 3, 3). [°C], [s]"""
    a, b, c = 0.0, 0.0, 0.0  # adjoint of the state, from the later readings …
    aa = ab = ac = bb = bc = cc = 0.0  # … and its information matrix
    adjoints = []
    for step, _, off_c, spread_c2, (k, kr, kb) in reversed(steps):
        adjoints.append((a, b, c, aa, ab, ac, bb, bc, cc))
        if step is None:
            break
        if off_c == off_c:  # noqa: PLR0124, not NaN
            # Through the reading: (I − K H)ᵀ from the left, and from the right for the square.
            ga, gb, gc = k * aa + kr * ab + kb * ac, k * ab + kr * bb + kb * bc, k * ac + kr * bc + kb * cc
            aa += (1.0 / spread_c2) - 2 * ga + k * ga + kr * gb + kb * gc
            ab -= gb
            ac -= gc
            a -= k * a + kr * b + kb * c + off_c / spread_c2
        # Through the time step: Fᵀ from the left, and F from the right.
        dt, lb, rb, left = step[:4]
        ca, cb, c3 = lb * aa + rb * ab + left * ac, lb * ab + rb * bb + left * bc, lb * ac + rb * bc + left * cc
        c = lb * a + rb * b + left * c
        cc = lb * ca + rb * cb + left * c3
        bc = dt * ca + cb
        ac = ca
        bb += dt * (2 * ab + dt * aa)
        ab += dt * aa
        b += dt * a
    filtered = np.array([step.trend for step in steps])
    adjoint = np.array(adjoints[::-1])
    covariance = filtered[:, 3:][:, _SQUARE]
    states = filtered[:, :3] - np.einsum("nij,nj->ni", covariance, adjoint[:, :3])
    return states, covariance - covariance @ adjoint[:, 3:][:, _SQUARE] @ covariance


_SQUARE = np.array([[0, 1, 2], [1, 3, 4], [2, 4, 5]])
