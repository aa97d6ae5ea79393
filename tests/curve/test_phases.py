"""Turning point, phases, development and planned drop."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.curve.phases import (
    Phase,
    development,
    phase_at,
    phases,
    planned_drop_s,
    turning_point,
    value_at,
)
from roastlog.errors import CurveError

MOMENTS = {"charge": 0.0, "yellow": 270.0, "first_crack": 480.0, "drop": 600.0}


def probe(time_s: np.ndarray, fall_c: float = 120.0, tau_s: float = 25.0, rise: float = 0.25) -> np.ndarray:
    """A fall that dies away on a steady rise: its minimum is at tau·ln(fall/(tau·rise)) by hand."""
    return 80 + fall_c * np.exp(-time_s / tau_s) + rise * time_s


@pytest.mark.parametrize("every_s", [0.25, 1.0, 2.0, 5.0])
@pytest.mark.parametrize(("fall_c", "tau_s"), [(120.0, 25.0), (150.0, 15.0), (100.0, 35.0)])
def test_turning_point_is_where_the_derivative_is_zero(every_s: float, fall_c: float, tau_s: float):
    """On a noisy probe by formula the turning point lies within 4 s and 0.5 °C of the one worked out by hand."""
    time_s = np.arange(0, 300, every_s)
    temp_c = probe(time_s, fall_c, tau_s) + np.random.default_rng(4).normal(0, 0.1, time_s.size)
    turn = turning_point(time_s, temp_c)
    expected_s = tau_s * math.log(fall_c / (tau_s * 0.25))
    assert turn is not None
    assert turn.time_s == pytest.approx(expected_s, abs=4)
    assert turn.temp_c == pytest.approx(80 + 0.25 * tau_s + 0.25 * expected_s, abs=0.5)


def test_no_turning_point_before_the_probe_has_turned():
    """While it falls, and just after, there is none yet; 10 s later there is."""
    time_s = np.arange(0, 300, 1.0)
    turn_s = 25 * math.log(120 / 6.25)
    for until_s, known in ((30, False), (turn_s + 4, False), (turn_s + 15, True)):
        seen = time_s < until_s
        assert (turning_point(time_s[seen], probe(time_s[seen])) is not None) == known


def test_no_turning_point_without_a_turn():
    """A probe that only rises, one that only falls and no readings at all have none."""
    time_s = np.arange(0, 600, 1.0)
    assert turning_point(time_s, 50 + 0.2 * time_s) is None
    assert turning_point(time_s, 300 - 0.2 * time_s) is None
    assert turning_point([], []) is None


def test_turning_point_bridges_missed_readings():
    """Missed readings move it little."""
    time_s = np.arange(0, 300, 1.0)
    temp_c = probe(time_s)
    whole = turning_point(time_s, temp_c)
    temp_c[[20, 70, 71, 75, 80]] = np.nan
    holed = turning_point(time_s, temp_c)
    assert whole is not None
    assert holed == pytest.approx(whole, abs=0.5)


@pytest.mark.parametrize(
    ("now_s", "name"),
    [
        (-5, "before charge"),
        (0, "drying"),
        (269.9, "drying"),
        (270, "browning"),
        (480, "development"),
        (600, "cooling"),
    ],
)
def test_phase_by_the_clock(now_s: float, name: str):
    """Each phase begins with its moment."""
    assert phase_at(MOMENTS, now_s) == name


def test_phase_passes_over_missing_moments():
    """Without a yellow the first crack still begins development; without any moment nothing has begun."""
    assert phase_at({"charge": 0, "first_crack": 480}, 500) == "development"
    assert phase_at({}, 500) == "before charge"


def test_phases_of_a_whole_roast():
    """Durations and shares by hand; rates from the straight parts of a made curve, drying's from its turning point."""
    time_s = np.arange(0, 700, 1.0)
    temp_c = np.interp(time_s, [0, 80, 270, 480, 600], [200, 90, 150, 195, 210])
    drying, browning, developing = phases(MOMENTS, time_s, temp_c)
    assert (drying.name, drying.start_s, drying.duration_s, drying.share) == ("drying", 0, 270, 0.45)
    assert drying.mean_rate_c_per_min == pytest.approx(60 * 60 / 190, rel=0.03)
    assert browning == Phase("browning", 270, 210, 0.35, pytest.approx(60 * 45 / 210))
    assert developing == Phase("development", 480, 120, pytest.approx(0.2), pytest.approx(7.5))


