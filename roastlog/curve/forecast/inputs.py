"""Forecast inputs: rows, moments and moves of an earlier batch, and the current state of the live one."""

import math
from collections.abc import Mapping
from typing import Final, NamedTuple

import numpy as np

from roastlog.curve.forecast.climb_model import FIRST_ROW_S, Rows, rows_of
from roastlog.curve.forecast.moment_model import MOMENTS
from roastlog.curve.roast import Move, Roast

SETTLED_S: Final = 30.0
"""The rate must have been known for this long. [s]"""

_LEAST_ROWS: Final = 10
_REACTION_S: Final = 3.0  # a move this shortly before the tap of first crack is a reaction to it
_STALE_S: Final = 10.0  # after this long without a reading the current state is unknown


class MomentValues(NamedTuple):
    """Time, temperature and rate at a moment of a batch. [s from charge], [°C], [°C/min]"""

    time_s: float
    temp_c: float
    rate: float


class EarlierBatch(NamedTuple):
    """An earlier batch, prepared for the outlook."""

    roast: Roast
    rows: Rows  # up to its first crack
    observed: Mapping[str, MomentValues]
    moves: Mapping[str, list[Move]]  # those before its first crack, by control
    drop_rate_share: float | None  # rate at drop over that at first crack

    @property
    def is_usable(self) -> bool:
        """Whether the models can be fitted to it."""
        return bool(self.observed) and self.rows.time_s.size >= _LEAST_ROWS


class CurrentState(NamedTuple):
    """Time, temperature and rate of a roast now. [s from charge], [°C], [°C/min]"""

    time_s: float
    temp_c: float
    rate: float


def prepare_earlier_batch(roast: Roast) -> EarlierBatch:
    """Prepare an earlier batch; moments out of order or outside the curve count as missing."""
    end_s = float(roast.time_s[-1]) if roast.time_s.size else 0.0
    marks = {name: at_s for name, at_s in roast.moments_s.items() if FIRST_ROW_S <= at_s <= end_s + 1.0}
    order = [marks[name] for name in ("yellow", "first_crack", "drop") if name in marks]
    if order != sorted(order):
        marks = {}  # the wrong one cannot be identified
    observed = {name: found for name, at_s in marks.items() if (found := values_at_moment(roast, at_s)) is not None}
    until_s = min(marks.get("first_crack", math.inf), marks.get("drop", math.inf), end_s)
    moves: dict[str, list[Move]] = {}
    for move in sorted(roast.moves, key=lambda move: move.time_s):
        if move.time_s < until_s - _REACTION_S:
            moves.setdefault(move.control, []).append(move)
    drop_rate = (
        observed["drop"].rate / observed["first_crack"].rate if {"drop", "first_crack"} <= observed.keys() else None
    )
    return EarlierBatch(
        roast,
        rows_of(roast, FIRST_ROW_S, until_s),
        {name: found for name, found in observed.items() if name in MOMENTS},
        moves,
        None if drop_rate is None else min(max(drop_rate, -0.5), 1.5),
    )


def values_at_moment(roast: Roast, at_s: float) -> MomentValues | None:
    """Temperature and rate at a moment, by a line through the rows around it."""
    first, behind = np.searchsorted(roast.time_s, (at_s - 4.0, at_s + 4.0))
    times, temps, rates = (c[first:behind] for c in (roast.time_s, roast.temp_c, roast.rate_c_per_min))
    known = np.isfinite(temps) & np.isfinite(rates)
    if not known.any():
        return None
    rate = float(rates[known].mean())
    return MomentValues(at_s, float((temps[known] + rate / 60 * (at_s - times[known])).mean()), max(rate, 1.0))


def current_state(roast_so_far: Roast) -> CurrentState | None:
    """Current state by a line through the last readings; None before the rate has settled."""
    if not roast_so_far.time_s.size:
        return None
    now_s = float(roast_so_far.time_s[-1])
    first = int(np.searchsorted(roast_so_far.time_s, now_s - SETTLED_S, side="right"))
    times, temps, rates = roast_so_far.time_s[first:], roast_so_far.temp_c[first:], roast_so_far.rate_c_per_min[first:]
    known = np.isfinite(rates) & np.isfinite(temps)
    if now_s < FIRST_ROW_S + SETTLED_S or known.mean() < 0.6 or not known[: known.size // 3 + 1].any():
        return None
    times, temps, rate = times[known][-9:], temps[known][-9:], float(rates[known][-1])
    if rate <= 0 or now_s - times[-1] > _STALE_S:
        return None
    return CurrentState(now_s, float((temps + rate / 60 * (now_s - times)).mean()), rate)
