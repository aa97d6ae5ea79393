"""Accuracy of the rate of rise, beside other methods, on simulated roasts with a known truth; and its cost."""

import time

import numpy as np

from roastlog.curve.phases import phases
from roastlog.curve.rate.rate_of_rise import LiveRate, rate_of_rise
from roastlog.curve.series import bin_seconds
from roastlog.curve.smoothing import smooth_curve
from roastlog.curve.turning_point import turning_point
from tests import rates
from tests.bench.report import Figure
from tests.roast_corpus import mixed, read

ROASTS = 60
NOISES_C, STEPS_C = (0.08, 0.25, 0.5), (0.1, 0.5, 1.0)


def measure() -> list[Figure]:
    """Error of each method with the trailing 30 s difference as its floor, lag, calibration, and costs."""
    return [*_ways(surface=False), *_ways(surface=True), *_honesty(), *_live_cost(), _fold_cost()]


def _ways(*, surface: bool) -> list[Figure]:
    role, told = "bean_surface" if surface else "bean_probe", rates.readings(mixed(ROASTS), surface=surface)
    ours, errors = rates.live(told.temp_c, role)
    after, after_errors = rates.smoothed(told.temp_c, role)
    push, tuned = rates.tuned_filter(told)
    ways = {
        "difference over 15 s": rates.trailing_difference(told.temp_c, 15),
        "difference over 30 s": rates.trailing_difference(told.temp_c, 30),
        "difference over 60 s": rates.trailing_difference(told.temp_c, 60),
        "trailing line, 30 s": rates.trailing_fit(told.temp_c, 30, 1),
        "Savitzky-Golay one-sided, 60 s, order 2": rates.trailing_fit(told.temp_c, 60, 2),
        f"Kalman filter told the noise, tuned (q {push:.1e})": tuned,
        "ours, live": ours,
        "ours, live, with spikes and dropouts": rates.live(rates.soiled(told.temp_c), role)[0],
        "ours, smoothed": after,
    }
    bounds = {"ours, live": "≤ 0.70 times, aim 0.60", "ours, smoothed": "≤ 0.40 times"}
    common = rates.rms(ways["difference over 30 s"], told.true)
    figures = []
    for name, found in ways.items():
        off = rates.rms(found, told.true)
        figures.append(Figure(f"{role}: {name}", off, "°C/min", common, "difference over 30 s", bounds.get(name, "")))
        bound = "≤ 6 s" if name == "ours, live" else ""
        figures.append(Figure("  its lag", rates.lag_s(found, told.true), "s", bound=bound))
    inside = rates.coverage(ours, errors, told.true)
    inside_after = rates.coverage(after, after_errors, told.true)
    figures.append(Figure(f"{role}: errors within one reported", 100 * inside, "%", bound="60 to 76 %"))
    figures.append(Figure(f"{role}: the same, smoothed", 100 * inside_after, "%"))
    return figures


def _honesty() -> list[Figure]:
    figures = []
    for sd_c in NOISES_C:
        for step_c in STEPS_C:
            told = rates.readings(mixed(ROASTS)[::3], sd_c=sd_c, step_c=step_c)
            inside = rates.coverage(*rates.live(told.temp_c, "bean_probe"), told.true)
            figures.append(Figure(f"errors within one reported, σ {sd_c} °C, step {step_c} °C", 100 * inside, "%"))
    return figures


def _live_cost() -> list[Figure]:
    live, rng = LiveRate(), np.random.default_rng(13)
    live.charged(0.0)
    times = np.arange(0, 1260, 0.25)
    temps = read(60 + 0.12 * times, rng)
    took_us = []
    for time_s, temp_c in zip(times.tolist(), temps.tolist(), strict=True):
        begun = time.perf_counter_ns()
        live.add(time_s, temp_c)
        took_us.append((time.perf_counter_ns() - begun) / 1000)
    early, late = (float(np.median(took_us[240 * minute : 240 * (minute + 1)])) for minute in (1, 20))
    return [
        Figure("a live reading in minute 1", early, "µs"),
        Figure("a live reading in minute 20", late, "µs", early, "minute 1", "does not grow"),
    ]


def _fold_cost() -> Figure:
    """A roast of 20 minutes at 4 Hz: binned to seconds, its live rate, smoothed, and its phases."""
    times = np.arange(0, 1200, 0.25)
    at_ms = (1000 * times).astype(int)
    temps = read(200 - 130 * (1 - np.exp(-times / 25)) + 0.12 * times, np.random.default_rng(14))
    columns = {"bean_probe": temps, "bean_surface": temps + 3, "exhaust": temps + 40}
    marks = {"charge": 0.0, "yellow": 500.0, "first_crack": 1000.0, "drop": 1199.0}
    took_ms = []
    for _ in range(9):
        begun = time.perf_counter()
        curve = bin_seconds(at_ms, columns, origin_ms=0, start_s=0, end_s=1200)
        probe_c = curve.channels["bean_probe"]
        rate_of_rise(curve.time_s, probe_c)
        smooth_curve(curve.time_s, probe_c)
        turning_point(curve.time_s, probe_c)
        phases(marks, curve.time_s, probe_c)
        took_ms.append(1000 * (time.perf_counter() - begun))
    return Figure("20 minutes at 4 Hz folded, smoothed, measured", float(np.median(took_ms)), "ms", bound="≤ 50 ms")
