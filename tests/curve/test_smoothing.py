"""The smoothed curve: no lag, calibrated errors, preserved gaps, and accuracy on roasts with a known truth."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from roastlog.curve.rate.rate_of_rise import rate_of_rise
from roastlog.curve.smoothing import smooth_curve
from roastlog.errors import CurveError
from tests import rates
from tests.roast_corpus import mixed

Array = NDArray[np.float64]

SECONDS = np.arange(0, 300, 1.0)
times = st.lists(st.floats(0.1, 5.0), min_size=20, max_size=150).map(lambda steps: np.cumsum(steps) - steps[0])


def noisy(seed: int = 1) -> Array:
    """Noisy readings of a ramp of 12 °C/min."""
    return 90 + 0.2 * SECONDS + np.random.default_rng(seed).normal(0, 0.25, SECONDS.size)


@pytest.mark.parametrize(("surface", "role"), [(False, "bean_probe"), (True, "bean_surface")])
def test_error_is_a_fraction_of_the_common_ways(surface: bool, role: str):
    """On 60 roasts, σ 0.25 °C in steps of 0.1 °C, from 120 s: at most 0.40 of the 30 s difference's error, no lag."""
    told = rates.readings(mixed(60), surface=surface)
    found, errors = rates.smoothed(told.temp_c, role)
    assert rates.rms(found, told.true) <= 0.40 * rates.rms(rates.trailing_difference(told.temp_c), told.true)
    assert rates.lag_s(found, told.true) <= 0.5
    assert 0.60 <= rates.coverage(found, errors, told.true) <= 0.80


@given(times, st.floats(0.5, 30.0), st.floats(20, 200))
def test_straight_ramp_stays_as_it_is(time_s: Array, slope_c_per_min: float, start_c: float):
    """A ramp at any spacing keeps its temperatures and has its slope as rate, to 1e-6."""
    temp_c = start_c + slope_c_per_min / 60 * time_s
    smooth = smooth_curve(time_s, temp_c, role="bean_surface")
    known = np.isfinite(smooth.rate_c_per_min)
    np.testing.assert_allclose(smooth.rate_c_per_min[known], slope_c_per_min, rtol=1e-6)
    np.testing.assert_allclose(smooth.temp_c[np.isfinite(smooth.temp_c)], temp_c[np.isfinite(smooth.temp_c)], rtol=1e-9)
    assert time_s[-1] <= 10 or known[time_s >= 5].all()


@given(st.integers(0, 2**32 - 1), st.floats(-100, 300))
def test_adding_a_constant_changes_no_rate(seed: int, offset_c: float):
    """An offset of the sensor shifts the temperatures equally, and changes no rate or error."""
    plain, shifted = smooth_curve(SECONDS, noisy(seed)), smooth_curve(SECONDS, noisy(seed) + offset_c)
    np.testing.assert_allclose(shifted.temp_c, plain.temp_c + offset_c, atol=1e-7)
    np.testing.assert_allclose(shifted.rate_c_per_min, plain.rate_c_per_min, atol=1e-6)
    np.testing.assert_allclose(shifted.error_c_per_min, plain.error_c_per_min, atol=1e-6)


def test_no_lag_where_the_rate_changes():
    """At a bend the smoothed rate crosses midway when the true one does; the live one later."""
    rise = 0.3 - 0.2 / (1 + np.exp(-(SECONDS - 150) / 15))
    temp_c = 90 + np.cumsum(rise) + np.random.default_rng(4).normal(0, 0.1, SECONDS.size)
    midway = 60 * 0.2
    smooth_s = SECONDS[60 + np.argmax(smooth_curve(SECONDS, temp_c).rate_c_per_min[60:] < midway)]
    live_s = SECONDS[60 + np.argmax(rate_of_rise(SECONDS, temp_c)[60:] < midway)]
    assert abs(smooth_s - 150) <= 3
    assert live_s > smooth_s


def test_short_silence_is_bridged_and_a_long_one_is_a_gap():
    """Missing rows over at most 10 s are bridged, with a larger error; a longer gap stays NaN entirely."""
    temp_c = noisy()
    temp_c[100:108] = np.nan
    temp_c[200:215] = np.nan
    smooth = smooth_curve(SECONDS, temp_c)
    assert smooth.rate_c_per_min[100:108] == pytest.approx(12, abs=1.0)
    assert smooth.temp_c[100:108] == pytest.approx(90 + 0.2 * SECONDS[100:108], abs=0.3)
    for column in smooth:
        assert np.isnan(column[200:215]).all()
        assert np.isfinite(column[[*range(40, 200), *range(215, 300)]]).all()
    assert smooth.error_c_per_min[214 + 1] > smooth.error_c_per_min[150]


def test_spike_is_bridged():
    """A static shock is treated as a missing reading."""
    shocked, missing = noisy(), noisy()
    shocked[[0, 150, 151, 250]] += 400
    missing[[0, 150, 151, 250]] = np.nan
    for ours, theirs in zip(smooth_curve(SECONDS, shocked), smooth_curve(SECONDS, missing), strict=True):
        np.testing.assert_allclose(ours[5:], theirs[5:], atol=2e-3)


def test_true_step_begins_a_stretch_of_its_own():
    """A step by −40 °C, from another probe, leaves the rates on both sides unchanged."""
    smooth = smooth_curve(SECONDS, noisy() - np.where(SECONDS >= 150, 40.0, 0.0))
    assert (np.abs(smooth.rate_c_per_min - 12) <= 3.5 * smooth.error_c_per_min)[40:].all()
    assert smooth.error_c_per_min[40:].max() < 2
    assert smooth.temp_c[149] - smooth.temp_c[150] == pytest.approx(40, abs=0.8)


def test_probe_has_a_rate_from_its_turning_point_on():
    """The probe's fall after charge is smoothed but has no rate; the rate starts at zero at the turning point."""
    temp_c = 60 + 0.25 * SECONDS + 130 * np.exp(-SECONDS / 25) + np.random.default_rng(2).normal(0, 0.25, SECONDS.size)
    smooth = smooth_curve(SECONDS, temp_c)
    turn_s = 25 * np.log(130 / 25 / 0.25)
    first = int(np.argmax(np.isfinite(smooth.rate_c_per_min)))
    assert SECONDS[first] == pytest.approx(turn_s, abs=4)
    assert smooth.rate_c_per_min[first] == pytest.approx(0, abs=0.5)
    assert np.isfinite(smooth.temp_c[10:first]).all()


def test_a_few_readings_are_no_curve():
    """No readings, one, and a handful have no rate; invalid columns are refused by name."""
    assert [column.size for column in smooth_curve([], [])] == [0, 0, 0]
    for count in (1, 2, 9):
        assert np.isnan(smooth_curve(SECONDS[:count], noisy()[:count])).all()
    assert np.isnan(smooth_curve(SECONDS, np.full(300, np.nan))).all()
    with pytest.raises(CurveError, match="same length"):
        smooth_curve([0, 1], [1.0])
    with pytest.raises(CurveError, match="increase"):
        smooth_curve([0, 1, 1], [1.0, 2.0, 3.0])
