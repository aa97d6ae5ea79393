"""Faults of a curve: crash, rebound, stall, fast crack and a faulty probe; found as they come, and told in words.

`docs/faults.md` says the definitions at length and what each threshold rests on.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roastlog.curve.faults.probe import ProbeLimits, ProbeSign, probe_troubles, trusted
from roastlog.curve.trailing import episodes, noise_so_far, trailing_slope, trailing_trend
from roastlog.errors import CurveError
from roastlog.languages import N_, decimal, said
from roastlog.units import clock_text, rate_f_from_c

MEAN_S = 30.0
"""Rates are averages over this time, by a straight line through its temperatures, so that noise makes no fault. [s]"""

STALL_S = 40.0
"""A stall is an average over this time. [s]"""

LUCK_C_PER_MIN = 0.3
"""Taken off each fall and rise: the largest of many is too large by about so much, by a usual noise. [°C/min]"""

NOISY_C, LUCK_PER_NOISE = 0.3, 3.2
"""A sensor with more noise than this [°C] has more of such luck: so much by each °C more. [°C/min a °C]"""

SPAN_S = 30.0
"""A crash is a fall within this time. [s]"""

TREND_S = 90.0, 60.0
"""The roast's own trend is a line through the rate over so long before that time, and at least over so long. [s]"""

UNMARKED_S = 120.0
"""So long before first crack a curve is looked at where yellow was not marked. [s]"""

DECLINING_RATE = N_(
    "A rate of rise that declines steadily is a good beginning for an unfamiliar coffee, not a rule: the cup decides."
)
"""What a page says beside rates and their faults."""

TITLES: dict[str, str] = {
    "crash": N_("Rate crash"),
    "rebound": N_("Rate rebound"),
    "stall": N_("Stall"),
    "fast_crack": N_("Fast at first crack"),
    "probe": N_("Probe in doubt"),
}
"""What a fault is called on a page, by its kind."""

_SENTENCES: dict[str, str] = {
    "crash": N_(
        "Between {start} and {end} the rate of rise fell as far as {size} below its own trend; "
        "the heat may be worth a look."
    ),
    "rebound": N_(
        "After its low at {start} the rate of rise went up again by {size}; "
        "beans past first crack may need less heat than they get."
    ),
    "stall": N_(
        "Between {start} and {end} the rate of rise was down to {size}; a longer stay like this may taste flat."
    ),
    "fast_crack": N_(
        "At first crack, {start}, the rate of rise was {size}. Beans give heat of their own from here on, "
        "and the roast may run ahead; what is safe then stands in the machine's manual."
    ),
    "range": N_(
        "Between {start} and {end} the bean probe read what beans cannot be: a broken wire, a loose plug or a "
        "wrong scale may be behind it. The rate cannot be relied on."
    ),
    "missing": N_("Between {start} and {end} the bean probe gave no reading; what happened meanwhile is not known."),
    "stuck": N_(
        "Between {start} and {end} the bean probe read the same to the last digit, as it hardly does in moving "
        "beans. The rate cannot be relied on."
    ),
    "jump": N_("At {start} the bean probe jumped as beans cannot; a loose plug or a static shock may be behind it."),
}

FaultKind = Literal["crash", "rebound", "stall", "fast_crack", "probe"]
_Column = NDArray[np.float64]


