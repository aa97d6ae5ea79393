"""Climb model: the rate of rise of a coffee on a machine, by temperature, heat settings, charge mass and time.

The rate of a batch roaster falls as the beans approach the temperature of their surroundings, and follows a move with a
lag. The model is linear in the logarithm of the rate,

    log r = g(T) + Σ b·(lagged settings) + m·log(mass) + c·time,

with g piecewise linear over temperature. It is a Bayesian linear regression: typical values for any coffee are the
prior, and each earlier batch of the coffee, then the live curve, updates it, so that it works without any batch. The
prior was fitted on simulated roasts (`tests/roast_corpus.py`, seeds 1 to 80).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from roastlog.curve.roast import Move, Roast

Column = NDArray[np.float64]

FIRST_ROW_S: Final = 60.0  # before this the probe reads the heat of the empty drum
LEAST_RATE: Final = 1.0  # lower rates are ignored: their logarithm is mostly noise [°C/min]
EVERY_S: Final = 5.0

_KNOTS_C: Final = np.array([80.0, 100, 120, 140, 155, 170, 180, 188, 196, 204, 212])
_PRIOR_MEAN: Final = np.array(
    [3.34, 3.50, 3.42, 3.17, 2.74, 2.13, 1.92, 1.92, 1.90, 1.82, 1.74]
)  # log °C/min at the knots
_LEVEL_SD, _STEP_SD, _BEND_SD = 0.3, 0.15, 0.1  # of g: as a whole, from knot to knot, and of the change of that
_LAGS_S: Final = (40.0, 200.0)  # time constants of the response to a move: air and radiation, and metal
_HEAT_SD, _MASS_SD, _TIME_SD = 1.0, 1.0, 0.3  # of the coefficients; a setting is a share of its maximum
_NOISE_SD, _ROW_WEIGHT, _LIVE_WEIGHT = 0.1, 0.1, 0.05  # errors of rows 5 s apart correlate, so each has a low weight
_SPAN_S, _MIDDLE_S = 400.0, 400.0  # time enters the model as (t − 400) / 400


class Rows(NamedTuple):
    """Rows of a roast for the model: time [s from charge], smoothed temperature [°C], log of the rate [°C/min]."""

    time_s: Column
    temp_c: Column
    log_rate: Column


class Steps(NamedTuple):
    """Moves as changes: time [s from charge], index of the control, size; the initial setting is a change at −inf."""

    time_s: Column
    control: NDArray[np.intp]
    change: Column

    def extended(self, expected: Sequence[tuple[float, int, float]]) -> "Steps":
        """The same with more changes: time, index of the control, size."""
        if not expected:
            return self
        times, controls, changes = zip(*expected, strict=True)
        return Steps(
            np.concatenate([self.time_s, times]),
            np.concatenate([self.control, np.array(controls, dtype=np.intp)]),
            np.concatenate([self.change, changes]),
        )


def rows_of(roast: Roast, from_s: float, to_s: float) -> Rows:
    """Every fifth row of a roast, counted back from the last, where the probe rises and its rate is known. [s]"""
    first, behind = np.searchsorted(roast.time_s, (from_s - 10.0, to_s + 1e-6))
    times, temps, rates = (c[first:behind] for c in (roast.time_s, roast.temp_c, roast.rate_c_per_min))
    known = np.isfinite(temps) & np.isfinite(rates)
    times, temps, rates = times[known], temps[known], rates[known]
    smooth = _moving_mean(temps)
    picked = np.zeros(times.size, dtype=bool)
    picked[::-1][:: int(EVERY_S)] = True
    picked &= (times >= from_s) & (rates > LEAST_RATE) & (smooth > _KNOTS_C[0] - 20)
    return Rows(times[picked], smooth[picked], np.log(rates[picked]))


def _moving_mean(temps: Column, reach: int = 5) -> Column:
    """Centred mean over ``reach`` rows on both sides, over fewer near an end."""
    sums = np.concatenate(([0.0], np.cumsum(temps)))
    place = np.arange(temps.size)
    half = np.minimum(np.minimum(place, place[::-1]), reach)
    means: Column = (sums[place + half + 1] - sums[place - half]) / (2 * half + 1)
    return means


def _hats(temp_c: Column) -> Column:
    """Weights of the knots at each temperature: piecewise linear, constant beyond the ends. shape (n, knots)"""
    at = np.clip(temp_c, _KNOTS_C[0], _KNOTS_C[-1])
    left = np.clip(np.searchsorted(_KNOTS_C, at, side="right") - 1, 0, _KNOTS_C.size - 2)
    share = (at - _KNOTS_C[left]) / (_KNOTS_C[left + 1] - _KNOTS_C[left])
    hats = np.zeros((at.size, _KNOTS_C.size))
    row = np.arange(at.size)
    hats[row, left], hats[row, left + 1] = 1 - share, share
    return hats


def steps_of(moves: Sequence[Move], controls: Mapping[str, int]) -> Steps:
    """The moves of the model's controls as changes. The last setting at charge or before is the initial one."""
    last: dict[str, float] = {}
    times, places, changes = [], [], []
    for move in sorted(moves, key=lambda move: move.time_s):
        if move.control not in controls:
            continue
        before = last.get(move.control)
        last[move.control] = move.setting
        times.append(-np.inf if before is None or move.time_s <= 0 else move.time_s)
        places.append(controls[move.control])
        changes.append(move.setting - (before or 0.0))
    return Steps(np.array(times), np.array(places, dtype=np.intp), np.array(changes))


