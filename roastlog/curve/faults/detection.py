"""Online detection and description of curve faults: crash, rebound, stall, fast crack and a faulty probe.

`docs/faults.md` gives the full definitions and the basis of each threshold.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roastlog.curve.faults.probe import ProbeLimits, ProbeSymptom, find_probe_faults, usable_rows
from roastlog.curve.trailing import hysteresis_intervals, running_noise_sd, trailing_slope, trailing_trend
from roastlog.errors import CurveError
from roastlog.languages import N_, decimal, translate
from roastlog.units import clock_text, rate_f_from_c

MEAN_S = 30.0
"""Rates are slopes of a straight line fitted over this time, so that noise causes no fault. [s]"""

STALL_S = 40.0
"""The rate of a stall is fitted over this time. [s]"""

NOISE_ALLOWANCE_C_PER_MIN = 0.3
"""Subtracted from each fall and rise: at usual noise the maximum of many overestimates by about this. [°C/min]"""

NOISY_C, ALLOWANCE_PER_NOISE = 0.3, 3.2
"""For a sensor with more noise than the first [°C], the allowance grows by the second. [°C/min per °C]"""

SPAN_S = 30.0
"""A crash is a fall within this time. [s]"""

TREND_S = 90.0, 60.0
"""Maximum and minimum length of the trend line through the rate before a crash. [s]"""

UNMARKED_S = 120.0
"""If yellow was not marked, detection starts this long before first crack. [s]"""

DECLINING_RATE = N_(
    "A rate of rise that declines steadily is a good start for an unfamiliar coffee, not a rule: the cup decides."
)
"""Caution shown beside rates and their faults."""

TITLES: dict[str, str] = {
    "crash": N_("Rate crash"),
    "rebound": N_("Rate rebound"),
    "stall": N_("Stall"),
    "fast_crack": N_("Fast at first crack"),
    "probe": N_("Probe in doubt"),
}
"""Page titles of faults, by kind."""

_SENTENCES: dict[str, str] = {
    "crash": N_(
        "Between {start} and {end} the rate of rise fell {size} below its trend; the heat may be worth a look."
    ),
    "rebound": N_(
        "After its low at {start} the rate of rise went up again by {size}; past first crack the beans may "
        "need less heat."
    ),
    "stall": N_("Between {start} and {end} the rate of rise was only {size}; much longer like this may taste flat."),
    "fast_crack": N_(
        "At first crack, {start}, the rate of rise was {size}. From here on the beans give off heat "
        "themselves, and the roast may run away; the machine's manual says what is safe."
    ),
    "range": N_(
        "Between {start} and {end} the bean probe read an impossible temperature; a broken wire, a loose "
        "plug or a wrong scale may be the cause. The rate is unreliable."
    ),
    "missing": N_("Between {start} and {end} the bean probe gave no readings."),
    "stuck": N_(
        "Between {start} and {end} the bean probe read the same to the last digit, which moving beans rarely "
        "give. The rate is unreliable."
    ),
    "jump": N_("At {start} the bean probe jumped faster than beans can; a loose plug or static may be the cause."),
}

FaultKind = Literal["crash", "rebound", "stall", "fast_crack", "probe"]
_Column = NDArray[np.float64]


@dataclass(frozen=True)
class Thresholds:
    """Detection thresholds; rates in °C/min.

    Parameters
    ----------
    crash_c_per_min
        Crash: fall below the trend within 30 s.
    rebound_c_per_min
        Rebound: rise above the low after first crack.
    stall_c_per_min
        Stall: rate below this over 40 s, after yellow.
    fast_crack_c_per_min
        Fast crack: rate of at least this at first crack.
    probe
        Limits of a plausible bean probe.

    Raises
    ------
    CurveError
        If a rate is not above zero.
    """

    crash_c_per_min: float = 4.5
    rebound_c_per_min: float = 2.0
    stall_c_per_min: float = 1.0
    fast_crack_c_per_min: float = 12.0
    probe: ProbeLimits = field(default_factory=ProbeLimits)

    def __post_init__(self) -> None:
        """Reject thresholds that are not finite and above 0."""
        for name in (item.name for item in fields(self) if item.name != "probe"):
            if not 0 < getattr(self, name) < np.inf:
                raise CurveError(f"Threshold {name} must be above 0, not {getattr(self, name)}.")


USUAL = Thresholds()


@dataclass(frozen=True)
class CurveFault:
    """A detected fault of a curve or its probe.

    Attributes
    ----------
    kind : str
        crash, rebound, stall, fast_crack or probe.
    start_s, end_s : float
        Interval; a fault that lasts ends at the last row. [s from charge]
    size_c_per_min : float
        Crash: distance below the trend. Rebound: rise above the low. Stall: the lowest rate. Fast crack: the rate at
        first crack. Probe: 0. [°C/min]
    symptom : str or None
        Symptom of a probe fault: range, missing, stuck or jump. None for the other kinds.
    """

    kind: FaultKind
    start_s: float
    end_s: float
    size_c_per_min: float
    symptom: ProbeSymptom | None = None


def find_faults(
    time_s: ArrayLike,
    temp_c: ArrayLike,
    rate_c_per_min: ArrayLike,
    moments_s: Mapping[str, float],
    thresholds: Thresholds = USUAL,
) -> list[CurveFault]:
    """Faults of a curve, whole or so far, from charge to drop.

    Later rows never remove a fault or move its start; they may extend and enlarge it. So the live page and the record
    agree if both pass the live rate (`roastlog.curve.rate.rate_of_rise.rate_of_rise`).

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time, increasing, about one row a second. [s from charge]
    temp_c : array-like, shape (n,)
        Bean probe; NaN is a gap. Only differences matter, except for the range check. [°C]
    rate_c_per_min : array-like, shape (n,)
        Its live rate of rise, NaN where unknown; readings are used only where it is known. Faults are judged by slopes
        over longer windows, fitted to the readings, so that they contain no filter lag or overshoot. [°C/min]
    moments_s : mapping of str to float
        Marked moments; those after the last row are ignored. Crash and stall are detected from ``yellow`` on, or from
        two minutes before ``first_crack`` if it was not marked; rebound and fast crack need ``first_crack``.
        [s from charge]
    thresholds : Thresholds
        Detection thresholds.

    Returns
    -------
    list of CurveFault
        Ordered by start.

    Raises
    ------
    CurveError
        If the shapes differ.
    """
    times, temps, rates = (np.asarray(given, dtype=np.float64) for given in (time_s, temp_c, rate_c_per_min))
    if times.ndim != 1 or not times.shape == temps.shape == rates.shape:
        raise CurveError(f"Columns must have the same length, not {times.shape}, {temps.shape} and {rates.shape}.")
    in_roast = (times >= moments_s.get("charge", 0.0)) & (times <= moments_s.get("drop", np.inf))
    times, temps, rates = times[in_roast], temps[in_roast], rates[in_roast]
    if not times.size:
        return []
    usable = np.where(usable_rows(times, temps, rates, thresholds.probe) & np.isfinite(rates), temps, np.nan)
    found = [
        CurveFault("probe", start_s, end_s, 0.0, symptom)
        for start_s, end_s, symptom in find_probe_faults(times, temps, thresholds.probe)
    ]
    crack_s = moments_s.get("first_crack", np.inf)
    search_from_s = moments_s.get("yellow", crack_s - UNMARKED_S)
    if min(crack_s, moments_s.get("yellow", crack_s)) <= times[-1]:
        found += _crashes(times, usable, search_from_s, thresholds.crash_c_per_min)
        found += _stalls(times, usable, search_from_s, thresholds.stall_c_per_min)
    if crack_s <= times[-1]:
        found += _rebounds(times, usable, crack_s, thresholds.rebound_c_per_min)
        found += _fast_crack(times, usable, crack_s, thresholds.fast_crack_c_per_min)
    return sorted(found, key=lambda fault: (fault.start_s, fault.kind))


def _crashes(times: _Column, temps: _Column, from_s: float, least: float) -> list[CurveFault]:
    rates = 60.0 * trailing_slope(times, temps, MEAN_S, from_s=from_s)
    longest_s, shortest_s = TREND_S
    trend = trailing_trend(
        times, rates, ago_s=SPAN_S, longest_s=longest_s, shortest_s=shortest_s, from_s=from_s + MEAN_S
    )
    fall = trend - rates - _noise_allowance(temps)
    return [
        CurveFault("crash", float(times[i]) - SPAN_S, float(times[j]), float(np.nanmax(fall[i : j + 1])))
        for i, j in hysteresis_intervals(fall, least, least / 2)
    ]


def _noise_allowance(temps: _Column) -> _Column:
    """Overestimate of the largest of many falls or rises, from the sensor's noise so far. [°C/min]"""
    return NOISE_ALLOWANCE_C_PER_MIN + ALLOWANCE_PER_NOISE * np.maximum(running_noise_sd(temps) - NOISY_C, 0.0)


