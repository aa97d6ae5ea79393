"""Suggestions: detection of a charge by the probe, and the usual marks of a coffee's earlier batches."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest

from roastlog.curve.forecast.suggestions import describe_likely, detect_charge, usual_moment
from roastlog.curve.roast import Roast
from roastlog.errors import CurveError
from roastlog.physics.roaster import Roaster
from roastlog.physics.sensors import Sensors
from tests.kept import kept
from tests.roast_corpus import Known, _way, batches, coffee, machine, read

SEEN_S = 90  # as much of the past as a live page uses
CONTROLS = ("hot_air", "radiant", "drum_heat")


class Day(NamedTuple):
    """A machine for an hour: idle, charged, dropped, cooled and warmed up again. [s], [°C]"""

    time_s: np.ndarray
    probe_c: np.ndarray
    charged_s: float
    dropped_s: float


@kept
def a_day(seed: int) -> Day:
    """The noise-free probe of one such hour."""
    design, sensor_design = machine(seed)
    way, rng = _way(seed), np.random.default_rng([50, seed])
    roaster = Roaster(design)
    for name, level in way.start.items():
        roaster.settings.put(name, level)
    roaster.warm_up(way.charge_c)
    sensors, read_c = Sensors(roaster, design=sensor_design), []

    def go_on(duration_s: float) -> None:
        for _ in range(round(duration_s)):
            roaster.step()
            sensors.step()
            read_c.append(sensors.read()["bean_probe"])

    go_on(rng.uniform(120, 240))
    charged_s = len(read_c)
    roaster.charge(way.green_kg, coffee(seed))
    steps = sorted((step for step in way.steps if step.at_s is not None), key=lambda step: step.at_s or 0.0)
    for step in steps:
        go_on(charged_s + (step.at_s or 0.0) - len(read_c))
        roaster.settings.put(step.control, step.setting)
    while not roaster.first_crack and len(read_c) - charged_s < 1200:
        go_on(1)
    go_on(way.development_s)
    dropped_s = len(read_c)
    roaster.drop()
    for name in CONTROLS:  # heat off, air on, as a machine is cooled between two batches
        roaster.settings.put(name, 0.0)
    go_on(rng.uniform(60, 240))
    for name in CONTROLS:
        roaster.settings.put(name, way.start[name])
    go_on(rng.uniform(60, 180))
    return Day(np.arange(1.0, len(read_c) + 1), np.array(read_c), charged_s, dropped_s)


def seen_while_it_came(time_s: np.ndarray, temp_c: np.ndarray) -> list[tuple[float, float]]:
    """Each detected charge: the time of the query, and the result, given only the data until then."""
    told = []
    for row in range(30, time_s.size):
        past = slice(max(0, row - SEEN_S), row)
        if (found := detect_charge(time_s[past], temp_c[past])) is not None:
            told.append((float(time_s[row - 1]), found))
    return told


@pytest.mark.parametrize(("sd_c", "step_c"), [(0.25, 0.1), (1.0, 1.0)])
def test_every_charge_is_seen_and_nothing_else(sd_c: float, step_c: float):
    """On 25 simulated machines, with spikes and dropouts, each charge alone is detected within 10 s, to 1 s."""
    # Queried each second, some 7 hours in all: the idle drum, the roast, the drop, cooling and warming up give no false
    # alarm. Recall 25 of 25, no false alarm [computed; the seeds were not tuned on].
    for seed in range(400, 425):
        day, rng = a_day(seed), np.random.default_rng([51, seed])
        temp_c = read(day.probe_c, rng, sd_c=sd_c, step_c=step_c)
        temp_c[rng.random(temp_c.size) < 0.05] = np.nan
        temp_c[rng.random(temp_c.size) < 0.01] = 400.0
        told = seen_while_it_came(day.time_s, temp_c)
        assert told
        assert told[0][0] - day.charged_s <= 10
        assert {round(found - day.charged_s) for _, found in told} <= {-1, 0, 1}
        assert told[-1][0] <= day.charged_s + SEEN_S  # later it is outside the window


def fall(time_s: np.ndarray, at_s: float = 60.0, lag_s: float = 25.0) -> np.ndarray:
    """An idle drum at 200 °C, and a probe that falls towards 60 °C from a certain time on."""
    return 60 + 140 * np.exp(-np.maximum(time_s - at_s, 0) / lag_s)


@pytest.mark.parametrize("every_s", [0.25, 1.0, 2.0, 5.0])
def test_a_charge_is_seen_at_any_pace(every_s: float):
    """A charge is detected from four readings a second to one in 5 s, on any time scale."""
    time_s = np.arange(0, 90, every_s)
    found = detect_charge(time_s + 1e6, fall(time_s))
    assert found == pytest.approx(1e6 + 60, abs=1.0)


def test_the_newest_charge_counts():
    """Of two falls the later one is reported, after the drum is hot again."""
    time_s = np.arange(0, 400, 1.0)
    temp_c = np.where(time_s < 200, fall(time_s), np.minimum(200, 60 + (time_s - 200) * 2))
    temp_c = np.where(time_s >= 300, fall(time_s, at_s=330.0), temp_c)
    assert detect_charge(time_s, temp_c) == pytest.approx(330, abs=1)


def test_no_false_charge():
    """Cooling by 60 °C/min, a step by −100 °C, a broken wire, and a gap over the fall are no charge."""
    time_s = np.arange(0, 120, 1.0)
    assert detect_charge(time_s, 220 - time_s) is None
    assert detect_charge(time_s, np.where(time_s < 60, 200.0, 100.0)) is None
    assert detect_charge(time_s, np.where(time_s < 60, 200.0, np.nan)) is None
    silent = fall(time_s)
    silent[62:75] = np.nan
    assert detect_charge(time_s, silent) is None
    assert detect_charge([], []) is None
    with pytest.raises(CurveError):
        detect_charge([0.0, 1.0], [200.0])


def as_roast(known: Known) -> Roast:
    """The data that the live page would have of a simulated roast."""
    return Roast(known.time_s, known.probe_c, known.rate_c_per_min, known.moments_s)


def test_the_usual_mark_is_the_median_with_its_count():
    """By hand: marks at 150, 152 and 157 °C, at 200, 210 and 220 s; a roast without the mark is ignored."""
    time_s = np.arange(0, 400, 1.0)
    marks = [(200.0, 150.0), (210.0, 152.0), (220.0, 157.0)]
    earlier = [Roast(time_s, np.full(400, temp_c), np.zeros(400), {"yellow": at_s}) for at_s, temp_c in marks]
    found = usual_moment([*earlier, replace(earlier[0], moments_s={})], "yellow")
    assert found is not None
    assert (found.temp_c, found.time_s, found.batches) == (152.0, 210.0, 3)
    # Mean distance from the median 7/3, by the formula: √(π/2) · 7/3 · √(3/2) · √(1 + π/6).
    assert found.temp_spread_c == pytest.approx(4.4211, abs=1e-3)
    assert usual_moment(earlier[:2], "yellow") is None
    assert usual_moment(earlier, "first_crack") is None
    assert [found.place(temp_c) for temp_c in (140.0, 150.0, 156.0, 157.0)] == ["ahead", "there", "there", "past"]


@pytest.mark.parametrize("moment", ["yellow", "first_crack"])
def test_the_next_mark_lies_within_the_spread_about_two_times_in_three(moment: str):
    """Of the next batches of ten simulated coffees, after 4 to 9 earlier ones, 55 to 80 % lie within the spread."""
    # It would be 68 % for normal values with a known spread; here it is estimated from a few batches.
    within = []
    for seed in range(300, 310):
        roasts = [as_roast(known) for known in batches(seed, 10)]
        for count in range(4, 10):
            found = usual_moment(roasts[:count], moment)
            assert found is not None
            at_c = float(np.interp(roasts[count].moments_s[moment], roasts[count].time_s, roasts[count].temp_c))
            within.append(abs(at_c - found.temp_c) <= found.temp_spread_c)
    assert 0.55 <= np.mean(within) <= 0.80


def test_a_suggestion_states_its_basis_and_gives_no_order():
    """It states the number of batches, the usual temperature with its spread, and the probe, and gives no order."""
    time_s = np.arange(0, 400, 1.0)
    earlier = [
        Roast(time_s, np.full(400, temp_c), np.zeros(400), {"yellow": 200.0})
        for temp_c in (151.0, 151.0, 152.0, 152.0, 153.0, 153.0)
    ]
    found = usual_moment(earlier, "yellow")
    assert found is not None
    hard = "\N{NO-BREAK SPACE}"
    assert describe_likely(found) == f"The last 6 batches were marked yellow at 152 ± 1{hard}°C."
    assert describe_likely(found, 152.4).endswith("; the probe is there now.")
    assert describe_likely(found, 140.0).endswith("; the probe is not there yet.")
    assert describe_likely(found, 160.0, "F") == (
        f"The last 6 batches were marked yellow at 306 ± 2{hard}°F; the probe is past that."  # 152 · 1.8 + 32 = 305.6
    )
