"""Alignment of two curves: warping distances against worked values, shifts and equal temperatures."""

from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.curve.comparison.alignment import (
    ALIGNMENTS,
    differences_along,
    distance,
    dtw_distance,
    monotonic_rise,
    shift_s,
)
from roastlog.curve.roast import Roast
from roastlog.errors import CurveError
from tests.hands import steady

WORKED = Path(__file__).parents[1] / "golden" / "warping_distances.csv"
VALUES = st.lists(st.floats(0, 300), min_size=1, max_size=30)


def ramp(*, rate_c_per_min: float = 12.0, start_c: float = 80.0, until_s: int = 600, **also: object) -> Roast:
    """A straight roast."""
    time_s = np.arange(until_s + 1.0)
    temp_c = start_c + rate_c_per_min * time_s / 60
    return Roast(time_s, temp_c, np.full(time_s.shape, rate_c_per_min), **also)


def later(roast: Roast, by_s: float) -> Roast:
    """The same roast delayed, with its first reading repeated until then."""
    wait = np.full(int(by_s), roast.temp_c[0]), np.full(int(by_s), roast.rate_c_per_min[0])
    return Roast(
        np.arange(roast.time_s.size + by_s),
        np.concatenate((wait[0], roast.temp_c)),
        np.concatenate((wait[1], roast.rate_c_per_min)),
        {name: at_s + by_s for name, at_s in roast.moments_s.items() if name != "charge"},
        roast.moves,
    )


def worked() -> list[tuple[list[float], list[float], float]]:
    """The rows of the golden file."""
    lines = WORKED.read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in lines if line[0].isdigit()]
    return [([*map(float, a.split())], [*map(float, b.split())], float(d)) for a, b, d in rows]


def by_every_path(a: list[float], b: list[float], i: int = 0, j: int = 0) -> float:
    """The distance by its definition: the minimum over all paths, tried one by one."""
    here = abs(a[i] - b[j])
    if (i, j) == (len(a) - 1, len(b) - 1):
        return here
    steps = [(i + x, j + y) for x, y in product((0, 1), repeat=2) if x + y and i + x < len(a) and j + y < len(b)]
    return here + min(by_every_path(a, b, *step) for step in steps)


@pytest.mark.parametrize(("a", "b", "expected"), worked())
def test_warped_distance_has_the_worked_values(a, b, expected):
    """The recursion gives the worked values, and so does trying every path (tests/golden/warping_distances.csv)."""
    assert dtw_distance(a, b) == expected
    assert by_every_path(a, b) == expected


def test_band_keeps_times_from_being_stretched_further():
    """A band of 0 leaves only the diagonal; a band as wide as the difference in length is always allowed."""
    assert dtw_distance([0, 0, 3], [0, 3, 3]) == 0
    assert dtw_distance([0, 0, 3], [0, 3, 3], band=0) == 3  # |0-0| + |0-3| + |3-3|
    assert dtw_distance([1, 2, 3, 4], [1], band=0) == 6  # all against the one: 0 + 1 + 2 + 3


@given(VALUES, VALUES, st.integers(0, 10))
def test_warped_distance_is_symmetric_and_a_band_never_lessens_it(a, b, band):
    """The distance is symmetric, zero to the curve itself, and only grows with a narrower band."""
    assert dtw_distance(a, b, band=band) == pytest.approx(dtw_distance(b, a, band=band))
    assert dtw_distance(a, a, band=band) == 0
    assert dtw_distance(a, b, band=band) >= dtw_distance(a, b) - 1e-9


def test_empty_curves_have_no_distance():
    """An empty curve is refused, and two roasts that share no reading have a distance of NaN."""
    with pytest.raises(CurveError, match="empty"):
        dtw_distance([], [1.0])
    unread = Roast(np.arange(9.0), np.full(9, np.nan), np.full(9, np.nan))
    assert np.isnan(distance(unread, ramp())).all()
    assert differences_along(unread, ramp(), "temperature").at.size == 0


