"""What the outlook takes from a roast: of an earlier batch its rows, moments and moves; of the live one where it is."""

import math
from collections.abc import Mapping
from typing import Final, NamedTuple

import numpy as np

from roastlog.curve.forecast.climb_model import FIRST_ROW_S, Rows, rows_of
from roastlog.curve.forecast.moment_model import MOMENTS
from roastlog.curve.roast import Move, Roast

SETTLED_S: Final = 30.0
"""The rate must have been known for so long. [s]"""

_LEAST_ROWS: Final = 10
_BECAUSE_S: Final = 3.0  # a move so shortly before the tap of first crack was made because of it
_SILENCE_S: Final = 10.0  # after so long without a reading nothing is known of now


class Seen(NamedTuple):
    """A moment of a batch. [s from charge], [°C], [°C/min]"""

    time_s: float
    temp_c: float
    rate: float


class Past(NamedTuple):
    """An earlier batch as the outlook needs it."""

    roast: Roast
    rows: Rows  # up to its first crack
    seen: Mapping[str, Seen]
    moves: Mapping[str, list[Move]]  # those before its first crack, by control
    end_share: float | None  # rate at drop over that at first crack

    @property
    def tells(self) -> bool:
        """Whether anything can be learnt from it."""
        return bool(self.seen) and self.rows.time_s.size >= _LEAST_ROWS


class Now(NamedTuple):
    """Where a roast is. [s from charge], [°C], [°C/min]"""

    time_s: float
    temp_c: float
    rate: float


def past_of(roast: Roast) -> Past:
    """An earlier batch; moments that are out of order, or not on the curve, count as not told."""
    end_s = float(roast.time_s[-1]) if roast.time_s.size else 0.0
    marks = {name: at_s for name, at_s in roast.moments_s.items() if FIRST_ROW_S <= at_s <= end_s + 1.0}
    order = [marks[name] for name in ("yellow", "first_crack", "drop") if name in marks]
    if order != sorted(order):
        marks = {}  # which of them is wrong cannot be known
    seen = {name: found for name, at_s in marks.items() if (found := seen_at(roast, at_s)) is not None}
    until_s = min(marks.get("first_crack", math.inf), marks.get("drop", math.inf), end_s)
    moves: dict[str, list[Move]] = {}
    for move in sorted(roast.moves, key=lambda move: move.time_s):
        if move.time_s < until_s - _BECAUSE_S:
            moves.setdefault(move.control, []).append(move)
    ending = seen["drop"].rate / seen["first_crack"].rate if {"drop", "first_crack"} <= seen.keys() else None
    return Past(
        roast,
        rows_of(roast, FIRST_ROW_S, until_s),
        {name: found for name, found in seen.items() if name in MOMENTS},
        moves,
        None if ending is None else min(max(ending, -0.5), 1.5),
    )


def seen_at(roast: Roast, at_s: float) -> Seen | None:
    """Temperature and rate at a moment, as a line through the rows about it says."""
    first, behind = np.searchsorted(roast.time_s, (at_s - 4.0, at_s + 4.0))
    times, temps, rates = (c[first:behind] for c in (roast.time_s, roast.temp_c, roast.rate_c_per_min))
    known = np.isfinite(temps) & np.isfinite(rates)
    if not known.any():
        return None
    rate = float(rates[known].mean())
    return Seen(at_s, float((temps[known] + rate / 60 * (at_s - times[known])).mean()), max(rate, 1.0))


def now_of(sofar: Roast) -> Now | None:
    """Where the roast is, as a line through the last readings says; None before the rate can be believed."""
    if not sofar.time_s.size:
        return None
    now_s = float(sofar.time_s[-1])
    first = int(np.searchsorted(sofar.time_s, now_s - SETTLED_S, side="right"))
    times, temps, rates = sofar.time_s[first:], sofar.temp_c[first:], sofar.rate_c_per_min[first:]
    known = np.isfinite(rates) & np.isfinite(temps)
    if now_s < FIRST_ROW_S + SETTLED_S or known.mean() < 0.6 or not known[: known.size // 3 + 1].any():
        return None
    times, temps, rate = times[known][-9:], temps[known][-9:], float(rates[known][-1])
    if rate <= 0 or now_s - times[-1] > _SILENCE_S:
        return None
    return Now(now_s, float((temps + rate / 60 * (now_s - times)).mean()), rate)
