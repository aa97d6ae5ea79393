"""Other methods for the rate of rise, and the errors of all on roasts with a known truth.

A table of readings has a row per roast and a column per second from charge, NaN after the drop; so do tables of rates.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from roastlog.curve.rate.rate_of_rise import LiveRate
from roastlog.curve.smoothing import smooth_curve
from tests.roast_corpus import Known, read

Table = NDArray[np.float64]

FROM_S = 120  # scoring starts here and ends at the drop
SPIKES, SPIKE_C, DROPOUTS = 0.01, 400.0, 0.05


class Readings(NamedTuple):
    """Readings of roasts, with their true rates. [°C], [°C/min]"""

    temp_c: Table
    true: Table
    noise_c2: float  # variance of noise and steps together, known only in a simulation


def readings(roasts: Sequence[Known], *, surface: bool = False, sd_c: float = 0.25, step_c: float = 0.1) -> Readings:
    """Readings of roasts by the probe, or the infrared surface sensor, each second."""
    longest = max(known.time_s.size for known in roasts)
    temp_c, true = np.full((2, len(roasts), longest), np.nan)
    for row, known in enumerate(roasts):
        n = known.time_s.size
        clean_c = known.surface_c if surface else known.probe_c
        temp_c[row, :n] = read(clean_c, np.random.default_rng([11, row]), sd_c=sd_c, step_c=step_c)
        true[row, :n] = known.surface_rate_c_per_min if surface else known.rate_c_per_min
    return Readings(temp_c, true, sd_c**2 + step_c**2 / 12)


def soiled(temp_c: Table) -> Table:
    """The same with static shocks and dropouts."""
    rng = np.random.default_rng(12)
    shocked = np.where(rng.random(temp_c.shape) < SPIKES, temp_c + SPIKE_C, temp_c)
    return np.where(rng.random(temp_c.shape) < DROPOUTS, np.nan, shocked)


# Other methods


def trailing_difference(temp_c: Table, window_s: int = 30) -> Table:
    """The trade's common method: the rise over the last ``window_s``. [common practice]"""
    rates = np.full(temp_c.shape, np.nan)
    rates[:, window_s:] = 60 * (temp_c[:, window_s:] - temp_c[:, :-window_s]) / window_s
    return rates


def fit_weights(offsets: Table, order: int, derivative: int) -> Table:
    """Weights of points at ``offsets`` in the value or slope at 0 of their fitted polynomial."""
    weights: Table = np.linalg.pinv(np.vander(offsets, order + 1, increasing=True))[derivative]
    return weights


def trailing_fit(temp_c: Table, window_s: int, order: int) -> Table:
    """Slope, at the newest reading, of a polynomial over the last ``window_s``: one-sided Savitzky-Golay."""
    weights = fit_weights(np.arange(-window_s, 1.0), order, 1)
    rates = np.full(temp_c.shape, np.nan)
    rates[:, window_s:] = 60 * np.lib.stride_tricks.sliding_window_view(temp_c, window_s + 1, axis=1) @ weights
    return rates


def constant_acceleration(temp_c: Table, noise_c2: float, push: float) -> Table:
    """A Kalman filter with constant acceleration and white noise of one intensity; it is given the true noise."""
    step_matrix = np.array([[1, 1, 0.5], [0, 1, 1], [0, 0, 1]])
    pushed = push * np.array([[1 / 20, 1 / 8, 1 / 6], [1 / 8, 1 / 3, 1 / 2], [1 / 6, 1 / 2, 1]])
    states = np.zeros((temp_c.shape[0], 3))
    states[:, 0] = temp_c[:, 0]
    covariance = np.diag([noise_c2, 100.0, 0.1])
    rates = np.full(temp_c.shape, np.nan)
    for second in range(1, temp_c.shape[1]):
        states = states @ step_matrix.T
        covariance = step_matrix @ covariance @ step_matrix.T + pushed
        spread = covariance[0, 0] + noise_c2
        gain = covariance[:, 0] / spread
        off = temp_c[:, second] - states[:, 0]
        states += np.where(np.isfinite(off), off, 0.0)[:, np.newaxis] * gain
        covariance -= np.outer(gain, gain) * spread
        rates[:, second] = np.where(np.isfinite(off), 60 * states[:, 1], np.nan)
    return rates


def tuned_filter(told: Readings) -> tuple[float, Table]:
    """The best such filter for these very roasts, and its noise intensity: the benchmark. [°C²/s⁵]"""
    pushes = 10.0 ** np.arange(-9.0, -5.0, 0.1)
    best = min(pushes, key=lambda push: rms(constant_acceleration(*told[::2], push), told.true))
    return float(best), constant_acceleration(*told[::2], best)


# Ours, and the measures


def live(temp_c: Table, role: str) -> tuple[Table, Table]:
    """Our live rates and their standard errors; NaN for a rejected or missing reading."""
    rates, errors = np.full((2, *temp_c.shape), np.nan)
    for row, column in enumerate(temp_c.tolist()):
        rate = LiveRate(role)
        rate.charged(0.0)
        for second, value_c in enumerate(column):
            rates[row, second], errors[row, second], _ = rate.add(float(second), value_c)
    return rates, errors


def smoothed(temp_c: Table, role: str) -> tuple[Table, Table]:
    """Our smoothed rates and their standard errors."""
    rates, errors = np.full((2, *temp_c.shape), np.nan)
    for row, column in enumerate(temp_c):
        _, rates[row], errors[row] = smooth_curve(np.arange(column.size), column, role=role)
    return rates, errors


def rms(rates: Table, true: Table) -> float:
    """Root of the mean square of all errors from 120 s to the drop. [°C/min]"""
    return float(np.sqrt(np.nanmean((rates - true)[:, FROM_S:] ** 2)))


def lag_s(rates: Table, true: Table) -> float:
    """Age of the true rate that matches the estimate best. [s]"""
    delays = np.arange(0.0, 40.0, 0.25)
    seconds = np.arange(true.shape[1], dtype=float)

    def off(delay_s: float) -> float:
        squares = [
            np.interp(seconds[FROM_S:] - delay_s, seconds, row) - found[FROM_S:]
            for row, found in zip(true, rates, strict=True)
        ]
        return float(np.nanmean(np.square(squares)))

    return float(min(delays, key=off))


def coverage(rates: Table, errors: Table, true: Table) -> float:
    """Share of the errors from 120 s to the drop within one reported standard error."""
    known = np.isfinite(rates - true)[:, FROM_S:]
    return float(np.mean((np.abs(rates - true) <= errors)[:, FROM_S:][known]))
