"""How fast this coffee warms on this machine: its rate of rise by temperature, heat settings, charge and time.

The rate of a batch roaster falls as the beans come nearer to what warms them, and follows a move with a lag. Here that
is a linear model of the logarithm of the rate,

    log r = g(T) + Σ b·(settings, followed with a lag) + m·log(mass) + c·time,

with g a broken line over temperature. What is usual for any coffee is the prior, in the sense of Bayes; each earlier
batch of the coffee, and then the live curve itself, weighs against it. So it works with no batch at all and learns
with each. The numbers of the prior were fitted on simulated roasts (`tests/roast_corpus.py`, seeds 1 to 80).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from roastlog.curve.roast import Move, Roast

Column = NDArray[np.float64]

FIRST_ROW_S: Final = 60.0  # before this the probe reads the heat of the empty drum
LEAST_RATE: Final = 1.0  # the logarithm of less says nothing. [°C/min]
EVERY_S: Final = 5.0

_KNOTS_C: Final = np.array([80.0, 100, 120, 140, 155, 170, 180, 188, 196, 204, 212])
_USUAL: Final = np.array([3.34, 3.50, 3.42, 3.17, 2.74, 2.13, 1.92, 1.92, 1.90, 1.82, 1.74])  # log °C/min at the knots
_LEVEL_SD, _STEP_SD, _BEND_SD = 0.3, 0.15, 0.1  # of g: as a whole, from knot to knot, and of the change of that
_LAGS_S: Final = (40.0, 200.0)  # how a move comes through: the air and the glow, and the metal
_HEAT_SD, _MASS_SD, _TIME_SD = 1.0, 1.0, 0.3  # of the coefficients; a setting counts as a share of its highest
_NOISE_SD, _ROW_WEIGHT, _LIVE_WEIGHT = 0.1, 0.1, 0.05  # rows 5 s apart err alike: each counts for a part of one
_SPAN_S, _MIDDLE_S = 400.0, 400.0  # time goes into the model as (t − 400) / 400


class Rows(NamedTuple):
    """Part of a roast for the model: time [s from charge], smoothed temperature [°C], log of the rate [°C/min]."""

    time_s: Column
    temp_c: Column
    log_rate: Column


class Steps(NamedTuple):
    """Moves as changes: when [s from charge], which control by its place, by how much; a start is a change at −inf."""

    time_s: Column
    control: NDArray[np.intp]
    change: Column

    def and_then(self, awaited: Sequence[tuple[float, int, float]]) -> "Steps":
        """These and more of them: when, which control, by how much."""
        if not awaited:
            return self
        times, controls, changes = zip(*awaited, strict=True)
        return Steps(
            np.concatenate([self.time_s, times]),
            np.concatenate([self.control, np.array(controls, dtype=np.intp)]),
            np.concatenate([self.change, changes]),
        )


def rows_of(roast: Roast, from_s: float, to_s: float) -> Rows:
    """Rows of a roast each 5 s, counted back from the last one, where the probe rises and its rate is known. [s]"""
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
    """Mean over ``reach`` rows to both sides, over fewer near an end so that it stays centred."""
    sums = np.concatenate(([0.0], np.cumsum(temps)))
    place = np.arange(temps.size)
    half = np.minimum(np.minimum(place, place[::-1]), reach)
    means: Column = (sums[place + half + 1] - sums[place - half]) / (2 * half + 1)
    return means


def _hats(temp_c: Column) -> Column:
    """Weights of the knots at each temperature: a broken line, level beyond its ends. shape (n, knots)"""
    at = np.clip(temp_c, _KNOTS_C[0], _KNOTS_C[-1])
    left = np.clip(np.searchsorted(_KNOTS_C, at, side="right") - 1, 0, _KNOTS_C.size - 2)
    share = (at - _KNOTS_C[left]) / (_KNOTS_C[left + 1] - _KNOTS_C[left])
    hats = np.zeros((at.size, _KNOTS_C.size))
    row = np.arange(at.size)
    hats[row, left], hats[row, left + 1] = 1 - share, share
    return hats


def steps_of(moves: Sequence[Move], controls: Mapping[str, int]) -> Steps:
    """The moves of the controls that the model knows, as changes. The last setting at charge or before is the start."""
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
class RateModel:
    """What is known of the rate: the posterior of the coefficients as a precision and its product with their mean.

    Made by `learn`; `with_rows` gives the same with more rows weighed in, `without` with a batch taken out again.
    """

    controls: Mapping[str, int]
    usual_setting: Column
    full_setting: Column
    log_mass: float
    precision: Column
    weighed: Column

    def features(self, rows: Rows, moves: Sequence[Move], green_g: float | None) -> Column:
        """Columns of the model for rows of a roast. shape (n, coefficients)"""
        steps = steps_of(moves, self.controls)
        heat = [self._followed(rows, steps, lag_s) for lag_s in _LAGS_S]
        mass = np.full((rows.time_s.size, 1), self._mass(green_g))
        return np.concatenate([_hats(rows.temp_c), *heat, mass, _late(rows.time_s)[:, None]], axis=1)

    def _followed(self, rows: Rows, steps: Steps, lag_s: float) -> Column:
        """Settings, followed with a lag, less the usual ones, as shares of the highest; 0 where not told."""
        changes = np.zeros((steps.time_s.size, len(self.controls)))
        changes[np.arange(steps.time_s.size), steps.control] = steps.change
        lagged = _reached(rows.time_s, steps.time_s, lag_s) @ changes
        shares: Column = self._told(steps) * (lagged - self.usual_setting) / self.full_setting
        return shares * _gain(rows.temp_c)[:, None]

    def _told(self, steps: Steps) -> Column:
        """1 for each control that the steps say anything of, else 0."""
        told = np.zeros(len(self.controls))
        told[steps.control] = 1.0
        return told

    def _mass(self, green_g: float | None) -> float:
        return 0.0 if green_g is None or not np.isfinite(self.log_mass) else float(np.log(green_g)) - self.log_mass

    def with_rows(self, features: Column, log_rate: Column, weight: float = _LIVE_WEIGHT) -> "RateModel":
        """The model with rows weighed in; those of the live roast count for less each than those of a whole batch."""
        scaled: Column = weight / _NOISE_SD**2 * features.T
        return replace(self, precision=self.precision + scaled @ features, weighed=self.weighed + scaled @ log_rate)

    def without(self, features: Column, log_rate: Column) -> "RateModel":
        """The model as if a batch had never been."""
        return self.with_rows(features, log_rate, -_ROW_WEIGHT)

    def coefficients(self) -> Column:
        """Posterior mean of the coefficients."""
        found: Column = np.linalg.solve(self.precision, self.weighed).astype(np.float64)
        return found

    def climb(
        self, coefficients: Column, temp_c: Column, now_s: float, steps: Steps, green_g: float | None, off: "Off"
    ) -> tuple[Column, Column]:
        """When a roast comes by temperatures from here up, and how fast.

        Parameters
        ----------
        coefficients
            As `coefficients` gives them.
        temp_c : ndarray, shape (n,)
            Where it is, then higher and higher. [°C]
        now_s
            When it is there. [s from charge]
        steps
            The moves made, and those that are awaited.
        green_g
            Mass of the charge. [g]
        off
            By how much the live rate is off the model, and how that fades.

        Returns
        -------
        time_s, rate_c_per_min : ndarray, shape (n,)
            [s from charge], [°C/min]
        """
        knots, controls = _KNOTS_C.size, len(self.controls)
        heat = coefficients[knots : knots + len(_LAGS_S) * controls].reshape(len(_LAGS_S), controls) / self.full_setting
        gain = _gain(temp_c)
        level = _hats(temp_c) @ coefficients[:knots] + self._mass(green_g) * coefficients[-2]
        level -= gain * float((heat @ (self._told(steps) * self.usual_setting)).sum())
        rises = np.diff(temp_c)
        time_s: Column = now_s + 60 * (temp_c - temp_c[0]) / max(off.rate_c_per_min, LEAST_RATE)
        # The moves come by time and the line is by temperature: each turn puts the one where the other has it.
        for _ in range(3):
            log_rate = level + off.at(time_s - now_s) + coefficients[-1] * _late(time_s)
            for lag_s, by in zip(_LAGS_S, heat, strict=True):
                log_rate += gain * (_reached(time_s, steps.time_s, lag_s) @ (by[steps.control] * steps.change))
            rate: Column = np.exp(np.clip(log_rate, np.log(LEAST_RATE), np.log(60.0)))
            time_s = now_s + np.concatenate(([0.0], np.cumsum(30 * (1 / rate[1:] + 1 / rate[:-1]) * rises)))
        return time_s, rate


class Off(NamedTuple):
    """By how much the logarithm of the live rate is off the model's, and the rate itself. [°C/min]"""

    log_rate: float
    rate_c_per_min: float
    fades_s: float = 150.0

    def at(self, ahead_s: Column) -> Column:
        """What is left of it after a time. [s]"""
        left: Column = self.log_rate * np.exp(-ahead_s / self.fades_s)
        return left


