"""Two curves laid one on the other: by time, by a moment or by temperature, and how far apart they lie."""

import math
from collections.abc import Sequence
from typing import Final, Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roastlog.curve.roast import Roast
from roastlog.errors import CurveError
from roastlog.journal.vocabulary import MOMENT_WORDS
from roastlog.languages import _

Alignment = Literal["charge", "yellow", "first_crack", "temperature"]
ALIGNMENTS: Final[tuple[Alignment, ...]] = get_args(Alignment)

_WARP_GRID_S = 5.0  # fine enough for curves that bend over minutes, and cheap
_WARP_BAND_S = 60.0  # two batches of one coffee are seldom further apart than that [our choice]
_FALLING_S = 90.0  # how long the probe falls to the beans on most machines [memory: common practice]
_FALLEN_S = 240.0  # the probe has met the beans by then; see `roastlog.curve.phases`

Floats = NDArray[np.float64]


class Along(NamedTuple):
    """The differences along the curve, batch less guide; NaN where either is not known.

    Attributes
    ----------
    at : ndarray, shape (n,)
        The guide's time [s from its charge]; at equal temperature the temperature [°C].
    by_c : ndarray, shape (n,), or None
        Difference of temperature; None at equal temperature. [°C]
    by_s : ndarray, shape (n,), or None
        How much later the batch reads that temperature; only at equal temperature. [s from charge]
    by_c_per_min : ndarray, shape (n,)
        Difference of the rate of rise. [°C/min]
    """

    at: Floats
    by_c: Floats | None
    by_s: Floats | None
    by_c_per_min: Floats


class Distance(NamedTuple):
    """How far two bean curves lie apart. NaN where they have nothing in common. [°C]

    Attributes
    ----------
    mean_c
        Mean of the absolute differences.
    rms_c
        Root of the mean square of the differences: far places count more.
    warped_c
        Mean of the absolute differences once time has been stretched, by 60 s at most, so that they are least.
        It tells a curve that was late from one that was another curve. Not a metric.
    """

    mean_c: float
    rms_c: float
    warped_c: float


def shift_s(batch: Roast, guide: Roast, align: Alignment) -> float:
    """How far the batch must be moved to the left to lie on the guide. [s]

    Raises
    ------
    CurveError
        If there is no such alignment, or the moment was not marked in both.
    """
    if align not in ALIGNMENTS:
        raise CurveError(f"Curves are aligned at {', '.join(ALIGNMENTS)}, not at {align!r}.")
    if align in {"charge", "temperature"}:
        return 0.0
    for roast in (batch, guide):
        if align not in roast.moments_s:
            raise CurveError(
                _(
                    "{name} has no {moment} marked, so it cannot be aligned there.",
                    name=roast.name or _("One of the two"),
                    moment=MOMENT_WORDS[align],
                )
            )
    return batch.moments_s[align] - guide.moments_s[align]


def along(batch: Roast, guide: Roast, align: Alignment = "charge") -> Along:
    """Differences along the whole curve, at the guide's rows or at each °C that both rose through.

    Raises
    ------
    CurveError
        As `shift_s` does.
    """
    shift = shift_s(batch, guide, align)
    if align == "temperature":
        return _at_equal_temperature(batch, guide)
    times = guide.time_s + shift
    return Along(
        at=guide.time_s,
        by_c=column_at(batch.time_s, batch.temp_c, times) - guide.temp_c,
        by_s=None,
        by_c_per_min=column_at(batch.time_s, batch.rate_c_per_min, times) - guide.rate_c_per_min,
    )


def _at_equal_temperature(batch: Roast, guide: Roast) -> Along:
    (ours_s, ours_c), (theirs_s, theirs_c) = rising(batch.time_s, batch.temp_c), rising(guide.time_s, guide.temp_c)
    if not ours_s.size or not theirs_s.size:
        return Along(np.empty(0), None, np.empty(0), np.empty(0))
    low_c, high_c = math.ceil(max(ours_c[0], theirs_c[0])), math.floor(min(ours_c[-1], theirs_c[-1]))
    temps = np.arange(low_c, high_c + 1, dtype=np.float64)
    ours, theirs = np.interp(temps, ours_c, ours_s), np.interp(temps, theirs_c, theirs_s)
    rates = column_at(batch.time_s, batch.rate_c_per_min, ours)
    return Along(temps, None, ours - theirs, rates - column_at(guide.time_s, guide.rate_c_per_min, theirs))