def test_phase_under_way_ends_now():
    """In browning there are two phases, the second up to now, and the shares are of the time so far."""
    time_s = np.arange(0, 301, 1.0)
    found = phases({"charge": 0, "yellow": 270}, time_s, probe(time_s))
    assert [(p.name, p.duration_s) for p in found] == [("drying", 270), ("browning", 30)]
    assert sum(p.share for p in found) == pytest.approx(1)
    assert phases({"charge": 0}, time_s, probe(time_s), now_s=40)[0].duration_s == 40


def test_missing_and_crossed_moments_make_no_phase():
    """Without a yellow, or with one after first crack, only what has both ends in order is named."""
    time_s = np.arange(0, 700, 1.0)
    temp_c = probe(time_s)
    without = {name: at for name, at in MOMENTS.items() if name != "yellow"}
    assert [p.name for p in phases(without, time_s, temp_c)] == ["development"]
    crossed = MOMENTS | {"yellow": 500.0}
    assert [p.name for p in phases(crossed, time_s, temp_c)] == ["drying", "development"]
    assert phases({}, time_s, temp_c) == []
    assert phases({"charge": 0}, [], []) == []
    assert [p.name for p in phases({"charge": 0, "drop": 600}, time_s, temp_c)] == []


def test_rate_is_unknown_where_the_curve_is():
    """A phase whose end lies in a gap has its times and no rate."""
    time_s = np.arange(0, 700, 1.0)
    temp_c = probe(time_s)
    temp_c[470:490] = np.nan
    _, browning, developing = phases(MOMENTS, time_s, temp_c)
    assert browning.duration_s == 210
    assert browning.mean_rate_c_per_min is None
    assert developing.mean_rate_c_per_min is None


def test_development_runs_from_first_crack_and_stops_at_the_drop():
    """Time and ratio by hand, none before first crack, and still after the drop."""
    assert development(MOMENTS, 540) == (60, pytest.approx(60 / 540))
    assert development(MOMENTS, 900) == (120, pytest.approx(0.2))
    assert development(MOMENTS, 470) is None
    assert development({"charge": 0}, 470) is None
    assert development({"charge": 0, "first_crack": 480, "drop": 400}, 500) is None


@given(st.floats(60, 1200), st.floats(0.01, 0.9))
def test_planned_ratio_is_reached_at_the_planned_drop(first_crack_s: float, ratio: float):
    """Dropped as planned, the development has the ratio that was planned."""
    drop_s = planned_drop_s(first_crack_s, development_ratio=ratio)
    assert drop_s is not None
    reached = development({"charge": 0, "first_crack": first_crack_s, "drop": drop_s}, drop_s + 100)
    assert reached is not None
    assert reached.ratio == pytest.approx(ratio)


def test_planned_drop_by_time_and_without_a_plan():
    """A time counts from first crack and before a ratio; no plan gives no drop; nonsense is refused."""
    assert planned_drop_s(521, 80) == 601
    assert planned_drop_s(521, 80, 0.2) == 601
    assert planned_drop_s(521) is None
    for nonsense in ({"development_s": 0}, {"development_ratio": 1.0}, {"development_ratio": math.nan}):
        with pytest.raises(CurveError):
            planned_drop_s(521, **nonsense)


def test_value_is_read_between_rows_and_never_far_from_one():
    """Between rows on the line, beside a gap the nearest, in a gap or beyond the ends nothing."""
    time_s = np.arange(0, 20, 1.0)
    values = 10 * time_s
    values[8:16] = np.nan
    assert value_at(time_s, values, 2.5) == 25
    assert value_at(time_s, values, 9.0) == 70
    assert value_at(time_s, values, 11.5) is None
    assert value_at(time_s, values, 21.0) == 190
    assert value_at(time_s, values, 30.0) is None
    assert value_at([], [], 1.0) is None
    with pytest.raises(CurveError):
        value_at([0, 1], [0], 0)
