"""Suggestions: a detected charge, and the usual temperatures of yellow and first crack in a coffee's earlier batches.

A suggestion never marks a moment; a person taps or ignores it. All suggestions use the bean probe; an infrared sensor
shows new beans at once and needs none.
"""

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from roastlog.curve.phases import value_at
from roastlog.curve.roast import Roast
from roastlog.curve.series import Column, finite_pair
from roastlog.curve.turning_point import without_spikes
from roastlog.journal.vocabulary import MOMENT_WORDS
from roastlog.languages import N_, translate
from roastlog.units import f_from_c

FALL_C, FALL_S = 20.0, 10.0
"""Minimum fall of the probe at a charge, and its time [our choice; see `detect_charge`]. [°C], [s]"""

LEAST_BATCHES = 3
"""A spread needs at least this many batches."""

_HALF_S = FALL_S / 2
_STILL_SHARE = 0.25  # minimum of each half of the fall, and maximum change before it, as a share of the whole fall
_BEND_S = 5.0  # search range around the row with the sharpest bend
_BEFORE_S, _AFTER_S = 12.0, 7.0  # fit window around the bend
_LAG_S = 25.0  # a usual probe's lag in beans; over these few seconds half of it gives nearly the same bend
_GAP_S = 6.0

Standing = Literal["ahead", "there", "past"]


def detect_charge(time_s: ArrayLike, temp_c: ArrayLike) -> float | None:
    """Time of charge, detected by steady bean probe readings that bend down into a steep, lasting fall.

    On simulated charges of machines whose probes lag 14 to 36 s (`tests/curve/test_suggestions.py`) every charge was
    detected, 7 to 9 s late, and timed to 1 s; the idle drum, the roast, the drop and the cooling gave no false one.
    A probe that is pulled out of a hot drum falls in the same way and is detected as a charge.

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time, increasing, on any scale; the last minute or two suffice. [s]
    temp_c : array-like, shape (n,)
        Bean probe, before a charge is marked; NaN marks a missed reading, isolated spikes are ignored. [°C]

    Returns
    -------
    float or None
        The newest such time, on the scale of ``time_s``; None if the probe did not fall by 20 °C within 10 s after a
        steady 10 s, if it only jumped (another probe, a loose plug), or if readings are more than 6 s apart. [s]

    Raises
    ------
    CurveError
        If the shapes differ.
    """
    times, temps = without_spikes(*finite_pair(time_s, temp_c))
    if times.size < 5 or times[-1] - times[0] < 2 * FALL_S:
        return None
    fall = temps - (after := np.interp(times + FALL_S, times, temps))
    if fall.max() < FALL_C:
        return None
    before, middle = (np.interp(times + by_s, times, temps) for by_s in (-FALL_S, _HALF_S))
    halves = np.minimum(temps - middle, middle - after)
    observed = (fall >= FALL_C) & (halves >= _STILL_SHARE * fall) & (before - temps <= _STILL_SHARE * fall)
    observed &= (times - FALL_S >= times[0]) & (times + FALL_S <= times[-1])
    rows = np.flatnonzero(observed)
    if not rows.size:
        return None
    newest = rows[times[rows] >= times[rows[-1]] - 2 * FALL_S]
    bend = float(times[newest[np.argmax(fall[newest] - (before - temps)[newest])]])
    if np.diff(times)[(times[1:] > bend - FALL_S) & (times[:-1] < bend + FALL_S)].max() > _GAP_S:
        return None
    near = (times >= bend - _BEFORE_S) & (times <= bend + _AFTER_S)
    return _hinge(times[near], temps[near], bend)