def distance(batch: Roast, guide: Roast, align: Alignment = "charge") -> Distance:
    """How far the two lie apart where both are known; at equal temperature as aligned at charge.

    Once a curve is moved, the probe's fall after charge lies beside something else: the first 90 s of both are left out
    then, except from the distance with time stretched, which is always that of the whole curves.

    Raises
    ------
    CurveError
        As `shift_s` does.
    """
    align = "charge" if align == "temperature" else align
    found, shift = along(batch, guide, align), shift_s(batch, guide, align)
    by_c = np.empty(0) if found.by_c is None else found.by_c
    if align != "charge":
        by_c = by_c[found.at >= _FALLING_S + max(0.0, -shift)]
    by_c = by_c[np.isfinite(by_c)]
    if not by_c.size:
        return Distance(math.nan, math.nan, math.nan)
    mean_c, rms_c = float(np.mean(np.abs(by_c))), float(np.sqrt(np.mean(by_c**2)))
    ours, theirs = _each(batch, _WARP_GRID_S), _each(guide, _WARP_GRID_S)
    whole_c = warped(ours, theirs, band=int(_WARP_BAND_S / _WARP_GRID_S))
    return Distance(mean_c, rms_c, whole_c / max(len(ours), len(theirs)))


def warped(a: Sequence[float], b: Sequence[float], *, band: int | None = None) -> float:
    """Dynamic-time-warping distance: the least sum of absolute differences over all ways to stretch time [1]_.

    D(i, j) = |a_i - b_j| + min(D(i-1, j), D(i, j-1), D(i-1, j-1)). It is symmetric and 0 for a series and itself, but
    no metric: the triangle inequality does not hold.

    Parameters
    ----------
    a, b : sequence of float
        Values at equal steps, without gaps.
    band : int, optional
        How many steps a value may be moved at most [2]_, or the difference in length where that is more.

    Returns
    -------
    float
        In the unit of the values.

    Raises
    ------
    CurveError
        If one is empty.

    References
    ----------
    .. [1] The recursion as it is commonly written [memory: common practice].
    .. [2] H. Sakoe, S. Chiba, IEEE Trans. ASSP 26 (1978) 43-49 [memory].
    """
    if not len(a) or not len(b):
        raise CurveError("An empty curve has no distance to another.")
    reach = max(len(a), len(b)) if band is None else max(band, abs(len(a) - len(b)))
    above = [math.inf] * (len(b) + 1)
    above[0] = 0.0
    # Plain Python: in a narrow band each row is too short for numpy, or for min(), to gain by it.
    for i, value in enumerate(a):
        first = max(0, i - reach)
        row = [math.inf] * (len(b) + 1)
        left, corner = math.inf, above[first]
        for j, other in enumerate(b[first : i + reach + 1], first + 1):
            upper = above[j]
            best = left if left < upper else upper  # noqa: FURB136 - min() takes three times as long
            best = best if best < corner else corner  # noqa: FURB136 - likewise
            left = row[j] = best + (value - other if value > other else other - value)
            corner = upper
        above = row
    return above[-1]


def rising(time_s: ArrayLike, temp_c: ArrayLike) -> tuple[Floats, Floats]:
    """Times and temperatures from the lowest reading on, with the temperature strictly rising.

    Each is half-way between the highest so far and the lowest still to come, which leaves a rising curve as it is and
    favours no side where noise makes it step back.

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time since charge, increasing. [s]
    temp_c : array-like, shape (n,)
        Bean probe; NaN is a gap. [°C]

    Returns
    -------
    tuple of ndarray
        Times [s] and temperatures [°C]; empty without a reading.
    """
    times, temps = np.asarray(time_s, dtype=np.float64), np.asarray(temp_c, dtype=np.float64)
    known = np.isfinite(temps)
    times, temps = times[known], temps[known]
    if not times.size:
        return times, temps
    early = max(1, int(np.searchsorted(times, _FALLEN_S)))
    lowest = int(np.argmin(temps[:early]))
    times, temps = times[lowest:], temps[lowest:]
    so_far, to_come = np.maximum.accumulate(temps), np.minimum.accumulate(temps[::-1])[::-1]
    return times, (so_far + to_come) / 2 + 1e-9 * np.arange(times.size)


def column_at(time_s: Floats, values: Floats, at_s: Floats) -> Floats:
    """Values of a column at other times, on the straight line between its rows; NaN in gaps and beyond its ends."""
    if not time_s.size:
        return np.full(at_s.shape, math.nan)
    found: Floats = np.interp(at_s, time_s, values, left=math.nan, right=math.nan)
    return found


def _each(roast: Roast, step_s: float) -> list[float]:
    """The bean curve at equal steps, straight across gaps. [°C]"""
    known = np.isfinite(roast.temp_c)
    times, temps = roast.time_s[known], roast.temp_c[known]
    grid: list[float] = np.interp(np.arange(times[0], times[-1] + 0.5, step_s), times, temps).tolist()
    return grid
