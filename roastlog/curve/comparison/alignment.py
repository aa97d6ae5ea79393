"""Alignment of two curves by time, moment or temperature, and their distance."""

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
_WARP_BAND_S = 60.0  # two batches of one coffee are rarely further apart [our choice]
_FALLING_S = 90.0  # duration of the probe's fall after charge on most machines [memory: common practice]
_FALLEN_S = 240.0  # latest turning point; see `roastlog.curve.turning_point`

Floats = NDArray[np.float64]


class CurveDifferences(NamedTuple):
    """Differences along the curve, batch less guide; NaN where either is unknown.

    Attributes
    ----------
    at : ndarray, shape (n,)
        The guide's time [s from its charge]; at equal temperature the temperature [°C].
    by_c : ndarray, shape (n,), or None
        Difference of temperature; None at equal temperature. [°C]
    by_s : ndarray, shape (n,), or None
        Delay of the batch at that temperature; only at equal temperature. [s]
    by_c_per_min : ndarray, shape (n,)
        Difference of the rate of rise. [°C/min]
    """

    at: Floats
    by_c: Floats | None
    by_s: Floats | None
    by_c_per_min: Floats


class Distance(NamedTuple):
    """Distance between two bean curves. NaN without common rows. [°C]

    Attributes
    ----------
    mean_c
        Mean absolute difference.
    rms_c
        Root mean square difference; emphasises large differences.
    warped_c
        Minimal mean absolute difference under a time warp of at most 60 s (dynamic time warping). It separates a
        delayed curve from a different one. Not a metric.
    """

    mean_c: float
    rms_c: float
    warped_c: float


def shift_s(batch: Roast, guide: Roast, align: Alignment) -> float:
    """Shift to the left that aligns the batch with the guide. [s]

    Raises
    ------
    CurveError
        If the alignment is unknown, or the moment is not marked in both.
    """
    if align not in ALIGNMENTS:
        raise CurveError(f"The alignment must be one of {', '.join(ALIGNMENTS)}, not {align!r}.")
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


def differences_along(batch: Roast, guide: Roast, align: Alignment = "charge") -> CurveDifferences:
    """Differences along the whole curve, at the guide's rows or at each °C that both curves pass.

    Raises
    ------
    CurveError
        As `shift_s` does.
    """
    shift = shift_s(batch, guide, align)
    if align == "temperature":
        return _at_equal_temperature(batch, guide)
    times = guide.time_s + shift
    return CurveDifferences(
        at=guide.time_s,
        by_c=interpolate(batch.time_s, batch.temp_c, times) - guide.temp_c,
        by_s=None,
        by_c_per_min=interpolate(batch.time_s, batch.rate_c_per_min, times) - guide.rate_c_per_min,
    )


def _at_equal_temperature(batch: Roast, guide: Roast) -> CurveDifferences:
    (ours_s, ours_c), (theirs_s, theirs_c) = (
        monotonic_rise(batch.time_s, batch.temp_c),
        monotonic_rise(guide.time_s, guide.temp_c),
    )
    if not ours_s.size or not theirs_s.size:
        return CurveDifferences(np.empty(0), None, np.empty(0), np.empty(0))
    low_c, high_c = math.ceil(max(ours_c[0], theirs_c[0])), math.floor(min(ours_c[-1], theirs_c[-1]))
    temps = np.arange(low_c, high_c + 1, dtype=np.float64)
    ours, theirs = np.interp(temps, ours_c, ours_s), np.interp(temps, theirs_c, theirs_s)
    rates = interpolate(batch.time_s, batch.rate_c_per_min, ours)
    return CurveDifferences(temps, None, ours - theirs, rates - interpolate(guide.time_s, guide.rate_c_per_min, theirs))


def distance(batch: Roast, guide: Roast, align: Alignment = "charge") -> Distance:
    """Distance where both are known; equal temperature uses the alignment at charge.

    A shifted curve no longer aligns the probe's fall after charge, so the first 90 s of both are excluded, except from
    the warped distance, which always covers the whole curves.

    Raises
    ------
    CurveError
        As `shift_s` does.
    """
    align = "charge" if align == "temperature" else align
    found, shift = differences_along(batch, guide, align), shift_s(batch, guide, align)
    by_c = np.empty(0) if found.by_c is None else found.by_c
    if align != "charge":
        by_c = by_c[found.at >= _FALLING_S + max(0.0, -shift)]
    by_c = by_c[np.isfinite(by_c)]
    if not by_c.size:
        return Distance(math.nan, math.nan, math.nan)
    mean_c, rms_c = float(np.mean(np.abs(by_c))), float(np.sqrt(np.mean(by_c**2)))
    ours, theirs = _resample(batch, _WARP_GRID_S), _resample(guide, _WARP_GRID_S)
    whole_c = dtw_distance(ours, theirs, band=int(_WARP_BAND_S / _WARP_GRID_S))
    return Distance(mean_c, rms_c, whole_c / max(len(ours), len(theirs)))


def dtw_distance(a: Sequence[float], b: Sequence[float], *, band: int | None = None) -> float:
    """Dynamic-time-warping distance: the minimal sum of absolute differences over all time warps [1]_.

    D(i, j) = |a_i - b_j| + min(D(i-1, j), D(i, j-1), D(i-1, j-1)). It is symmetric and 0 for a series and itself, but
    no metric: the triangle inequality does not hold.

    Parameters
    ----------
    a, b : sequence of float
        Values at equal steps, without gaps.
    band : int, optional
        Maximum shift of a value in steps [2]_, or the difference in length if that is more.

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
        raise CurveError("The distance to an empty curve is undefined.")
    reach = max(len(a), len(b)) if band is None else max(band, abs(len(a) - len(b)))
    above = [math.inf] * (len(b) + 1)
    above[0] = 0.0
    # Plain Python: rows of a narrow band are too short for numpy or min() to be faster.
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


def monotonic_rise(time_s: ArrayLike, temp_c: ArrayLike) -> tuple[Floats, Floats]:
    """Times and temperatures from the lowest reading on, made strictly increasing.

    Each value is the mean of the running maximum and the reverse running minimum, which leaves a rising curve unchanged
    and is unbiased where noise makes it step back.

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


def interpolate(time_s: Floats, values: Floats, at_s: Floats) -> Floats:
    """Linear interpolation of a column at other times; NaN in gaps and beyond its ends."""
    if not time_s.size:
        return np.full(at_s.shape, math.nan)
    found: Floats = np.interp(at_s, time_s, values, left=math.nan, right=math.nan)
    return found


def _resample(roast: Roast, step_s: float) -> list[float]:
    """The bean curve at equal steps, interpolated across gaps. [°C]"""
    known = np.isfinite(roast.temp_c)
    times, temps = roast.time_s[known], roast.temp_c[known]
    grid: list[float] = np.interp(np.arange(times[0], times[-1] + 0.5, step_s), times, temps).tolist()
    return grid