def _hinge(times: Column, temps: Column, about_s: float) -> float:
    """Least-squares time at which a straight line bends down into the fall of a slow probe. [s]"""
    bends_s = about_s + np.arange(-_BEND_S, _BEND_S + 0.1, 0.25)
    since_s = times - bends_s[:, np.newaxis]
    columns = np.stack(
        [np.ones_like(since_s), np.minimum(since_s, 0.0), np.expm1(-np.maximum(since_s, 0.0) / _LAG_S)], axis=2
    )
    fitted = np.einsum("bnk,bk->bn", columns, np.linalg.pinv(columns) @ temps)
    squares_c2 = np.square(temps - fitted).sum(axis=1).round(9)  # of those that fit exactly, the first
    return float(bends_s[np.argmin(squares_c2)])


class UsualMoment(NamedTuple):
    """Median temperature and time of a moment in a coffee's earlier batches, with the spread of the next batch.

    The spread holds about two of three batches. [°C], [s from charge]
    """

    moment: str
    temp_c: float
    temp_spread_c: float
    time_s: float
    time_spread_s: float
    batches: int

    def place(self, temp_c: float) -> Standing:
        """Whether the rising probe is below the usual temperature, within its spread, or above it. [°C]"""
        if temp_c < self.temp_c - self.temp_spread_c:
            return "ahead"
        return "there" if temp_c <= self.temp_c + self.temp_spread_c else "past"


def usual_moment(earlier: Sequence[Roast], moment: str) -> UsualMoment | None:
    """Usual temperature and time of yellow or first crack, from the batches in which it was marked.

    Parameters
    ----------
    earlier : sequence of Roast
        Earlier batches of one coffee on one machine; those without the mark, or with a gap there, are skipped.
    moment : str
        ``yellow`` or ``first_crack``.

    Returns
    -------
    UsualMoment or None
        None with fewer than three batches.
    """
    marked = [(roast, roast.moments_s[moment]) for roast in earlier if moment in roast.moments_s]
    told = [
        (temp_c, at_s) for roast, at_s in marked if (temp_c := value_at(roast.time_s, roast.temp_c, at_s)) is not None
    ]
    if len(told) < LEAST_BATCHES:
        return None
    (temp_c, temp_spread_c), (time_s, time_spread_s) = (_middle(np.array(column)) for column in zip(*told, strict=True))
    return UsualMoment(moment, temp_c, temp_spread_c, time_s, time_spread_s, len(told))


def _middle(values: Column) -> tuple[float, float]:
    """Median, and the standard deviation of the next value about it, from the mean absolute deviation.

    The absolute deviation is robust to one mark that was tapped far too late. For normal values it is √(2/π) of the
    standard deviation, and the variance of the median is π/2 times that of the mean.
    """
    middle, n = float(np.median(values)), values.size
    distance = float(np.mean(np.abs(values - middle))) * math.sqrt(n / (n - 1))
    return middle, math.sqrt(math.pi / 2) * distance * math.sqrt(1 + math.pi / 2 / n)


_SENTENCES: dict[str, str] = {
    "alone": N_("The last {batches} batches were marked {moment} at {usual}."),
    "ahead": N_("The last {batches} batches were marked {moment} at {usual}; the probe is not there yet."),
    "there": N_("The last {batches} batches were marked {moment} at {usual}; the probe is there now."),
    "past": N_("The last {batches} batches were marked {moment} at {usual}; the probe is past that."),
}


def describe_likely(found: UsualMoment, temp_c: float | None = None, unit: str = "C") -> str:
    """Describe the usual temperature of a moment, its number of batches and the probe's position, as a sentence.

    Parameters
    ----------
    found
        The usual moment.
    temp_c
        Current probe temperature; None to omit it. [°C]
    unit
        C or F.
    """
    scale = 1.0 if unit == "C" else 1.8
    usual = found.temp_c if unit == "C" else f_from_c(found.temp_c)
    spread = max(1, round(found.temp_spread_c * scale))  # the probe itself is no better than a degree
    where = "alone" if temp_c is None else found.place(temp_c)
    return translate(
        _SENTENCES[where],
        batches=found.batches,
        moment=MOMENT_WORDS[found.moment],
        usual=f"{usual:.0f} ± {spread}\N{NO-BREAK SPACE}°{unit}",
    )
