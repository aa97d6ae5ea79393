"""Detection of bean probe faults: readings that a working probe in beans cannot give."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from roastlog.curve.trailing import hysteresis_intervals
from roastlog.errors import CurveError

SETTLE_S = 45.0
"""After a faulty reading, readings are unusable for this long: longer than any rate's window. [s]"""

ProbeSymptom = Literal["range", "missing", "stuck", "jump"]
_SYMPTOMS = get_args(ProbeSymptom)  # most specific first
_Column = NDArray[np.float64]
_Mask = NDArray[np.bool_]

_FALL_S = 90.0  # after this the probe has fallen from the empty drum's temperature to the beans'
_FALL_C_PER_S = 10.0  # fastest fall of a thin probe hit by cold beans [memory: common practice]
_RISE_C_PER_S = 0.5  # beans do not heat by 30 °C/min once the probe follows them [memory: common practice]
_FINE_C = 0.5  # a sensor with this step or a finer one repeats a reading for long only when stuck
_APART_S = 60.0  # faults closer than this are merged: a loose plug comes and goes
_STILL_S = 6.0  # a constant reading is suspect after this, if its rate implies a change


@dataclass(frozen=True)
class ProbeLimits:
    """Limits of a plausible bean probe between charge and drop.

    Parameters
    ----------
    jump_c
        Largest jump between two readings, beyond the change that the beans allow. [°C]
    low_c, high_c
        Range of readings; outside it: an open circuit, a short circuit, a wrong scale. [°C]
    stuck_s
        Longest time of identical readings; proportionally longer for a sensor with steps of more than 0.5 °C. [s]
    missing_s
        Longest time without a reading. [s]

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
        """Reject limits that are not above zero, and an empty range."""
        if not (self.jump_c > 0 and self.stuck_s > 0 and self.missing_s > 0 and self.low_c < self.high_c):
            raise CurveError("Probe limits must be above zero, and the lowest reading below the highest.")


def find_probe_faults(time_s: _Column, temp_c: _Column, limits: ProbeLimits) -> list[tuple[float, float, ProbeSymptom]]:
    """Intervals of faulty bean probe readings; faults less than a minute apart are merged.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Time, increasing, from charge on. [s]
    temp_c : ndarray, shape (n,)
        Bean probe; NaN is a gap. [°C]
    limits : ProbeLimits
        Limits of a plausible probe.

    Returns
    -------
    list of (float, float, str)
        Start and end [s], and the symptom; of several the most specific: range, missing, stuck, jump. Later rows never
        change a start.
    """
    if not time_s.size:
        return []
    still_s, silent_s = _still_s(time_s, temp_c), _silent_s(time_s, temp_c)
    none_s = np.zeros(time_s.shape)
    found: dict[ProbeSymptom, tuple[_Mask, _Column]] = {
        "range": (_out_of_range(temp_c, limits), none_s),
        "missing": (silent_s >= limits.missing_s, silent_s),
        "stuck": (still_s >= _stuck_s(temp_c, limits), still_s),
        "jump": (_jumps(time_s, temp_c, limits), none_s),
    }
    return _merge_close(
        (float(time_s[i] - since_s[i]), float(time_s[j]), symptom)
        for symptom, (rows, since_s) in found.items()
        for i, j in hysteresis_intervals(rows.astype(np.float64), 1.0, 1.0)
    )


def usable_rows(time_s: _Column, temp_c: _Column, rate_c_per_min: _Column, limits: ProbeLimits) -> _Mask:
    """Rows not affected by a probe fault, as far as was known at each row.

    Parameters
    ----------
    time_s, temp_c, rate_c_per_min : ndarray, shape (n,)
        Time, bean probe and its live rate. [s], [°C], [°C/min]
    limits : ProbeLimits
        Limits of a plausible probe.

    Returns
    -------
    ndarray of bool, shape (n,)
        Later rows never change earlier ones.
    """
    if not time_s.size:
        return np.empty(0, dtype=bool)
    faulty = _out_of_range(temp_c, limits) | _jumps(time_s, temp_c, limits) | _suspect(time_s, temp_c, rate_c_per_min)
    faulty |= _silent_s(time_s, temp_c) >= limits.missing_s
    last_bad_s = np.maximum.accumulate(np.where(faulty, time_s, -np.inf))
    return time_s - last_bad_s > SETTLE_S


def most_change_c(gap_s: float) -> float:
    """Largest change of any temperature in a machine between two readings; a larger one is a jump. [°C]

    Parameters
    ----------
    gap_s
        Time between them. Over longer gaps than a probe may be silent for it grows no further. [s]
    """
    return ProbeLimits.jump_c + _FALL_C_PER_S * min(max(gap_s, 0.0), ProbeLimits.missing_s)


def _out_of_range(temp_c: _Column, limits: ProbeLimits) -> _Mask:
    return (temp_c < limits.low_c) | (temp_c > limits.high_c)


def _jumps(time_s: _Column, temp_c: _Column, limits: ProbeLimits) -> _Mask:
    """Rows too far from the reading before them."""
    jumped = np.zeros(time_s.shape, dtype=bool)
    known = np.flatnonzero(np.isfinite(temp_c))
    times = time_s[known]
    fastest = np.where(times[1:] <= _FALL_S, _FALL_C_PER_S, _RISE_C_PER_S)
    jumped[known[1:]] = np.abs(np.diff(temp_c[known])) > limits.jump_c + fastest * np.diff(times)
    return jumped


def _silent_s(time_s: _Column, temp_c: _Column) -> _Column:
    """Time since the last reading before each row; the first row counts as a reading. [s]"""
    latest: _Column = np.maximum.accumulate(np.where(np.isfinite(temp_c), time_s, time_s[0]))
    return time_s - np.concatenate((time_s[:1], latest[:-1]))


def _run_starts(time_s: _Column, temp_c: _Column) -> NDArray[np.intp]:
    """First row of each row's run of identical readings; a gap is its own run or separates two."""
    differs = (temp_c[1:] != temp_c[:-1]) | (np.diff(time_s) > _STILL_S)  # NaN equals nothing
    begins = np.concatenate(([True], differs))
    starts: NDArray[np.intp] = np.maximum.accumulate(np.where(begins, np.arange(temp_c.size), 0))
    return starts


