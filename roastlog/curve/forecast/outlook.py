"""Outlook: when the next moments will come, at what temperature and rate, and how sure that is.

`climb_model` forecasts how the roast climbs from here, `moment_model` where it meets a moment. Both shrink their
estimates from earlier batches towards usual values, the more so the fewer batches there are. With none the forecast
rests on the live curve and on usual values of simulated roasts, and says so.

**What is not shown.** No forecast at all before the rate has been known for half a minute. A forecast without a band
where none can be honest: more than 250 s ahead, where errors were not fitted; below 105 °C for yellow and 125 °C for
first crack, where the probe still catches up with the beans; and where a moment is so long overdue that it has most
likely passed without a tap.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final, Literal, NamedTuple

import numpy as np

from roastlog.curve.forecast.climb_model import FIRST_ROW_S, Column, Off, RateModel, Steps, learn, rows_of, steps_of
from roastlog.curve.forecast.development_model import Drop, ending_of, from_crack, from_now
from roastlog.curve.forecast.inputs import Now, now_of, past_of, seen_at
from roastlog.curve.forecast.moment_model import (
    BELIEF,
    MOMENTS,
    Guess,
    Meeting,
    Sign,
    guess,
    meet,
    rate_spread,
    sign_of,
)
from roastlog.curve.phases import planned_drop_s
from roastlog.curve.roast import Roast
from roastlog.languages import _, ngettext

Basis = Literal["curve", "batches", "plan"]

BAND: Final = 0.8
"""So many of the bands hold what comes; half of the rest lies to either side."""

_RECENT_S, _FELT_S = 160.0, 25.0  # the live curve counts so far back; what it is off the model fades so into the past
_ASKED_S: Final = {"yellow": 50.0, "first_crack": 120.0}  # so long before, a batch is asked to see how far that errs
_DEVIATION: Final = NormalDist().inv_cdf(0.5 + BAND / 2)


@dataclass(frozen=True)
class Ahead:
    """A moment that is still to come.

    Attributes
    ----------
    moment : str
        yellow, first_crack or drop.
    time_s, low_s, high_s : float
        When, and the 80 % band; no band where none can be honest, and none for a time that is planned. [s from charge]
    temp_c, temp_low_c, temp_high_c : float
        What the bean probe will read then. [°C]
    rate_c_per_min, rate_low_c_per_min, rate_high_c_per_min : float
        How fast it will rise then. [°C/min]
    basis : str
        ``curve``: the live curve alone; ``batches``: earlier batches too; ``plan``: the time is the planned one.
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


class Miss(NamedTuple):
    """How wrong an outlook was: asked when, for which moment, too late (+) or too early (−) by what, its band."""

    asked_s: float
    moment: str
    error_s: float
    low_s: float | None
    high_s: float | None
    inside: bool | None


