"""Whole roasts against published ones and common practice."""

import csv
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from roastlog.physics.design import CONTROLS, GreenCoffee
from roastlog.physics.schedule import RoastRun, Schedule, Step, roast

GOLDEN = Path(__file__).parents[1] / "golden" / "roast_profiles_2025.csv"
HELD = {"hot_air": 3.0, "radiant": 1.5, "drum_heat": 3.0, "stir": 5.0}
RISING = (Step("radiant", 3, at_s=110), Step("hot_air", 5, at_s=180), Step("radiant", 6, at_s=240))
ENDING = (Step("radiant", 5, at_c=186), Step("radiant", 4, at="first_crack"), Step("hot_air", 5, at="first_crack"))
FILTER = Schedule(charge_c=212.0, start=HELD, steps=(*RISING, Step("hot_air", 7, at_s=300), *ENDING))
SLOW = Schedule(
    charge_c=200.0,
    start=HELD | {"hot_air": 2.3, "radiant": 0.5, "drum_heat": 2.0},
    steps=(
        Step("radiant", 2.5, at_s=145), Step("hot_air", 4.5, at_s=240), Step("radiant", 5, at_s=420),
        Step("hot_air", 6.5, at_s=480), *ENDING,
    ),
)  # fmt: skip
BROWNING = Schedule(
    charge_c=210.0,
    start=HELD | {"radiant": 2.0},
    steps=(
        Step("radiant", 4, at_s=120), Step("hot_air", 5, at_s=180), Step("radiant", 3.5, at="yellow"),
        Step("radiant", 5, at="first_crack"),
    ),
)  # fmt: skip
SCHEDULES = {"filter": FILTER, "slow": SLOW, "long browning": BROWNING}


