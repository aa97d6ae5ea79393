"""The rate of rise on known curves, its causality, and its handling of bad readings."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from roastlog.curve.rate.rate_of_rise import LiveRate, RateEstimate, rate_of_rise
from roastlog.errors import CurveError
from tests import rates
from tests.roast_corpus import mixed

Array = NDArray[np.float64]


def roast(time_s: Array) -> Array:
    """A bean probe by formula: it falls from 200 °C with a time constant of 25 s while the bean temperature rises."""
    fall = 150 * np.exp(-np.maximum(time_s, 0) / 25)
    return 50 + fall + np.where(time_s > 0, 0.28 * time_s - 6e-5 * time_s**2, 0.0)


def roast_rate(time_s: Array) -> Array:
    """Its true rate after charge. [°C/min]"""
    return 60 * (-6 * np.exp(-time_s / 25) + 0.28 - 12e-5 * time_s)


def feed(live: LiveRate, time_s: Array, temp_c: Array) -> list[RateEstimate]:
    """All estimates of a series."""
    return [live.add(float(t), float(c)) for t, c in zip(time_s, temp_c, strict=True)]


times = st.lists(st.floats(0.1, 5.0), min_size=20, max_size=150).map(lambda steps: np.cumsum(steps) - steps[0])


@given(times, st.floats(0.5, 30.0), st.floats(20, 200))
def test_straight_ramp_gives_its_slope(time_s: Array, slope_c_per_min: float, start_c: float):
    """A ramp at any spacing has its slope as rate, to 1e-6, wherever a rate is given."""
    rates = rate_of_rise(time_s, start_c + slope_c_per_min / 60 * time_s)
    given_rates = rates[np.isfinite(rates)]
    assert given_rates.size == 0 or given_rates == pytest.approx(slope_c_per_min, rel=1e-6)
    if time_s[-1] > 50:
        assert math.isfinite(rates[-1])


@given(times, st.integers(0, 2**32 - 1), st.floats(-100, 300))
def test_adding_a_constant_changes_no_rate(time_s: Array, seed: int, offset_c: float):
    """An offset of the sensor does not change the rate."""
    temp_c = roast(time_s) + np.random.default_rng(seed).normal(0, 0.25, time_s.size)
    np.testing.assert_allclose(rate_of_rise(time_s, temp_c + offset_c), rate_of_rise(time_s, temp_c), atol=1e-6)


@settings(max_examples=50)
@given(times, st.integers(0, 2**32 - 1), st.data())
def test_no_later_reading_is_used(time_s: Array, seed: int, data: st.DataObject):
    """Later readings do not change earlier results."""
    rng = np.random.default_rng(seed)
    temp_c = roast(time_s) + rng.normal(0, 0.5, time_s.size)
    cut = data.draw(st.integers(1, time_s.size - 1))
    other = temp_c.copy()
    other[cut:] = rng.uniform(-50, 600, time_s.size - cut)
    other[cut:][rng.random(time_s.size - cut) < 0.2] = np.nan
    np.testing.assert_array_equal(rate_of_rise(time_s, temp_c)[:cut], rate_of_rise(time_s, other)[:cut])


@given(times, st.integers(0, 2**32 - 1))
def test_array_equals_live(time_s: Array, seed: int):
    """The record's rate equals the live one, value by value, when charge is marked in time."""
    rng = np.random.default_rng(seed)
    time_s = time_s - 30.0
    temp_c = roast(time_s) + rng.normal(0, 0.25, time_s.size)
    temp_c[rng.random(time_s.size) < 0.05] = np.nan
    live, told, answers = LiveRate(), False, []
    for t, c in zip(time_s, temp_c, strict=True):
        if t >= 0 and not told:
            live.charged(0.0)
            told = True
        answers.append(live.add(float(t), float(c)).rate_c_per_min)
    np.testing.assert_array_equal(answers, rate_of_rise(time_s, temp_c))


def test_charge_tapped_late_ends_in_the_same_rate():
    """From the tap on, a charge tapped 12 s late gives the rates of one tapped in time."""
    time_s = np.arange(-60, 300, 0.5)
    temp_c = roast(time_s)
    live, answers = LiveRate(), []
    for t, c in zip(time_s, temp_c, strict=True):
        if t == 12:
            live.charged(0.0)
        answers.append(live.add(float(t), float(c)).rate_c_per_min)
    late = time_s >= 12
    np.testing.assert_allclose(np.array(answers)[late], rate_of_rise(time_s, temp_c)[late], rtol=1e-9)