def _still_s(time_s: _Column, temp_c: _Column) -> _Column:
    """Time for which the reading has been constant. [s]"""
    return time_s - time_s[_run_starts(time_s, temp_c)]


def _step_c(temp_c: _Column) -> _Column:
    """The sensor's step: the smallest change so far; infinite before the first. [°C]"""
    changes = np.abs(np.diff(temp_c, prepend=temp_c[0]))
    steps: _Column = np.fmin.accumulate(np.where(changes > 0, changes, np.inf))
    return steps


def _stuck_s(temp_c: _Column, limits: ProbeLimits) -> _Column:
    """Time after which a constant reading is stuck; longer for a coarse sensor, for slow roasts. [s]"""
    step_c = _step_c(temp_c)
    return limits.stuck_s * np.maximum(1.0, np.where(np.isfinite(step_c), step_c / _FINE_C, 1.0))


def _suspect(time_s: _Column, temp_c: _Column, rate_c_per_min: _Column) -> _Mask:
    """Rows of a constant reading that, by the rate before it, should have changed by two steps."""
    starts = _run_starts(time_s, temp_c)
    still_s = time_s - time_s[starts]
    expected_c = np.abs(rate_c_per_min[starts]) * still_s / 60.0
    return (still_s >= _STILL_S) & (expected_c >= 2.0 * _step_c(temp_c))


def _merge_close(rows: Iterable[tuple[float, float, ProbeSymptom]]) -> list[tuple[float, float, ProbeSymptom]]:
    """Intervals (start, end, symptom), with close ones merged."""
    merged: list[tuple[float, float, ProbeSymptom]] = []
    for start_s, end_s, symptom in sorted(rows):
        if merged and start_s - merged[-1][1] <= _APART_S:
            first_s, last_s, other = merged[-1]
            merged[-1] = (first_s, max(last_s, end_s), min(symptom, other, key=_SYMPTOMS.index))
        else:
            merged.append((start_s, end_s, symptom))
    return merged