def published() -> dict[str, tuple[float, float]]:
    """Minimum and maximum of each column of the 13 profiles."""
    lines = [line for line in GOLDEN.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    assert len(rows) == 13
    names = [name for name in rows[0] if name not in {"coffee", "profile"}]
    return {name: (min(float(r[name]) for r in rows), max(float(r[name]) for r in rows)) for name in names}


def to_second_crack(schedule: Schedule) -> RoastRun:
    return roast(
        Schedule(
            green_kg=schedule.green_kg, charge_c=schedule.charge_c, start=schedule.start, steps=schedule.steps,
            development_s=900.0, drop_c=227.0,
        ),
        seed=5,
    )  # fmt: skip


def turning_point_s(run: RoastRun) -> float:
    return float(run.time_s[int(np.argmin(run.channels["bean_probe"]))])


def probe_at(run: RoastRun, moment: str) -> float:
    return float(np.interp(run.moments[moment], run.time_s, run.channels["bean_probe"]))


def rate_per_30_s(run: RoastRun, from_s: float, to_s: float) -> float:
    probe_c = np.interp([from_s, to_s], run.time_s, run.channels["bean_probe"])
    return float(probe_c[1] - probe_c[0]) / (to_s - from_s) * 30.0


@pytest.mark.parametrize("name", SCHEDULES)
def test_phases_last_and_rise_as_published_ones_do(name: str):
    """Durations and mean rates are within the 13 profiles of doi:10.1038/s41598-025-06601-w, Table 1."""
    run, bounds = to_second_crack(SCHEDULES[name]), published()
    at = run.moments
    found = {
        "pre_colour_change_min": at["yellow"] / 60,
        "pre_colour_change_ror": rate_per_30_s(run, turning_point_s(run), at["yellow"]),
        "colour_change_to_fc_min": (at["first_crack"] - at["yellow"]) / 60,
        "colour_change_to_fc_ror": rate_per_30_s(run, at["yellow"], at["first_crack"]),
        "fc_to_sc_min": (at["second_crack"] - at["first_crack"]) / 60,
        "fc_to_sc_ror": rate_per_30_s(run, at["first_crack"], at["second_crack"]),
    }
    outside = {key: value for key, value in found.items() if not bounds[key][0] <= value <= bounds[key][1]}
    assert outside == {}


def test_filter_roast_looks_like_one():
    """Charge, turning point, yellow, crack and drop are within common practice (from memory)."""
    run = roast(FILTER, seed=3)
    probe_c = run.channels["bean_probe"]
    assert probe_c[0] == pytest.approx(205.0, abs=8.0)
    assert 60.0 <= turning_point_s(run) <= 90.0
    assert 75.0 <= min(probe_c) <= 100.0
    assert 240.0 <= run.moments["yellow"] <= 335.0
    assert probe_at(run, "yellow") == pytest.approx(150.0, abs=5.0)
    assert 450.0 <= run.moments["first_crack"] <= 570.0
    assert probe_at(run, "first_crack") == pytest.approx(196.0, abs=3.0)  # ≈ 196 °C also in the paper above
    assert run.moments["drop"] - run.moments["first_crack"] == 78.0
    assert 204.0 <= probe_c[-1] <= 211.0


def test_filter_roast_has_the_loss_of_a_medium_roast():
    """14 to 15.5 % of the green mass (practice, from memory), 5-7 % of it from the dry solid, 2-4 % water left."""
    run = roast(FILTER)
    water_left = run.truth["moisture"][-1]
    dry_g = run.green_g * 0.89
    assert 0.14 <= run.loss <= 0.155
    assert 0.05 <= 1.0 - (run.roasted_g - dry_g * water_left) / dry_g <= 0.075
    assert 0.02 <= water_left <= 0.04


def test_rate_declines_over_the_roast():
    """Mean rates decrease from drying to browning to development."""
    run = roast(FILTER)
    at = [turning_point_s(run), run.moments["yellow"], run.moments["first_crack"], run.moments["drop"]]
    rates = [rate_per_30_s(run, from_s, to_s) for from_s, to_s in pairwise(at)]
    assert rates == sorted(rates, reverse=True)


def test_surface_leads_and_exhaust_stands_apart():
    """From yellow on the infrared surface reads above the probe, and the three channels differ."""
    run = roast(FILTER)
    later = slice(round(run.moments["yellow"]), None)
    lead_c = run.channels["bean_surface"][later] - run.channels["bean_probe"][later]
    assert 2.0 < float(np.median(lead_c)) < 20.0
    assert not np.allclose(run.channels["exhaust"], run.channels["bean_probe"], atol=3.0)


def test_same_seed_same_roast():
    """A seed is reproducible; another seed gives the same roast with other noise."""
    first, again, other = roast(FILTER, seed=8), roast(FILTER, seed=8), roast(FILTER, seed=9)
    assert all(np.array_equal(first.channels[c], again.channels[c]) for c in first.channels)
    assert first.roasted_g == again.roasted_g
    assert not np.array_equal(first.channels["bean_probe"], other.channels["bean_probe"])
    assert first.moments["first_crack"] == pytest.approx(other.moments["first_crack"], abs=5.0)


def test_readings_come_in_tenths_with_the_stated_noise():
    """Every reading is a whole number of tenths, and the probe's noise is a tenth of a degree or so."""
    run = roast(FILTER)
    probe_c = run.channels["bean_probe"]
    assert np.allclose(probe_c * 10, np.round(probe_c * 10), atol=1e-6)
    rough = np.diff(probe_c[200:], n=2)  # the second difference of white noise has √6 times its standard deviation
    assert 0.05 < float(np.std(rough)) / 6**0.5 < 0.15


def test_probe_lags_a_rise_by_rate_times_time_constant():
    """In mid-roast the probe reads low by about its rate times 32 s (first-order lag on a ramp)."""
    run = roast(FILTER)
    low_c = run.truth["bean_c"][480] - np.mean(run.channels["bean_probe"][475:486])
    rate = (run.truth["bean_c"][490] - run.truth["bean_c"][430]) / 60.0
    assert low_c == pytest.approx(rate * 32.0, abs=0.8)


def test_moves_are_recorded_once_each_in_their_order():
    """All settings at charge come first; each step of the schedule is one move, ordered by time."""
    run = roast(FILTER)
    assert [move.control for move in run.moves[:4]] == list(CONTROLS)
    assert len(run.moves) == 4 + len(FILTER.steps)
    assert [move.time_s for move in run.moves] == sorted(move.time_s for move in run.moves)


def test_a_cold_roast_ends_at_its_longest_time():
    """Without heat there is no crack, and the roast ends at its time limit."""
    run = roast(Schedule(charge_c=150.0, longest_s=200.0))
    assert run.moments == {"charge": 0.0, "drop": 200.0}


def test_a_coffee_has_its_own_cracks():
    """First crack occurs at the coffee's own temperature."""
    run = roast(FILTER, GreenCoffee(first_crack_c=196.0))
    assert run.truth["bean_c"][round(run.moments["first_crack"])] == pytest.approx(196.0, abs=0.4)