@pytest.mark.parametrize("rate_hz", [0.2, 0.5, 1.0, 4.0, 10.0])
@pytest.mark.parametrize("step_c", [0.0, 0.1, 0.5, 1.0])
def test_rate_follows_the_roast_at_any_spacing_and_step(rate_hz: float, step_c: float):
    """From 120 s on the rate is the true one within its reported error, at any spacing and step."""
    time_s = np.arange(0, 600, 1 / rate_hz)
    temp_c = roast(time_s) + np.random.default_rng(3).normal(0, 0.25, time_s.size)
    if step_c:
        temp_c = np.round(temp_c / step_c) * step_c
    live = LiveRate()
    live.charged(0.0)
    late = [answer for at, answer in zip(time_s, feed(live, time_s, temp_c), strict=True) if at >= 120]
    off = np.array([answer.rate_c_per_min for answer in late]) - roast_rate(time_s[time_s >= 120])
    errors = np.array([answer.error_c_per_min for answer in late])
    assert math.sqrt(np.mean((off / errors) ** 2)) < 1.5
    assert math.sqrt(np.mean(errors[-len(errors) // 2 :] ** 2)) < 1.2


@pytest.mark.parametrize("rate_hz", [0.2, 1.0, 4.0, 10.0])
def test_single_spike_is_held(rate_hz: float):
    """A static shock of +400 °C changes no rate: the last one is held, as if the reading were missing."""
    time_s = np.arange(0, 400, 1 / rate_hz)
    clean = roast(time_s) + np.random.default_rng(5).normal(0, 0.25, time_s.size)
    at = np.searchsorted(time_s, 250.0)
    shocked, missing = clean.copy(), clean.copy()
    shocked[at], missing[at] = clean[at] + 400, np.nan
    answers = feed(LiveRate(), time_s, shocked)
    assert answers[at].state == "held"
    assert answers[at].rate_c_per_min == answers[at - 1].rate_c_per_min
    assert answers[at + 1].state == "ok"
    assert answers == feed(LiveRate(), time_s, missing)


def test_true_step_is_believed_after_three_readings():
    """A step by −40 °C, from another probe, is first rejected, then accepted, and the rate recovers."""
    time_s = np.arange(0, 120, 1.0)
    temp_c = 100 + 0.2 * time_s - np.where(time_s >= 60, 40.0, 0.0)
    answers = feed(LiveRate(), time_s, temp_c)
    assert [a.state for a in answers[59:63]] == ["ok", "held", "held", "settling"]
    assert answers[80].rate_c_per_min == pytest.approx(12.0)


def test_sudden_bend_is_noticed():
    """A sudden drop from 12 to 2 °C/min is followed better than by the common method, with a larger reported error."""
    time_s = np.arange(0, 400, 1.0)
    true = np.where(time_s < 250, 12.0, 2.0)
    clean_c = 90 + np.cumsum(true) / 60
    temp_c = clean_c + np.random.default_rng(6).normal(0, 0.25, (30, time_s.size))
    answers = [feed(LiveRate(), time_s, row) for row in temp_c]
    found = np.array([[answer.rate_c_per_min for answer in row] for row in answers])
    errors = np.array([[answer.error_c_per_min for answer in row] for row in answers]).mean(axis=0)
    after = slice(250, 330)

    def off(of: Array) -> float:
        return float(np.sqrt(np.mean((of - true)[:, after] ** 2)))

    assert off(found) < off(rates.trailing_difference(temp_c))
    assert errors[260:275].max() > 3 * errors[249]
    assert errors[-1] < 1.2 * errors[249]


def test_stuck_sensor_comes_to_no_rate():
    """A sensor that repeats one value soon has a rate of 0, not a held one."""
    time_s = np.arange(0, 400, 1.0)
    temp_c = np.minimum(roast(time_s), roast(np.array([200.0]))[0])
    temp_c[200:] = temp_c[200]
    last = feed(LiveRate(), time_s, temp_c)[-1]
    assert last.state == "ok"
    assert last.rate_c_per_min == pytest.approx(0, abs=0.05)


def test_first_reading_may_be_the_spike():
    """A stream that starts with a shock still finds its line."""
    time_s = np.arange(0, 60, 1.0)
    temp_c = 100 + 0.2 * time_s
    temp_c[0] = 600
    last = feed(LiveRate(), time_s, temp_c)[-1]
    assert (last.state, last.rate_c_per_min) == ("ok", pytest.approx(12.0))


def test_probe_settles_only_past_its_turning_point():
    """After charge the probe has no rate until it has risen for 10 s, and the first one is not negative."""
    time_s = np.arange(-60, 300, 0.25)
    temp_c = roast(time_s) + np.random.default_rng(2).normal(0, 0.25, time_s.size)
    rates = rate_of_rise(time_s, temp_c)
    turn_s = 25 * math.log(6 / 0.28)  # zero of the formula's derivative, without its small square term
    after = time_s >= 0
    first_s = time_s[after][np.isfinite(rates[after])][0]
    assert turn_s + 5 < first_s < turn_s + 25
    assert (rates[time_s >= first_s] > 0).all()


def test_surface_is_believed_within_seconds():
    """The infrared surface, which jumps from drum to beans at charge, has the correct rate within 10 s."""
    time_s = np.arange(-30, 60, 0.5)
    temp_c = np.where(time_s < 0, 190.0, 25 + 0.5 * time_s)
    rates = rate_of_rise(time_s, temp_c, role="bean_surface")
    assert np.isnan(rates[(time_s >= 0) & (time_s < 5)]).all()
    assert rates[time_s >= 10] == pytest.approx(30.0)


def test_gap_stays_a_gap():
    """Nothing is held across a gap of more than 10 s, and the filter restarts after it."""
    live = LiveRate()
    feed(live, np.arange(0, 60, 1.0), 100 + 0.2 * np.arange(0, 60, 1.0))
    assert live.add(65, math.nan).state == "held"
    assert live.add(70, math.nan).state == "settling"
    assert live.add(75, 130.0).state == "settling"
    assert feed(live, np.arange(76, 90, 1.0), np.full(14, 130.0))[-1].rate_c_per_min == pytest.approx(0)


def test_redundant_readings_change_nothing():
    """A duplicate, a late reading, or one of more than 20 a second returns the last result."""
    live = LiveRate()
    last = feed(live, np.arange(0, 60, 1.0), 100 + 0.2 * np.arange(0, 60, 1.0))[-1]
    assert live.add(59.0, 500.0) == last
    assert live.add(12.0, 500.0) == last
    assert live.add(59.01, 500.0) == last
    assert live.add(60.0, 112.0).rate_c_per_min == pytest.approx(12.0)


def test_memory_is_bounded():
    """A flooding sensor keeps at most 20 s at 20 readings a second in memory."""
    live = LiveRate()
    for i in range(30_000):
        live.add(i / 500, 100 + i / 5000)
    assert len(live._recent) <= 20 * 20 + 1


def test_invalid_curves_are_refused():
    """Unequal columns and decreasing times are refused by name."""
    with pytest.raises(CurveError, match="same length"):
        rate_of_rise([0, 1], [1.0])
    with pytest.raises(CurveError, match="increase"):
        rate_of_rise([0, 1, 1], [1.0, 2.0, 3.0])


# On roasts with a known truth


@pytest.fixture(scope="module")
def told() -> rates.Readings:
    """60 roasts of different coffees, machines and operators, read at 1 Hz with σ 0.25 °C in steps of 0.1 °C."""
    return rates.readings(mixed(60))


@pytest.fixture(scope="module")
def ours(told: rates.Readings) -> tuple[Array, Array]:
    """Our rates of them, with their errors."""
    return rates.live(told.temp_c, "bean_probe")


def test_error_is_well_below_the_common_ways(told: rates.Readings, ours: tuple[Array, Array]):
    """From 120 s to the drop: at most 0.60 of the error of the difference over 30 s (the bound is 0.70)."""
    common = rates.trailing_difference(told.temp_c)
    assert rates.rms(ours[0], told.true) <= 0.60 * rates.rms(common, told.true)
    assert np.isfinite((ours[0] - told.true)[:, 120:]).sum() == np.isfinite(told.true[:, 120:]).sum()


def test_error_is_near_that_of_the_best_tuned_filter(told: rates.Readings, ours: tuple[Array, Array]):
    """At most 1.08 times the error of a constant-acceleration Kalman filter with known noise, tuned on these roasts."""
    _, peer = rates.tuned_filter(told)
    assert rates.rms(ours[0], told.true) <= 1.08 * rates.rms(peer, told.true)


def test_lag_is_a_few_seconds(told: rates.Readings, ours: tuple[Array, Array]):
    """It matches the true rate of at most 6 s ago best; the difference over 30 s that of 15 s ago."""
    assert rates.lag_s(ours[0], told.true) <= 6
    assert rates.lag_s(rates.trailing_difference(told.temp_c), told.true) == pytest.approx(15, abs=1)


def test_spikes_and_dropouts_cost_little(told: rates.Readings, ours: tuple[Array, Array]):
    """1 % spikes of +400 °C and 5 % dropouts increase the error, including held readings, by at most a fifth."""
    soiled, _ = rates.live(rates.soiled(told.temp_c), "bean_probe")
    assert rates.rms(soiled, told.true) <= 1.2 * rates.rms(ours[0], told.true)


def test_reported_error_is_honest(told: rates.Readings, ours: tuple[Array, Array]):
    """60 to 76 % of the errors lie within the reported one (68 % for a normal distribution)."""
    assert 0.60 <= rates.coverage(*ours, told.true) <= 0.76


@pytest.mark.parametrize("sd_c", [0.08, 0.25, 0.5])
@pytest.mark.parametrize("step_c", [0.1, 0.5, 1.0])
def test_any_noise_is_learnt(sd_c: float, step_c: float):
    """For other noises and steps too, at least about two in three errors lie within the reported one."""
    some = rates.readings(mixed(60)[::4], sd_c=sd_c, step_c=step_c)
    assert 0.60 <= rates.coverage(*rates.live(some.temp_c, "bean_probe"), some.true) <= 0.80


def test_surface_keeps_the_bounds_too():
    """The infrared surface, with its own model, meets the same bounds."""
    some = rates.readings(mixed(60)[::2], surface=True)
    found, errors = rates.live(some.temp_c, "bean_surface")
    assert rates.rms(found, some.true) <= 0.60 * rates.rms(rates.trailing_difference(some.temp_c), some.true)
    assert rates.lag_s(found, some.true) <= 6
    assert 0.60 <= rates.coverage(found, errors, some.true) <= 0.76
