"""Whether a bean probe can be believed: readings that no probe in beans gives, and those after which a rate settles."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from roastlog.curve.trailing import episodes
from roastlog.errors import CurveError

SETTLE_S = 45.0
"""Readings are not judged for so long after one that no probe in beans gives: longer than any rate is averaged. [s]"""

ProbeSign = Literal["range", "missing", "stuck", "jump"]
_SIGNS = get_args(ProbeSign)  # the one that says most comes first
_Column = NDArray[np.float64]
_Mask = NDArray[np.bool_]

_FALL_S = 90.0  # by now the probe of the empty drum has come down to the beans
_FALL_C_PER_S = 10.0  # as fast as a thin probe falls when cold beans hit it [memory: common practice]
_RISE_C_PER_S = 0.5  # beans do not get hotter by 30 °C/min once the probe follows them [memory: common practice]
_FINE_C = 0.5  # a sensor of this step or less stands still for no other reason than being stuck
_APART_S = 60.0  # troubles closer than this are one: a loose plug comes and goes
_STILL_S = 6.0  # the same reading for so long is doubted, if by its rate the probe should have moved


@dataclass(frozen=True)
class ProbeLimits:
    """What a bean probe cannot do between charge and drop.

    Parameters
    ----------
    jump_c
        Jump from one reading to the next, beside what the beans can do meanwhile. [°C]
    low_c, high_c
        Read less or more than this: an open circuit, a short one, a wrong scale. [°C]
    stuck_s
        Read the same to the last digit for so long; on a sensor with steps of more than 0.5 °C as much longer. [s]
    missing_s
        Read nothing for so long. [s]

    Raises
    ------
    CurveError
        If a limit is not above zero, or the range is empty.
    """

    jump_c: float = 5.0
    low_c: float = 0.0
    high_c: float = 320.0
    stuck_s: float = 45.0
    missing_s: float = 10.0

    def __post_init__(self) -> None:
        """Refuse limits that mean nothing."""
        if not (self.jump_c > 0 and self.stuck_s > 0 and self.missing_s > 0 and self.low_c < self.high_c):
            raise CurveError("The limits of a probe are above zero, and its lowest reading is below its highest.")


def probe_troubles(time_s: _Column, temp_c: _Column, limits: ProbeLimits) -> list[tuple[float, float, ProbeSign]]:
    """When a bean probe did what it cannot do, troubles less than a minute apart being one.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Time, increasing, from charge on. [s]
    temp_c : ndarray, shape (n,)
        Bean probe; NaN is a gap. [°C]
    limits : ProbeLimits
        What it cannot do.

    Returns
    -------
    list of (float, float, str)
        Start and end [s], and what it was; of several the one that says most: range, missing, stuck, jump. A later row
        never changes a start.
    """
    if not time_s.size:
        return []
    still_s, silent_s = _still_s(time_s, temp_c), _silent_s(time_s, temp_c)
    none_s = np.zeros(time_s.shape)
    found: dict[ProbeSign, tuple[_Mask, _Column]] = {
        "range": (_out_of_range(temp_c, limits), none_s),
        "missing": (silent_s >= limits.missing_s, silent_s),
        "stuck": (still_s >= _stuck_s(temp_c, limits), still_s),
        "jump": (_jumps(time_s, temp_c, limits), none_s),
    }
    return _joined(
        (float(time_s[i] - since_s[i]), float(time_s[j]), sign)
        for sign, (rows, since_s) in found.items()
        for i, j in episodes(rows.astype(np.float64), 1.0, 1.0)
    )


def trusted(time_s: _Column, temp_c: _Column, rate_c_per_min: _Column, limits: ProbeLimits) -> _Mask:
    """Rows that may be judged: none that the probe made by a trouble of its own, as far as was known then.

    Parameters
    ----------
    time_s, temp_c, rate_c_per_min : ndarray, shape (n,)
        Time, bean probe and its live rate. [s], [°C], [°C/min]
    limits : ProbeLimits
        What a probe cannot do.

    Returns
    -------
    ndarray of bool, shape (n,)
        No later row changes an earlier answer.
    """
    if not time_s.size:
        return np.empty(0, dtype=bool)
    bad = _out_of_range(temp_c, limits) | _jumps(time_s, temp_c, limits) | _doubted(time_s, temp_c, rate_c_per_min)
    bad |= _silent_s(time_s, temp_c) >= limits.missing_s
    last_bad_s = np.maximum.accumulate(np.where(bad, time_s, -np.inf))
    return time_s - last_bad_s > SETTLE_S


def _out_of_range(temp_c: _Column, limits: ProbeLimits) -> _Mask:
    return (temp_c < limits.low_c) | (temp_c > limits.high_c)


def _jumps(time_s: _Column, temp_c: _Column, limits: ProbeLimits) -> _Mask:
    """Rows that lie too far from the last reading before them."""
    jumped = np.zeros(time_s.shape, dtype=bool)
    known = np.flatnonzero(np.isfinite(temp_c))
    times = time_s[known]
    fastest = np.where(times[1:] <= _FALL_S, _FALL_C_PER_S, _RISE_C_PER_S)
    jumped[known[1:]] = np.abs(np.diff(temp_c[known])) > limits.jump_c + fastest * np.diff(times)
    return jumped


def _silent_s(time_s: _Column, temp_c: _Column) -> _Column:
    """How long before each row the last reading was, the first row counting as one. [s]"""
    latest: _Column = np.maximum.accumulate(np.where(np.isfinite(temp_c), time_s, time_s[0]))
    return time_s - np.concatenate((time_s[:1], latest[:-1]))


def _run_starts(time_s: _Column, temp_c: _Column) -> NDArray[np.intp]:
    """First row of the run of same readings that each row is in; a gap is a run of its own, or parts two."""
    differs = (temp_c[1:] != temp_c[:-1]) | (np.diff(time_s) > _STILL_S)  # NaN differs from all
    begins = np.concatenate(([True], differs))
    starts: NDArray[np.intp] = np.maximum.accumulate(np.where(begins, np.arange(temp_c.size), 0))
    return starts


def _still_s(time_s: _Column, temp_c: _Column) -> _Column:
    """For how long the reading has been the same. [s]"""
    return time_s - time_s[_run_starts(time_s, temp_c)]


def _step_c(temp_c: _Column) -> _Column:
    """The sensor's step: the smallest change so far; infinite before there was one. [°C]"""
    changes = np.abs(np.diff(temp_c, prepend=temp_c[0]))
    steps: _Column = np.fmin.accumulate(np.where(changes > 0, changes, np.inf))
    return steps