def _late(time_s: Column) -> Column:
    return (time_s - _MIDDLE_S) / _SPAN_S


def _reached(time_s: Column, moved_s: Column, lag_s: float) -> Column:
    """Share of each move that has come through at each time. shape (times, moves)"""
    since = np.maximum(time_s[:, None] - moved_s, 0.0)
    return -np.expm1(-since / lag_s)


def _gain(temp_c: Column) -> Column:
    """A share of heat counts for more of a low rate than of a high one; half as the heat balance has it fits best."""
    gain: Column = np.exp(0.5 * (2.0 - np.interp(temp_c, _KNOTS_C, _USUAL)))
    return gain


def learn(earlier: Sequence[Roast], rows: Sequence[Rows]) -> tuple[RateModel, list[Column]]:
    """The model of a coffee on a machine, and the features of each batch that it was learnt from.

    Parameters
    ----------
    earlier
        Its batches; their order does not matter.
    rows
        The rows of each that count, as `rows_of` gives them.
    """
    names = sorted({move.control for roast in earlier for move in roast.moves})
    controls = {name: place for place, name in enumerate(names)}
    masses = [np.log(roast.green_g) for roast in earlier if roast.green_g]
    usual, full = _usual_settings(earlier, rows, names)
    model = RateModel(controls, usual, full, float(np.mean(masses)) if masses else np.nan, *_prior(len(names)))
    features = [model.features(part, roast.moves, roast.green_g) for roast, part in zip(earlier, rows, strict=True)]
    for columns, part in zip(features, rows, strict=True):
        model = model.with_rows(columns, part.log_rate, _ROW_WEIGHT)
    return model, features


