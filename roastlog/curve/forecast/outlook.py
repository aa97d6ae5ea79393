"""Outlook: forecast of the next moments with their time, temperature and rate, each with a band.

`climb_model` forecasts the climb, `moment_model` the time at which it reaches a moment. Both shrink their estimates
from earlier batches to a prior, more strongly the fewer batches there are. Without any, the forecast uses the live
curve and the prior from simulated roasts, and `basis_text` says so.

There is no forecast before the rate has been known for half a minute. A forecast has no band where none would be
calibrated: more than 250 s ahead, where errors were not fitted; below 105 °C for yellow and 125 °C for first crack,
where the probe still catches up with the beans; and when a moment is so overdue that it has most likely passed without
a tap.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final, Literal, NamedTuple

import numpy as np

from roastlog.curve.forecast.climb_model import (
    FIRST_ROW_S,
    ClimbModel,
    Column,
    RateOffset,
    Steps,
    fit_climb_model,
    rows_of,
    steps_of,
)
from roastlog.curve.forecast.development_model import (
    DropForecast,
    estimate_drop_rate_share,
    forecast_drop_from_crack,
    forecast_drop_from_now,
)
from roastlog.curve.forecast.inputs import CurrentState, current_state, prepare_earlier_batch, values_at_moment
from roastlog.curve.forecast.moment_model import (
    MOMENTS,
    PRIOR_WEIGHT,
    Crossing,
    MomentEstimate,
    TimeForecast,
    estimate_moment,
    find_crossing,
    forecast_time,
    rate_spread,
)
from roastlog.curve.phases import planned_drop_s
from roastlog.curve.roast import Roast
from roastlog.languages import _, ngettext

Basis = Literal["curve", "batches", "plan"]

BAND: Final = 0.8
"""Coverage of the bands; half of the rest lies on either side."""

_RECENT_S, _OFFSET_MEMORY_S = 160.0, 25.0  # window of the live curve, and the decay of its rows' weights
_TEST_LEAD_S: Final = {"yellow": 50.0, "first_crack": 120.0}  # lead time of the leave-one-out forecasts
_BAND_SDS: Final = NormalDist().inv_cdf(0.5 + BAND / 2)


@dataclass(frozen=True)
class MomentForecast:
    """Forecast of one moment.

    Attributes
    ----------
    moment : str
        yellow, first_crack or drop.
    time_s, low_s, high_s : float
        Time and its 80 % band; no band where it would not be calibrated, or for a planned time. [s from charge]
    temp_c, temp_low_c, temp_high_c : float
        Bean probe temperature at that time. [°C]
    rate_c_per_min, rate_low_c_per_min, rate_high_c_per_min : float
        Rate of rise at that time. [°C/min]
    basis : str
        ``curve``: only the live curve; ``batches``: earlier batches too; ``plan``: the planned time.
    """

    moment: str
    time_s: float
    low_s: float | None
    high_s: float | None
    temp_c: float
    temp_low_c: float | None
    temp_high_c: float | None
    rate_c_per_min: float
    rate_low_c_per_min: float | None
    rate_high_c_per_min: float | None
    basis: Basis


class ForecastError(NamedTuple):
    """Error of one forecast: when it was made, its moment, its error (+ too late, − too early), its band."""

    asked_s: float
    moment: str
    error_s: float
    low_s: float | None
    high_s: float | None
    inside: bool | None


class Outlook:
    """Forecasts the next moments of a live roast from this coffee's earlier batches on this machine.

    Parameters
    ----------
    earlier
        Those batches, in any order; may be empty. Missing moments, moves and masses are skipped.
    guide
        The roast's guide; counts as one more batch unless it is among them.
    development_s, development_ratio
        The planned development; without one, no drop is forecast. [s], 0 to 1

    Raises
    ------
    CurveError
        If the planned development is not above 0, or its ratio not between 0 and 1.
    """

    def __init__(
        self,
        earlier: Sequence[Roast],
        guide: Roast | None = None,
        *,
        development_s: float | None = None,
        development_ratio: float | None = None,
    ) -> None:
        planned_drop_s(
            600.0, development_s, development_ratio
        )  # refuse a plan that none can follow before it is needed
        self._plan = development_s, development_ratio
        known = list(earlier)
        if guide is not None and not any(guide is one or (guide.name and guide.name == one.name) for one in known):
            known.append(guide)
        self._batches = [batch for batch in map(prepare_earlier_batch, known) if batch.is_usable]
        rows = [batch.rows for batch in self._batches]
        self._model, features = fit_climb_model([batch.roast for batch in self._batches], rows)
        self._estimates = {name: self._moment_estimate(name) for name in MOMENTS}
        self._drop_rate = estimate_drop_rate_share(
            [batch.drop_rate_share for batch in self._batches if batch.drop_rate_share is not None]
        )
        self._scales = self._fit_error_scales(features)

    @property
    def basis_text(self) -> str:
        """The data that the forecast uses, as a sentence."""
        count = self._estimates["first_crack"].batches
        if not self._batches:
            return _("From this roast only: no earlier batch of this coffee on this machine.")
        if count:
            return ngettext(
                "From this roast and one earlier batch of this coffee on this machine.",
                "From this roast and {n} earlier batches of this coffee on this machine.",
                len(self._batches),
            )
        return ngettext(
            "From this roast and one earlier batch of this coffee on this machine, without a first crack.",
            "From this roast and {n} earlier batches of this coffee on this machine, none with a first crack.",
            len(self._batches),
        )

    def forecast(self, roast_so_far: Roast) -> list[MomentForecast]:
        """Forecast the next moments in order; "now" is the last row.

        Parameters
        ----------
        roast_so_far
            The live roast up to now, from `Roast.upto`.

        Returns
        -------
        list of MomentForecast
            Yellow, first crack and the planned drop, if not marked yet; empty before the rate has settled and after
            the drop.
        """
        now = current_state(roast_so_far)
        if now is None or "drop" in roast_so_far.moments_s:
            return []
        if "first_crack" in roast_so_far.moments_s:
            drop = self._drop_after_crack(roast_so_far, now)
            return [] if drop is None else [drop]
        names = [name for name in MOMENTS if name not in roast_so_far.moments_s]
        crossing = self._crossings(roast_so_far, now, self._model, {name: self._estimates[name] for name in names})
        found = [self._moment(name, crossing[name], now) for name in names]
        drop = self._drop_before_crack(found[-1], crossing["first_crack"])
        return found if drop is None else [*found, drop]

    def _moment_estimate(self, moment: str, excluded: int | None = None) -> MomentEstimate:
        observed = [
            b.observed[moment] for place, b in enumerate(self._batches) if place != excluded and moment in b.observed
        ]
        return estimate_moment(
            MOMENTS[moment], np.array([s.temp_c for s in observed]), np.array([s.rate for s in observed])
        )

    def _crossings(
        self,
        roast_so_far: Roast,
        now: CurrentState,
        model: ClimbModel,
        estimates: Mapping[str, MomentEstimate],
        excluded: int | None = None,
    ) -> dict[str, Crossing]:
        """Crossing of the climb with each moment; one batch can be excluded from the expected moves."""
        rows = rows_of(roast_so_far, max(FIRST_ROW_S, now.time_s - _RECENT_S), now.time_s)
        features = model.features(rows, roast_so_far.moves, roast_so_far.green_g)
        coefficients = model.with_rows(features, rows.log_rate).coefficients()
        weights = np.exp((rows.time_s - now.time_s) / _OFFSET_MEMORY_S)
        offset = float(weights @ (rows.log_rate - features @ coefficients) / weights.sum()) if weights.size else 0.0
        top_c = max(now.temp_c + 10.0, max(estimate.temp_c for estimate in estimates.values()) + 12.0)
        temp_c = np.linspace(now.temp_c, top_c, 40)
        steps = self._steps(roast_so_far, now.time_s, model, excluded)
        time_s, rate = model.climb(
            coefficients, temp_c, now.time_s, steps, roast_so_far.green_g, RateOffset(offset, now.rate)
        )
        return {name: find_crossing(estimate, time_s, temp_c, rate) for name, estimate in estimates.items()}

    def _steps(self, roast_so_far: Roast, now_s: float, model: ClimbModel, excluded: int | None) -> Steps:
        """The moves made and the expected ones: each batch's moves after as many, weighted by its share of all."""
        made = steps_of(roast_so_far.moves, model.controls)
        others = [batch.moves for place, batch in enumerate(self._batches) if place != excluded]
        expected: list[tuple[float, int, float]] = []
        for name, place in model.controls.items():
            mine = [move for move in roast_so_far.moves if move.control == name]
            for moves in others if mine else ():
                before = mine[-1].setting
                for move in moves.get(name, [])[len(mine) :]:
                    if move.time_s > now_s:
                        expected.append((move.time_s, place, (move.setting - before) / len(others)))
                        before = move.setting
        return made.extended(expected)

    def _fit_error_scales(self, features: Sequence[Column]) -> dict[str, float]:
        """Scale of this coffee's errors against the prior, by leave-one-out forecasts of its batches."""
        squares: dict[str, list[float]] = {name: [] for name in MOMENTS}
        for place, (batch, columns) in enumerate(zip(self._batches, features, strict=True)):
            model = self._model.without_rows(columns, batch.rows.log_rate)
            for name, observed in batch.observed.items():
                estimate, usual = self._moment_estimate(name, place), MOMENTS[name]
                roast_so_far = batch.roast.upto(observed.time_s - _TEST_LEAD_S[name])
                now = current_state(roast_so_far)
                if now is None or now.temp_c < usual.from_c:
                    continue
                forecast = forecast_time(
                    usual, estimate, self._crossings(roast_so_far, now, model, {name: estimate}, place)[name]
                )
                error_s = forecast.quantile(0.5) - (observed.time_s - now.time_s)
                square = error_s**2 / (forecast.sd_s**2 + usual.tap_sd_s**2)
                squares[name].append(min(square, 9.0))  # limits the effect of one outlier batch
        return {
            name: math.sqrt((PRIOR_WEIGHT + sum(all_)) / (PRIOR_WEIGHT + len(all_))) for name, all_ in squares.items()
        }

    @property
    def _basis(self) -> Basis:
        return "batches" if self._batches else "curve"

    def _moment(self, name: str, crossing: Crossing, now: CurrentState) -> MomentForecast:
        usual, estimate = MOMENTS[name], self._estimates[name]
        unscaled = forecast_time(usual, estimate, crossing)
        forecast = TimeForecast(unscaled.ahead_s, unscaled.sd_s * self._scales[name])
        ahead_s = forecast.quantile(0.5)
        has_band = forecast.is_within_fitted_range and not forecast.overdue and now.temp_c >= usual.from_c
        low_s, high_s = (
            (now.time_s + forecast.quantile(share) if has_band else None) for share in (0.5 - BAND / 2, 0.5 + BAND / 2)
        )
        # A late moment occurs at a higher temperature than estimated.
        late_c = crossing.rate / 60 * max(0.0, ahead_s - unscaled.ahead_s)
        values = DropForecast(
            crossing.temp_c + late_c,
            estimate.sd_c,
            crossing.rate,
            crossing.rate * rate_spread(usual, estimate, crossing),
        )
        return _moment_forecast(name, (now.time_s + ahead_s, low_s, high_s), values, self._basis)

    def _drop_before_crack(self, crack: MomentForecast, crossing: Crossing) -> MomentForecast | None:
        drop_s = planned_drop_s(crack.time_s, *self._plan)
        if drop_s is None:
            return None
        low_s = None if crack.low_s is None else planned_drop_s(crack.low_s, *self._plan)
        high_s = None if crack.high_s is None else planned_drop_s(crack.high_s, *self._plan)
        estimate = self._estimates["first_crack"]
        rate_share = rate_spread(MOMENTS["first_crack"], estimate, crossing)
        drop = forecast_drop_from_crack(
            self._drop_rate, crack.temp_c, estimate.sd_c, crossing.rate, rate_share, drop_s - crack.time_s
        )
        return _moment_forecast("drop", (drop_s, low_s, high_s), drop, self._basis)

    def _drop_after_crack(self, roast_so_far: Roast, now: CurrentState) -> MomentForecast | None:
        """The planned drop: only its temperature and rate are forecast."""
        crack_s = roast_so_far.moments_s["first_crack"]
        drop_s = planned_drop_s(crack_s, *self._plan)
        if drop_s is None:
            return None
        crack = values_at_moment(roast_so_far, crack_s)
        crack_rate = now.rate if crack is None else crack.rate
        left_s = max(0.0, drop_s - now.time_s)
        drop = forecast_drop_from_now(self._drop_rate, now.temp_c, now.rate, crack_rate, left_s, drop_s - crack_s)
        return _moment_forecast("drop", (drop_s, None, None), drop, "plan")


