"""The turning point and the calibration of its error."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.curve.turning_point import turning_point, without_spikes
from roastlog.errors import CurveError
from tests.roast_corpus import Known, mixed, read


@pytest.fixture(scope="module")
def roasts() -> list[Known]:
    """A hundred roasts; most are used by other tests too, and made once for all."""
    return [*mixed(60), *mixed(40, 23)]


def probe(time_s: np.ndarray, fall_c: float = 120.0, tau_s: float = 25.0, rise: float = 0.25) -> np.ndarray:
    """An exponential fall on a steady rise: its minimum is at tau·ln(fall/(tau·rise)) by hand."""
    return 80 + fall_c * np.exp(-time_s / tau_s) + rise * time_s


def true_turn_s(time_s: np.ndarray, rate_c_per_min: np.ndarray) -> float:
    """Time between 20 and 240 s at which the noise-free rate rises through zero."""
    early = (time_s >= 20) & (time_s <= 240)
    times, rates = time_s[early], rate_c_per_min[early]
    last = np.flatnonzero((rates[:-1] <= 0) & (rates[1:] > 0))[-1]
    return float(np.interp(0.0, rates[last : last + 2], times[last : last + 2]))


@pytest.mark.parametrize("every_s", [0.25, 1.0, 2.0, 5.0])
@pytest.mark.parametrize(("fall_c", "tau_s"), [(120.0, 25.0), (150.0, 15.0), (100.0, 35.0)])
def test_turning_point_is_where_the_derivative_is_zero(every_s: float, fall_c: float, tau_s: float):
    """On a noisy probe by formula the turning point is within 3 s and 0.5 °C of the one calculated by hand."""
    time_s = np.arange(0, 300, every_s)
    temp_c = probe(time_s, fall_c, tau_s) + np.random.default_rng(4).normal(0, 0.1, time_s.size)
    turn = turning_point(time_s, temp_c)
    expected_s = tau_s * math.log(fall_c / (tau_s * 0.25))
    assert turn is not None
    assert turn.time_s == pytest.approx(expected_s, abs=3)
    assert turn.temp_c == pytest.approx(80 + 0.25 * tau_s + 0.25 * expected_s, abs=0.5)


def test_no_turning_point_before_the_probe_has_turned():
    """There is none during the fall and just after it; 10 s later there is."""
    time_s = np.arange(0, 300, 1.0)
    turn_s = 25 * math.log(120 / 6.25)
    for until_s, known in ((30, False), (turn_s + 4, False), (turn_s + 15, True)):
        seen = time_s < until_s
        assert (turning_point(time_s[seen], probe(time_s[seen])) is not None) == known


def test_no_turning_point_without_a_turn():
    """A probe that only rises, one that only falls, and no readings have no turning point."""
    time_s = np.arange(0, 600, 1.0)
    assert turning_point(time_s, 50 + 0.2 * time_s) is None
    assert turning_point(time_s, 300 - 0.2 * time_s) is None
    assert turning_point([], []) is None


def test_turning_point_bridges_missed_readings():
    """Missing readings shift the turning point little."""
    time_s = np.arange(0, 300, 1.0)
    temp_c = probe(time_s)
    whole = turning_point(time_s, temp_c)
    temp_c[[20, 70, 71, 75, 80]] = np.nan
    holed = turning_point(time_s, temp_c)
    assert whole is not None
    assert holed == pytest.approx(whole, abs=0.5)


@pytest.mark.parametrize(
    ("sd_c", "step_c", "most_s"),
    [(0.25, 0.1, 0.53), (0.08, 0.1, 0.18), (0.5, 0.5, 1.1), (0.25, 1.0, 0.85)],
)
def test_the_error_of_the_turning_point_is_honest(roasts: list[Known], sd_c: float, step_c: float, most_s: float):
    """On 100 simulated roasts 60 to 76 turning points lie within one standard error of the noise-free curve's."""
    # One standard error covers 68.3 of 100 normal values; the binomial standard error of such a count is 4.7. The
    # bounds of the root-mean-square error are some 20 % above the results when they were set [computed].
    offs, within = [], []
    for number, roast in enumerate(roasts):
        rng = np.random.default_rng([31, number])
        turn = turning_point(roast.time_s, read(roast.probe_c, rng, sd_c=sd_c, step_c=step_c))
        assert turn is not None
        offs.append(turn.time_s - true_turn_s(roast.time_s, roast.rate_c_per_min))
        within.append(abs(offs[-1]) <= turn.error_s)
    assert 60 <= sum(within) <= 76
    assert np.sqrt(np.mean(np.square(offs))) < most_s


def test_a_lone_spike_does_not_move_it():
    """A static shock of +400 °C, or a loose plug that reads 0 °C, near the turn does not shift it."""
    time_s = np.arange(0, 300, 1.0)
    temp_c = probe(time_s)
    whole = turning_point(time_s, temp_c)
    for shocked_c in (400.0, 0.0):
        spiked = temp_c.copy()
        spiked[[30, 75, 90]] = shocked_c
        assert turning_point(time_s, spiked) == pytest.approx(whole, abs=0.1)
    kept_s, _ = without_spikes(time_s, spiked)
    assert kept_s.size == time_s.size - 3


@given(st.floats(-100, 100), st.floats(-15, 15))
def test_it_moves_with_the_curve(up_c: float, later_s: float):
    """A temperature offset changes neither time nor error; a delayed curve turns as much later."""
    time_s = np.arange(0, 300, 1.0)
    temp_c = probe(time_s) + np.random.default_rng(6).normal(0, 0.25, time_s.size)
    turn = turning_point(time_s, temp_c)
    assert turn is not None
    assert turning_point(time_s, temp_c + up_c) == pytest.approx((turn.time_s, turn.temp_c + up_c, turn.error_s))
    later = turning_point(time_s + later_s, temp_c)
    assert later == pytest.approx((turn.time_s + later_s, turn.temp_c, turn.error_s))


def test_it_is_known_sooner_with_a_larger_error():
    """Just after the turn the error is larger than 16 s later, and later readings change nothing."""
    time_s = np.arange(0, 300, 1.0)
    temp_c = probe(time_s) + np.random.default_rng(6).normal(0, 0.25, time_s.size)
    soon, later, last = (turning_point(time_s[:n], temp_c[:n]) for n in (86, 110, 300))
    assert soon is not None
    assert later is not None
    assert soon.error_s > later.error_s
    assert later == last


def test_ragged_columns_are_refused():
    """Times and temperatures of different lengths raise a named error."""
    with pytest.raises(CurveError):
        turning_point([0, 1], [0])