def _usual_settings(earlier: Sequence[Roast], rows: Sequence[Rows], names: Sequence[str]) -> tuple[Column, Column]:
    """Mean setting of each control over the later rows, and its highest."""
    usual, full = np.zeros(len(names)), np.ones(len(names))
    for place, name in enumerate(names):
        moved = [[move for move in roast.moves if move.control == name] for roast in earlier]
        full[place] = max(abs(move.setting) for moves in moved for move in moves) or 1.0
        levels = []
        for moves, part in zip(moved, rows, strict=True):
            if moves and part.time_s.size:
                after = np.searchsorted([move.time_s for move in moves], part.time_s[part.time_s.size // 3 :], "right")
                levels.append(np.mean([moves[max(at - 1, 0)].setting for at in after]))
        usual[place] = np.mean(levels) if levels else 0.0
    return usual, full


def _prior(controls: int) -> tuple[Column, Column]:
    """Precision of the prior, and its product with the mean."""
    knots = _KNOTS_C.size
    rest = len(_LAGS_S) * controls
    sds = np.concatenate([np.full(rest, _HEAT_SD), [_MASS_SD, _TIME_SD]])
    precision = np.diag(np.concatenate([np.full(knots, 1 / knots / _LEVEL_SD**2), 1 / sds**2]))
    for order, sd in ((1, _STEP_SD), (2, _BEND_SD)):
        differences = np.diff(np.eye(knots), order, axis=0)
        precision[:knots, :knots] += differences.T @ differences / sd**2
    return precision, precision[:, :knots] @ _USUAL