def _stuck_s(temp_c: _Column, limits: ProbeLimits) -> _Column:
    """From when on a reading that stands still is stuck; a coarse sensor does so for long in a slow roast. [s]"""
    step_c = _step_c(temp_c)
    return limits.stuck_s * np.maximum(1.0, np.where(np.isfinite(step_c), step_c / _FINE_C, 1.0))


def _doubted(time_s: _Column, temp_c: _Column, rate_c_per_min: _Column) -> _Mask:
    """Rows of a reading that stands still though, by the rate before it, it should have gone on by two steps."""
    starts = _run_starts(time_s, temp_c)
    still_s = time_s - time_s[starts]
    expected_c = np.abs(rate_c_per_min[starts]) * still_s / 60.0
    return (still_s >= _STILL_S) & (expected_c >= 2.0 * _step_c(temp_c))


def _joined(rows: Iterable[tuple[float, float, ProbeSign]]) -> list[tuple[float, float, ProbeSign]]:
    """Stretches (start, end, sign), those that are close to each other as one."""
    joined: list[tuple[float, float, ProbeSign]] = []
    for start_s, end_s, sign in sorted(rows):
        if joined and start_s - joined[-1][1] <= _APART_S:
            first_s, last_s, named = joined[-1]
            joined[-1] = (first_s, max(last_s, end_s), min(sign, named, key=_SIGNS.index))
        else:
            joined.append((start_s, end_s, sign))
    return joined