@dataclass(frozen=True, eq=False)
class ClimbModel:
    """Posterior of the model's coefficients: a precision matrix, and its product with their mean.

    Made by `fit_climb_model`; `with_rows` adds rows, `without_rows` removes a batch again.
    """

    controls: Mapping[str, int]
    mean_setting: Column
    full_setting: Column
    log_mass: float
    precision: Column
    information: Column

    def features(self, rows: Rows, moves: Sequence[Move], green_g: float | None) -> Column:
        """Columns of the model for rows of a roast. shape (n, coefficients)"""
        steps = steps_of(moves, self.controls)
        heat = [self._lagged_settings(rows, steps, lag_s) for lag_s in _LAGS_S]
        mass = np.full((rows.time_s.size, 1), self._mass(green_g))
        return np.concatenate([_hats(rows.temp_c), *heat, mass, _time_term(rows.time_s)[:, None]], axis=1)

    def _lagged_settings(self, rows: Rows, steps: Steps, lag_s: float) -> Column:
        """Lagged settings less their means, as shares of the maximum; 0 where unknown."""
        changes = np.zeros((steps.time_s.size, len(self.controls)))
        changes[np.arange(steps.time_s.size), steps.control] = steps.change
        lagged = _response(rows.time_s, steps.time_s, lag_s) @ changes
        shares: Column = self._known_controls(steps) * (lagged - self.mean_setting) / self.full_setting
        return shares * _gain(rows.temp_c)[:, None]

    def _known_controls(self, steps: Steps) -> Column:
        """1 for each control that has a setting, else 0."""
        known = np.zeros(len(self.controls))
        known[steps.control] = 1.0
        return known

    def _mass(self, green_g: float | None) -> float:
        return 0.0 if green_g is None or not np.isfinite(self.log_mass) else float(np.log(green_g)) - self.log_mass

    def with_rows(self, features: Column, log_rate: Column, weight: float = _LIVE_WEIGHT) -> "ClimbModel":
        """The model with rows added; rows of the live roast have a lower weight than those of a finished batch."""
        scaled: Column = weight / _NOISE_SD**2 * features.T
        return replace(
            self, precision=self.precision + scaled @ features, information=self.information + scaled @ log_rate
        )

    def without_rows(self, features: Column, log_rate: Column) -> "ClimbModel":
        """The model without a batch that was added before."""
        return self.with_rows(features, log_rate, -_ROW_WEIGHT)

    def coefficients(self) -> Column:
        """Posterior mean of the coefficients."""
        found: Column = np.linalg.solve(self.precision, self.information).astype(np.float64)
        return found

    def climb(
        self,
        coefficients: Column,
        temp_c: Column,
        now_s: float,
        steps: Steps,
        green_g: float | None,
        offset: "RateOffset",
    ) -> tuple[Column, Column]:
        """Forecast the time and the rate at which a roast reaches each temperature.

        Parameters
        ----------
        coefficients
            The result of `coefficients`.
        temp_c : ndarray, shape (n,)
            The current temperature first, then increasing. [°C]
        now_s
            Time of the first. [s from charge]
        steps
            The moves made and the expected ones.
        green_g
            Mass of the charge. [g]
        offset
            Offset of the live rate from the model, and its decay.

        Returns
        -------
        time_s, rate_c_per_min : ndarray, shape (n,)
            [s from charge], [°C/min]
        """
        knots, controls = _KNOTS_C.size, len(self.controls)
        heat = coefficients[knots : knots + len(_LAGS_S) * controls].reshape(len(_LAGS_S), controls) / self.full_setting
        gain = _gain(temp_c)
        level = _hats(temp_c) @ coefficients[:knots] + self._mass(green_g) * coefficients[-2]
        level -= gain * float((heat @ (self._known_controls(steps) * self.mean_setting)).sum())
        rises = np.diff(temp_c)
        time_s: Column = now_s + 60 * (temp_c - temp_c[0]) / max(offset.rate_c_per_min, LEAST_RATE)
        # Moves depend on time and g on temperature, so time is solved by fixed-point iteration.
        for _ in range(3):
            log_rate = level + offset.at(time_s - now_s) + coefficients[-1] * _time_term(time_s)
            for lag_s, by in zip(_LAGS_S, heat, strict=True):
                log_rate += gain * (_response(time_s, steps.time_s, lag_s) @ (by[steps.control] * steps.change))
            rate: Column = np.exp(np.clip(log_rate, np.log(LEAST_RATE), np.log(60.0)))
            time_s = now_s + np.concatenate(([0.0], np.cumsum(30 * (1 / rate[1:] + 1 / rate[:-1]) * rises)))
        return time_s, rate


