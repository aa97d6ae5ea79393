"""Phases, the area under the curve, development and planned drop."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.curve.phases import (
    Phase,
    area_above,
    development,
    phase_at,
    phases,
    planned_drop_s,
    value_at,
)
from roastlog.errors import CurveError

MOMENTS = {"charge": 0.0, "yellow": 270.0, "first_crack": 480.0, "drop": 600.0}


def probe(time_s: np.ndarray) -> np.ndarray:
    """An exponential fall on a steady rise."""
    return 80 + 120 * np.exp(-time_s / 25) + 0.25 * time_s


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
    """Without yellow the first crack still starts development; without any moment no phase has started."""
    assert phase_at({"charge": 0, "first_crack": 480}, 500) == "development"
    assert phase_at({}, 500) == "before charge"


@given(st.dictionaries(st.sampled_from(["yellow", "first_crack", "drop"]), st.integers(-60, 900)), st.integers(0, 900))
def test_phase_and_development_agree(moments_s: dict[str, int], now_s: int):
    """Phase and development agree, even if first crack was marked before the charge."""
    moments_s = {"charge": 0, **moments_s}
    if moments_s.get("drop", now_s + 1) > now_s:
        assert (phase_at(moments_s, now_s) == "development") == (development(moments_s, now_s) is not None)


def test_phases_of_a_whole_roast():
    """Durations and shares by hand; rates from the straight parts of a made curve, drying's from its turning point."""
    time_s = np.arange(0, 700, 1.0)
    temp_c = np.interp(time_s, [0, 80, 270, 480, 600], [200, 90, 150, 195, 210])
    drying, browning, developing = phases(MOMENTS, time_s, temp_c)
    assert (drying.name, drying.start_s, drying.duration_s, drying.share) == ("drying", 0, 270, 0.45)
    assert drying.mean_rate_c_per_min == pytest.approx(60 * 60 / 190, rel=0.03)
    # Areas above 100 °C by hand, of trapezoids: 3.5 min · (50 + 95) / 2 °C, 2 min · (95 + 110) / 2 °C.
    assert browning == Phase("browning", 270, 210, 0.35, pytest.approx(60 * 45 / 210), pytest.approx(253.75))
    assert developing == Phase("development", 480, 120, pytest.approx(0.2), pytest.approx(7.5), pytest.approx(205))


def test_phase_under_way_ends_now():
    """In browning there are two phases, the second up to now, with shares of the time so far."""
    time_s = np.arange(0, 301, 1.0)
    found = phases({"charge": 0, "yellow": 270}, time_s, probe(time_s))
    assert [(p.name, p.duration_s) for p in found] == [("drying", 270), ("browning", 30)]
    assert sum(p.share for p in found) == pytest.approx(1)
    assert phases({"charge": 0}, time_s, probe(time_s), now_s=40)[0].duration_s == 40


def test_missing_and_crossed_moments_make_no_phase():
    """Without yellow, or with yellow after first crack, only a phase with both ends in order is named."""
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
    """A phase that ends in a gap has its times and no rate."""
    time_s = np.arange(0, 700, 1.0)
    temp_c = probe(time_s)
    temp_c[470:490] = np.nan
    _, browning, developing = phases(MOMENTS, time_s, temp_c)
    assert browning.duration_s == 210
    assert browning.mean_rate_c_per_min is None
    assert developing.mean_rate_c_per_min is None


def test_area_counts_only_temperatures_above_the_base():
    """Triangles by hand where the curve crosses the base between rows; zero for a curve that stays below it."""
    time_s = np.array([0.0, 60.0])
    ramp_s = np.arange(0, 121, 5.0)
    assert area_above(ramp_s, 90 + ramp_s / 6, 0, 120, 100) == pytest.approx(0.5 * 1 * 10)  # up through it at 60 s
    assert area_above(ramp_s, 110 - ramp_s / 6, 0, 120, 100) == pytest.approx(0.5 * 1 * 10)
    assert area_above(ramp_s, 90 + ramp_s / 6, 61, 119, 100) == pytest.approx(58 / 60 * (1 / 6 + 59 / 6) / 2)
    assert area_above(ramp_s, 90 + ramp_s / 6, 0, 120, 110) == 0
    assert area_above(time_s, [120, 120], 0, 60, 100) is None  # no reading for a minute in between
    assert area_above(ramp_s, ramp_s, 60, 60, 0) is None


def test_area_is_not_given_over_a_gap():
    """Up to 6 s without a reading are interpolated; a longer gap leaves the area unknown."""
    time_s = np.arange(0, 301, 1.0)
    temp_c = 120 + 0.1 * time_s
    whole = area_above(time_s, temp_c, 0, 300, 100)
    for missed, known in ((slice(100, 105), True), (slice(100, 106), False), (slice(290, 301), False)):
        holed = temp_c.copy()
        holed[missed] = np.nan
        assert area_above(time_s, holed, 0, 300, 100) == (pytest.approx(whole) if known else None)


def test_area_of_the_phases_adds_up_and_falls_with_the_base():
    """The areas of the phases add up to that from charge to drop; a base 10 °C higher subtracts its rectangle."""
    time_s = np.arange(0, 601, 1.0)
    temp_c = 150 + 0.1 * time_s
    parts = [phase.area_c_min for phase in phases(MOMENTS, time_s, temp_c, area_base_c=100)]
    assert sum(parts) == pytest.approx(10 * (50 + 110) / 2)
    higher = [phase.area_c_min for phase in phases(MOMENTS, time_s, temp_c, area_base_c=110)]
    assert sum(parts) - sum(higher) == pytest.approx(10 * 10)


def test_development_runs_from_first_crack_and_stops_at_the_drop():
    """Time and ratio by hand: none before first crack, and constant after the drop."""
    assert development(MOMENTS, 540) == (60, pytest.approx(60 / 540))
    assert development(MOMENTS, 900) == (120, pytest.approx(0.2))
    assert development(MOMENTS, 470) is None
    assert development({"charge": 0}, 470) is None
    assert development({"charge": 0, "first_crack": 480, "drop": 400}, 500) is None


@given(st.floats(60, 1200), st.floats(0.01, 0.9))
def test_planned_ratio_is_reached_at_the_planned_drop(first_crack_s: float, ratio: float):
    """A batch dropped as planned has the planned development ratio."""
    drop_s = planned_drop_s(first_crack_s, development_ratio=ratio)
    assert drop_s is not None
    reached = development({"charge": 0, "first_crack": first_crack_s, "drop": drop_s}, drop_s + 100)
    assert reached is not None
    assert reached.ratio == pytest.approx(ratio)


def test_planned_drop_by_time_and_without_a_plan():
    """A planned time counts from first crack and overrides a ratio; no plan gives no drop; nonsense is refused."""
    assert planned_drop_s(521, 80) == 601
    assert planned_drop_s(521, 80, 0.2) == 601
    assert planned_drop_s(521) is None
    assert planned_drop_s(-5, 80) is None
    assert planned_drop_s(-5, development_ratio=0.2) is None
    for nonsense in ({"development_s": 0}, {"development_ratio": 1.0}, {"development_ratio": math.nan}):
        with pytest.raises(CurveError):
            planned_drop_s(521, **nonsense)


def test_value_is_read_between_rows_and_never_far_from_one():
    """Between rows the value is interpolated, beside a gap it is the nearest, in a gap or beyond the ends unknown."""
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