@pytest.mark.parametrize("align", ALIGNMENTS)
def test_a_roast_is_at_no_distance_from_itself(align):
    """A roast has distance zero from itself in every alignment."""
    roast = steady(300, 0)
    found = differences_along(roast, roast, align)
    differences = found.by_s if align == "temperature" else found.by_c
    assert np.isfinite(differences).sum() > 90
    assert np.nanmax(np.abs(differences)) == 0
    assert np.nanmax(np.abs(found.by_c_per_min)) == 0
    assert distance(roast, roast, align) == (0, 0, 0)


def test_distance_is_symmetric():
    """The distance from a batch to its guide equals that from the guide to the batch."""
    one, other = steady(300, 0), steady(300, 1)
    assert distance(one, other) == pytest.approx(distance(other, one))


@given(st.floats(-40, 40))
def test_constant_offset_is_the_mean_difference(offset_c):
    """A probe with a constant offset gives exactly that difference everywhere, and no difference of rates."""
    guide = ramp()
    batch = Roast(guide.time_s, guide.temp_c + offset_c, guide.rate_c_per_min)
    found = differences_along(batch, guide)
    assert found.by_c == pytest.approx(np.full(601, offset_c))
    assert np.max(np.abs(found.by_c_per_min)) == 0
    assert distance(batch, guide)[:2] == pytest.approx((abs(offset_c), abs(offset_c)))


def test_warped_distance_forgives_a_delay():
    """A roast that is 30 s late differs at equal times, and hardly once time is warped."""
    guide = steady(300, 0)
    found = distance(later(guide, 30), guide)
    assert found.warped_c < found.mean_c / 3


@pytest.mark.parametrize("align", ["yellow", "first_crack"])
def test_shift_in_time_is_taken_out(align):
    """The same roast 25 s later, aligned at a moment, has no difference."""
    guide = steady(300, 0)
    batch = later(guide, 25)
    found = differences_along(batch, guide, align)
    assert shift_s(batch, guide, align) == 25
    assert np.nanmax(np.abs(found.by_c)) == 0
    assert distance(batch, guide, align).mean_c == 0


def test_equal_temperature_tells_the_time_between_them():
    """Of two straight roasts, one 24 °C behind at 12 °C/min, the late one reaches each temperature 120 s later."""
    found = differences_along(ramp(start_c=56.0), ramp(), "temperature")
    assert found.by_c is None
    assert found.at[0] == 80
    assert found.at[-1] == 176  # 56 °C and ten minutes at 12 °C/min
    assert found.by_s == pytest.approx(np.full(97, 120.0), abs=1e-5)
    assert found.by_c_per_min == pytest.approx(np.zeros(97))


def test_noise_favours_no_side_of_a_temperature():
    """The time at which a noisy ramp rises through a temperature is unbiased to within half a second."""
    time_s = np.arange(601.0)
    true_c = 80 + 0.2 * time_s
    rng = np.random.default_rng(5)
    late_s = []
    for _ in range(20):
        times, temps = monotonic_rise(time_s, true_c + rng.normal(0, 0.25, time_s.shape))
        at_c = np.arange(90.0, 190.0)
        late_s.append(np.mean(np.interp(at_c, temps, times) - (at_c - 80) / 0.2))
        assert (np.diff(temps) > 0).all()
    assert abs(np.mean(late_s)) < 0.5


def test_gap_stays_a_gap():
    """A gap in a batch gives no difference there, and the distance is over the rest."""
    guide = ramp()
    temp_c = guide.temp_c + 2
    temp_c[100:200] = np.nan
    batch = Roast(guide.time_s, temp_c, guide.rate_c_per_min)
    found = differences_along(batch, guide)
    assert np.isnan(found.by_c[100:200]).all()
    assert np.isnan(found.by_c).sum() <= 102
    assert distance(batch, guide).mean_c == pytest.approx(2)


def test_impossible_alignment_is_refused():
    """An unknown alignment, and a moment that one of the two lacks, are refused by name."""
    guide = ramp(moments_s={"yellow": 200.0}, name="26330-01X")
    with pytest.raises(CurveError, match="charge, yellow, first_crack, temperature"):
        differences_along(guide, guide, "drop")
    with pytest.raises(CurveError, match="26330-01X has no first crack marked"):
        differences_along(guide, guide, "first_crack")