class RateOffset(NamedTuple):
    """Offset of the logarithm of the live rate from the model's, and the rate itself. [°C/min]"""

    log_rate: float
    rate_c_per_min: float
    fades_s: float = 150.0

    def at(self, ahead_s: Column) -> Column:
        """The offset that is left after a time. [s]"""
        left: Column = self.log_rate * np.exp(-ahead_s / self.fades_s)
        return left


def _time_term(time_s: Column) -> Column:
    return (time_s - _MIDDLE_S) / _SPAN_S


def _response(time_s: Column, moved_s: Column, lag_s: float) -> Column:
    """Share of each move that has taken effect at each time. shape (times, moves)"""
    since = np.maximum(time_s[:, None] - moved_s, 0.0)
    return -np.expm1(-since / lag_s)


def _gain(temp_c: Column) -> Column:
    """Heat has a larger relative effect on a low rate than on a high one; half that of the heat balance fits best."""
    gain: Column = np.exp(0.5 * (2.0 - np.interp(temp_c, _KNOTS_C, _PRIOR_MEAN)))
    return gain


def fit_climb_model(earlier: Sequence[Roast], rows: Sequence[Rows]) -> tuple[ClimbModel, list[Column]]:
    """Fit the model of a coffee on a machine; also returns the features of each batch.

    Parameters
    ----------
    earlier
        Its batches, in any order.
    rows
        The rows of each to fit, from `rows_of`.
    """
    names = sorted({move.control for roast in earlier for move in roast.moves})
    controls = {name: place for place, name in enumerate(names)}
    masses = [np.log(roast.green_g) for roast in earlier if roast.green_g]
    mean, full = _mean_settings(earlier, rows, names)
    model = ClimbModel(controls, mean, full, float(np.mean(masses)) if masses else np.nan, *_prior(len(names)))
    features = [model.features(part, roast.moves, roast.green_g) for roast, part in zip(earlier, rows, strict=True)]
    for columns, part in zip(features, rows, strict=True):
        model = model.with_rows(columns, part.log_rate, _ROW_WEIGHT)
    return model, features


def _mean_settings(earlier: Sequence[Roast], rows: Sequence[Rows], names: Sequence[str]) -> tuple[Column, Column]:
    """Mean setting of each control over the later rows, and its maximum."""
    mean, full = np.zeros(len(names)), np.ones(len(names))
    for place, name in enumerate(names):
        moved = [[move for move in roast.moves if move.control == name] for roast in earlier]
        full[place] = max(abs(move.setting) for moves in moved for move in moves) or 1.0
        levels = []
        for moves, part in zip(moved, rows, strict=True):
            if moves and part.time_s.size:
                after = np.searchsorted([move.time_s for move in moves], part.time_s[part.time_s.size // 3 :], "right")
                levels.append(np.mean([moves[max(at - 1, 0)].setting for at in after]))
        mean[place] = np.mean(levels) if levels else 0.0
    return mean, full


def _prior(controls: int) -> tuple[Column, Column]:
    """Precision of the prior, and its product with the mean."""
    knots = _KNOTS_C.size
    rest = len(_LAGS_S) * controls
    sds = np.concatenate([np.full(rest, _HEAT_SD), [_MASS_SD, _TIME_SD]])
    precision = np.diag(np.concatenate([np.full(knots, 1 / knots / _LEVEL_SD**2), 1 / sds**2]))
    for order, sd in ((1, _STEP_SD), (2, _BEND_SD)):
        differences = np.diff(np.eye(knots), order, axis=0)
        precision[:knots, :knots] += differences.T @ differences / sd**2
    return precision, precision[:, :knots] @ _PRIOR_MEAN