@dataclass(frozen=True)
class Thresholds:
    """From when on something is told; the rates in °C/min.

    Parameters
    ----------
    crash_c_per_min
        A crash: so far below the trend within 30 s.
    rebound_c_per_min
        A rebound: so far above the low after first crack.
    stall_c_per_min
        A stall: less than this over 40 s, after yellow.
    fast_crack_c_per_min
        A fast crack: at least this at first crack.
    probe
        What a bean probe cannot read.

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
        """Refuse a threshold that everything passes, or nothing."""
        for name in (item.name for item in fields(self) if item.name != "probe"):
            if not 0 < getattr(self, name) < np.inf:
                raise CurveError(f"The threshold {name} must be above 0, not {getattr(self, name)}.")


USUAL = Thresholds()


@dataclass(frozen=True)
class CurveFault:
    """Something in a curve that is worth a look.

    Attributes
    ----------
    kind : str
        crash, rebound, stall, fast_crack or probe.
    start_s, end_s : float
        From when to when; the end of one that goes on is the last row. [s from charge]
    size_c_per_min : float
        A crash: how far below the trend. A rebound: how far above the low. A stall: the lowest rate. A fast crack: the
        rate at first crack. A probe has no such size: 0. [°C/min]
    sign : str or None
        What the probe did: range, missing, stuck or jump. None for the other kinds.
    """

    kind: FaultKind
    start_s: float
    end_s: float
    size_c_per_min: float
    sign: ProbeSign | None = None


def find_faults(
    time_s: ArrayLike,
    temp_c: ArrayLike,
    rate_c_per_min: ArrayLike,
    moments_s: Mapping[str, float],
    thresholds: Thresholds = USUAL,
) -> list[CurveFault]:
    """Faults of a curve, whole or so far, from charge to drop.

    A later row never takes back a fault and never moves its start; it may move its end and make it larger. So the live
    page and the record agree, if both ask with the live rate (`roastlog.curve.rate.rate_of_rise.rate_of_rise`).

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time, increasing; some row a second is meant. [s from charge]
    temp_c : array-like, shape (n,)
        Bean probe; NaN is a gap. Only differences count, but for the range that a probe can read. [°C]
    rate_c_per_min : array-like, shape (n,)
        Its live rate of rise, NaN where it is not known: where it is, the readings are believed. What is judged are
        slopes over longer, taken from the readings, so that no filter's lag or overshoot is in them. [°C/min]
    moments_s : mapping of str to float
        Moments as they were marked; those after the last row are left out. Crash and stall are looked for
        from ``yellow`` on, or where it was not marked from two minutes before ``first_crack``; rebound and fast crack
        need ``first_crack``. [s from charge]
    thresholds : Thresholds
        From when on something is told.

    Returns
    -------
    list of CurveFault
        In the order of their starts.

    Raises
    ------
    CurveError
        If the shapes differ.
    """
    times, temps, rates = (np.asarray(given, dtype=np.float64) for given in (time_s, temp_c, rate_c_per_min))
    if times.ndim != 1 or not times.shape == temps.shape == rates.shape:
        raise CurveError(f"Faults need columns of one length, not {times.shape}, {temps.shape}, {rates.shape}.")
    asked = (times >= moments_s.get("charge", 0.0)) & (times <= moments_s.get("drop", np.inf))
    times, temps, rates = times[asked], temps[asked], rates[asked]
    if not times.size:
        return []
    believed = np.where(trusted(times, temps, rates, thresholds.probe) & np.isfinite(rates), temps, np.nan)
    found = [
        CurveFault("probe", start_s, end_s, 0.0, sign)
        for start_s, end_s, sign in probe_troubles(times, temps, thresholds.probe)
    ]
    crack_s = moments_s.get("first_crack", np.inf)
    browned_s = moments_s.get("yellow", crack_s - UNMARKED_S)
    if min(crack_s, moments_s.get("yellow", crack_s)) <= times[-1]:
        found += _crashes(times, believed, browned_s, thresholds.crash_c_per_min)
        found += _stalls(times, believed, browned_s, thresholds.stall_c_per_min)
    if crack_s <= times[-1]:
        found += _rebounds(times, believed, crack_s, thresholds.rebound_c_per_min)
        found += _fast_crack(times, believed, crack_s, thresholds.fast_crack_c_per_min)
    return sorted(found, key=lambda fault: (fault.start_s, fault.kind))


def _crashes(times: _Column, temps: _Column, from_s: float, least: float) -> list[CurveFault]:
    rates = 60.0 * trailing_slope(times, temps, MEAN_S, from_s=from_s)
    longest_s, shortest_s = TREND_S
    trend = trailing_trend(
        times, rates, ago_s=SPAN_S, longest_s=longest_s, shortest_s=shortest_s, from_s=from_s + MEAN_S
    )
    fall = trend - rates - _luck(temps)
    return [
        CurveFault("crash", float(times[i]) - SPAN_S, float(times[j]), float(np.nanmax(fall[i : j + 1])))
        for i, j in episodes(fall, least, least / 2)
    ]


def _luck(temps: _Column) -> _Column:
    """How much too large the largest of many falls or rises is, by the noise that the sensor has shown so far."""
    return LUCK_C_PER_MIN + LUCK_PER_NOISE * np.maximum(noise_so_far(temps) - NOISY_C, 0.0)


def _stalls(times: _Column, temps: _Column, from_s: float, least: float) -> list[CurveFault]:
    rates = 60.0 * trailing_slope(times, temps, STALL_S, from_s=from_s)
    return [
        CurveFault("stall", float(times[i]) - STALL_S, float(times[j]), float(np.nanmin(rates[i : j + 1])))
        for i, j in episodes(-rates, -least, -1.5 * least)
    ]


def _rebounds(times: _Column, temps: _Column, crack_s: float, least: float) -> list[CurveFault]:
    rates = 60.0 * trailing_slope(times, temps, MEAN_S, from_s=crack_s)
    rise = rates - np.fmin.accumulate(rates) - _luck(temps)
    return [
        CurveFault(
            "rebound", float(times[np.nanargmin(rates[: i + 1])]), float(times[j]), float(np.nanmax(rise[i : j + 1]))
        )
        for i, j in episodes(rise, least, least / 2)
    ]


def _fast_crack(times: _Column, temps: _Column, crack_s: float, least: float) -> list[CurveFault]:
    rates = 60.0 * trailing_slope(times, temps, MEAN_S)
    at = int(np.searchsorted(times, crack_s, side="right")) - 1
    if at < 0 or not rates[at] >= least:
        return []
    (_, last), *_ = episodes(rates[at:], least, least)
    return [CurveFault("fast_crack", crack_s, max(crack_s, float(times[at + last])), float(rates[at]))]


def tell_fault(fault: CurveFault, unit: str = "C") -> str:
    """One sentence or two that say a fault with its size, advise, and tell no one what to do.

    Parameters
    ----------
    fault
        What was found.
    unit
        C or F: the unit of the sizes.
    """
    size = fault.size_c_per_min if unit == "C" else rate_f_from_c(fault.size_c_per_min)
    shown = decimal(f"{round(size, 1) + 0.0:.1f}".replace("-", "−"))  # the sum makes a plain zero of a negative one
    return said(
        _SENTENCES[fault.sign or fault.kind],
        start=clock_text(fault.start_s),
        end=clock_text(fault.end_s),
        size=f"{shown}\N{NO-BREAK SPACE}°{unit}/min",
    )