def _moment_forecast(
    moment: str, times: tuple[float, float | None, float | None], values: DropForecast, basis: Basis
) -> MomentForecast:
    """Build a forecast; temperature and rate have a band if the time has one or is planned."""
    has_band = basis == "plan" or times[1] is not None
    temps = _with_band(values.temp_c, values.temp_sd, given=has_band)
    rates = _with_band(values.rate, values.rate_sd, given=has_band)
    return MomentForecast(moment, *times, *temps, *rates, basis)


def _with_band(middle: float, sd: float, *, given: bool = True) -> tuple[float, float | None, float | None]:
    """A value and its 80 % band, or no band."""
    return (middle, middle - _BAND_SDS * sd, middle + _BAND_SDS * sd) if given else (middle, None, None)


def forecast_errors(roast: Roast, outlook: Outlook, every_s: float = 60.0) -> list[ForecastError]:
    """Errors of the forecasts that an outlook gives at each minute of a roast.

    Parameters
    ----------
    roast
        The whole roast, with the moments that a person marked.
    outlook
        Fitted to the batches before this one.
    every_s
        Interval between forecasts. [s]

    Returns
    -------
    list of ForecastError
        In time order, only for moments that were marked later. The planned time after first crack is no forecast and
        is omitted.
    """
    found = []
    end_s = float(roast.time_s[-1]) if roast.time_s.size else 0.0
    for asked_s in np.arange(every_s, end_s, every_s).tolist():
        for forecast in outlook.forecast(roast.upto(asked_s)):
            came_s = roast.moments_s.get(forecast.moment)
            if came_s is None or forecast.basis == "plan":
                continue
            low_s, high_s = forecast.low_s, forecast.high_s
            inside = None if low_s is None or high_s is None else low_s <= came_s <= high_s
            found.append(ForecastError(asked_s, forecast.moment, forecast.time_s - came_s, low_s, high_s, inside))
    return found