class Outlook:
    """What lies ahead of a live roast, learnt from this coffee's earlier batches on this machine.

    Parameters
    ----------
    earlier
        Those batches, in any order; none is well. What they lack (moments, moves, masses) is passed over.
    guide
        What the roast is held against; it counts as one more batch unless it is among them.
    development_s, development_ratio
        The planned development; without one there is no planned drop. [s], 0 to 1

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
        self._batches = [batch for batch in map(past_of, known) if batch.tells]
        rows = [batch.rows for batch in self._batches]
        self._model, features = learn([batch.roast for batch in self._batches], rows)
        self._signs = {name: self._sign(name) for name in MOMENTS}
        self._ending = ending_of([batch.end_share for batch in self._batches if batch.end_share is not None])
        self._scales = self._learn_scales(features)

    @property
    def says(self) -> str:
        """What it rests on, in a sentence."""
        count = self._signs["first_crack"].batches
        if not self._batches:
            return _("From the live curve alone: no earlier batch of this coffee on this machine to learn from.")
        if count:
            return ngettext(
                "From the live curve and one earlier batch of this coffee on this machine.",
                "From the live curve and {n} earlier batches of this coffee on this machine.",
                len(self._batches),
            )
        return ngettext(
            "From the live curve and one earlier batch of this coffee on this machine, "
            "none of them with a first crack.",
            "From the live curve and {n} earlier batches of this coffee on this machine, "
            "none of them with a first crack.",
            len(self._batches),
        )

    def ahead(self, sofar: Roast) -> list[Ahead]:
        """The moments that are still to come, in their order; "now" is the last row.

        Parameters
        ----------
        sofar
            The live roast up to now, as `Roast.upto` gives it.

        Returns
        -------
        list of Ahead
            Yellow, first crack and the planned drop, as far as they are not marked yet; empty before the rate has
            settled and after the drop.
        """
        now = now_of(sofar)
        if now is None or "drop" in sofar.moments_s:
            return []
        if "first_crack" in sofar.moments_s:
            drop = self._drop_after_crack(sofar, now)
            return [] if drop is None else [drop]
        names = [name for name in MOMENTS if name not in sofar.moments_s]
        met = self._meetings(sofar, now, self._model, {name: self._signs[name] for name in names})
        found = [self._moment(name, met[name], now) for name in names]
        drop = self._drop_before_crack(found[-1], met["first_crack"])
        return found if drop is None else [*found, drop]

    def _sign(self, moment: str, but: int | None = None) -> Sign:
        seen = [b.seen[moment] for place, b in enumerate(self._batches) if place != but and moment in b.seen]
        return sign_of(MOMENTS[moment], np.array([s.temp_c for s in seen]), np.array([s.rate for s in seen]))

    def _meetings(
        self, sofar: Roast, now: Now, model: RateModel, signs: Mapping[str, Sign], but: int | None = None
    ) -> dict[str, Meeting]:
        """Where the climb from here meets each sign; one batch can be left out of what is learnt."""
        rows = rows_of(sofar, max(FIRST_ROW_S, now.time_s - _RECENT_S), now.time_s)
        features = model.features(rows, sofar.moves, sofar.green_g)
        coefficients = model.with_rows(features, rows.log_rate).coefficients()
        felt = np.exp((rows.time_s - now.time_s) / _FELT_S)
        off = float(felt @ (rows.log_rate - features @ coefficients) / felt.sum()) if felt.size else 0.0
        top_c = max(now.temp_c + 10.0, max(sign.temp_c for sign in signs.values()) + 12.0)
        temp_c = np.linspace(now.temp_c, top_c, 40)
        steps = self._steps(sofar, now.time_s, model, but)
        time_s, rate = model.climb(coefficients, temp_c, now.time_s, steps, sofar.green_g, Off(off, now.rate))
        return {name: meet(sign, time_s, temp_c, rate) for name, sign in signs.items()}

    def _steps(self, sofar: Roast, now_s: float, model: RateModel, but: int | None) -> Steps:
        """The moves made, and those to come: what each batch still had to make after as many, for its share of all."""
        made = steps_of(sofar.moves, model.controls)
        others = [batch.moves for place, batch in enumerate(self._batches) if place != but]
        awaited: list[tuple[float, int, float]] = []
        for name, place in model.controls.items():
            mine = [move for move in sofar.moves if move.control == name]
            for moves in others if mine else ():
                before = mine[-1].setting
                for move in moves.get(name, [])[len(mine) :]:
                    if move.time_s > now_s:
                        awaited.append((move.time_s, place, (move.setting - before) / len(others)))
                        before = move.setting
        return made.and_then(awaited)

    def _learn_scales(self, features: Sequence[Column]) -> dict[str, float]:
        """By how much the errors of this coffee are greater than usual: each batch foretold from all the others."""
        squares: dict[str, list[float]] = {name: [] for name in MOMENTS}
        for place, (batch, columns) in enumerate(zip(self._batches, features, strict=True)):
            model = self._model.without(columns, batch.rows.log_rate)
            for name, seen in batch.seen.items():
                sign, usual = self._sign(name, place), MOMENTS[name]
                sofar = batch.roast.upto(seen.time_s - _ASKED_S[name])
                now = now_of(sofar)
                if now is None or now.temp_c < usual.from_c:
                    continue
                said = guess(usual, sign, self._meetings(sofar, now, model, {name: sign}, place)[name])
                error_s = said.quantile(0.5) - (seen.time_s - now.time_s)
                square = error_s**2 / (said.sd_s**2 + usual.tap_s**2)
                squares[name].append(min(square, 9.0))  # one odd batch is not to widen all
        return {name: math.sqrt((BELIEF + sum(all_)) / (BELIEF + len(all_))) for name, all_ in squares.items()}

    @property
    def _basis(self) -> Basis:
        return "batches" if self._batches else "curve"

    def _moment(self, name: str, met: Meeting, now: Now) -> Ahead:
        usual, sign = MOMENTS[name], self._signs[name]
        plain = guess(usual, sign, met)
        said = Guess(plain.ahead_s, plain.sd_s * self._scales[name])
        ahead_s = said.quantile(0.5)
        honest = said.tried and not said.overdue and now.temp_c >= usual.from_c
        low_s, high_s = (
            (now.time_s + said.quantile(share) if honest else None) for share in (0.5 - BAND / 2, 0.5 + BAND / 2)
        )
        # When it is late it is so because it shows at a higher temperature than was thought.
        late_c = met.rate / 60 * max(0.0, ahead_s - plain.ahead_s)
        what = Drop(met.temp_c + late_c, sign.sd_c, met.rate, met.rate * rate_spread(usual, sign, met))
        return _told(name, (now.time_s + ahead_s, low_s, high_s), what, self._basis)

    def _drop_before_crack(self, crack: Ahead, met: Meeting) -> Ahead | None:
        drop_s = planned_drop_s(crack.time_s, *self._plan)
        if drop_s is None:
            return None
        low_s = None if crack.low_s is None else planned_drop_s(crack.low_s, *self._plan)
        high_s = None if crack.high_s is None else planned_drop_s(crack.high_s, *self._plan)
        sign = self._signs["first_crack"]
        strays = rate_spread(MOMENTS["first_crack"], sign, met)
        drop = from_crack(self._ending, crack.temp_c, sign.sd_c, met.rate, strays, drop_s - crack.time_s)
        return _told("drop", (drop_s, low_s, high_s), drop, self._basis)

    def _drop_after_crack(self, sofar: Roast, now: Now) -> Ahead | None:
        """The planned drop: its time is sure, what the probe will read is not."""
        crack_s = sofar.moments_s["first_crack"]
        drop_s = planned_drop_s(crack_s, *self._plan)
        if drop_s is None:
            return None
        crack = seen_at(sofar, crack_s)
        crack_rate = now.rate if crack is None else crack.rate
        left_s = max(0.0, drop_s - now.time_s)
        drop = from_now(self._ending, now.temp_c, now.rate, crack_rate, left_s, drop_s - crack_s)
        return _told("drop", (drop_s, None, None), drop, "plan")


def _told(moment: str, times: tuple[float, float | None, float | None], what: Drop, basis: Basis) -> Ahead:
    """A moment in figures; temperature and rate have a band where the time has one, or is planned."""
    honest = basis == "plan" or times[1] is not None
    temps = _around(what.temp_c, what.temp_sd, given=honest)
    rates = _around(what.rate, what.rate_sd, given=honest)
    return Ahead(moment, *times, *temps, *rates, basis)


def _around(middle: float, sd: float, *, given: bool = True) -> tuple[float, float | None, float | None]:
    """A value and its 80 % band, if one is given."""
    return (middle, middle - _DEVIATION * sd, middle + _DEVIATION * sd) if given else (middle, None, None)


def misses(roast: Roast, outlook: Outlook, every_s: float = 60.0) -> list[Miss]:
    """How wrong an outlook was, minute by minute, as it would have been told then.

    Parameters
    ----------
    roast
        The whole roast, with its moments as the person marked them.
    outlook
        Made of the batches before this one.
    every_s
        How often it is asked. [s]

    Returns
    -------
    list of Miss
        In the order asked, only for moments that were marked later. The planned time after first crack is no forecast
        and is left out.
    """
    found = []
    end_s = float(roast.time_s[-1]) if roast.time_s.size else 0.0
    for asked_s in np.arange(every_s, end_s, every_s).tolist():
        for ahead in outlook.ahead(roast.upto(asked_s)):
            came_s = roast.moments_s.get(ahead.moment)
            if came_s is None or ahead.basis == "plan":
                continue
            low_s, high_s = ahead.low_s, ahead.high_s
            inside = None if low_s is None or high_s is None else low_s <= came_s <= high_s
            found.append(Miss(asked_s, ahead.moment, ahead.time_s - came_s, low_s, high_s, inside))
    return found