def _stalls(times: _Column, temps: _Column, from_s: float, least: float) -> list[CurveFault]:
    rates = 60.0 * trailing_slope(times, temps, STALL_S, from_s=from_s)
    return [
        CurveFault("stall", float(times[i]) - STALL_S, float(times[j]), float(np.nanmin(rates[i : j + 1])))
        for i, j in hysteresis_intervals(-rates, -least, -1.5 * least)
    ]


def _rebounds(times: _Column, temps: _Column, crack_s: float, least: float) -> list[CurveFault]:
    rates = 60.0 * trailing_slope(times, temps, MEAN_S, from_s=crack_s)
    rise = rates - np.fmin.accumulate(rates) - _noise_allowance(temps)
    return [
        CurveFault(
            "rebound", float(times[np.nanargmin(rates[: i + 1])]), float(times[j]), float(np.nanmax(rise[i : j + 1]))
        )
        for i, j in hysteresis_intervals(rise, least, least / 2)
    ]


def _fast_crack(times: _Column, temps: _Column, crack_s: float, least: float) -> list[CurveFault]:
    rates = 60.0 * trailing_slope(times, temps, MEAN_S)
    at = int(np.searchsorted(times, crack_s, side="right")) - 1
    if at < 0 or not rates[at] >= least:
        return []
    (_, last), *_ = hysteresis_intervals(rates[at:], least, least)
    return [CurveFault("fast_crack", crack_s, max(crack_s, float(times[at + last])), float(rates[at]))]


def describe_fault(fault: CurveFault, unit: str = "C") -> str:
    """Describe a fault and its size in one or two sentences of advice, without instructions.

    Parameters
    ----------
    fault
        The detected fault.
    unit
        Unit of the sizes, C or F.
    """
    size = fault.size_c_per_min if unit == "C" else rate_f_from_c(fault.size_c_per_min)
    shown = decimal(f"{round(size, 1) + 0.0:.1f}".replace("-", "−"))  # + 0.0 turns −0.0 into 0.0
    return translate(
        _SENTENCES[fault.symptom or fault.kind],
        start=clock_text(fault.start_s),
        end=clock_text(fault.end_s),
        size=f"{shown}\N{NO-BREAK SPACE}°{unit}/min",
    )
