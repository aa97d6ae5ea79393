"""Axes of a curve: ranges, ticks and the distance of labels, as pure functions in a real browser."""

import base64
import math
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from playwright.sync_api import Browser

from tests.bench import roast
from tests.checkout import ROOT

Call = Callable[..., Any]
TEMPS = st.lists(st.floats(5, 400), min_size=1, max_size=30)
RATE_LIMITS = -30, 60
END_S = 12 * 60


@pytest.fixture(scope="module")
def call(browser: Browser) -> Iterator[Call]:
    """Call a function of axes.js; null in a column is a gap."""
    page = browser.new_page()
    script = (ROOT / "static/js/core/figure/axes.js").read_bytes()
    page.evaluate(
        "async (url) => { window.axes = await import(url); }",
        f"data:text/javascript;base64,{base64.b64encode(script).decode()}",
    )
    gaps = "(value) => Array.isArray(value) ? value.map(gaps) : value === null ? NaN : value"
    act = f"([name, given]) => {{ const gaps = {gaps}; return axes[name](...given.map(gaps)); }}"

    def called(name: str, *values: object) -> Any:  # noqa: ANN401 - whatever the function returns
        return page.evaluate(act, [name, values])

    yield called
    page.close()


@given(columns=st.lists(TEMPS, min_size=1, max_size=4))
def test_every_temperature_has_a_tenth_of_headroom(call: Call, columns: list[list[float]]):
    """A record's axis has at least a tenth of the span free at both ends, and less than a step more."""
    low, high = min(map(min, columns)), max(map(max, columns))
    start, end = call("tempEnds", columns, {"isLive": False})
    assert start % 20 == end % 20 == 0
    assert (high - low) / 10 - 1e-9 <= low - start < (high - low) / 10 + 20
    assert (high - start) / 10 - 1e-9 <= end - high < (high - start) / 10 + 20


@given(temps=TEMPS, share=st.floats(0, 0.3))
def test_labels_at_the_top_have_their_share(call: Call, temps: list[float], share: float):
    """The share of the axis that the moments' labels take stays free of curves."""
    start, end = call("tempEnds", [temps], {"isLive": True, "labelShare": share})
    assert end - max(temps) >= share * (end - start) - 1e-6


@given(temps=TEMPS, others=TEMPS)
def test_a_live_axis_only_grows(call: Call, temps: list[float], others: list[float]):
    """More readings never make the live axis of the temperatures shorter, at either end."""
    start, end = call("tempEnds", [temps], {"isLive": True})
    later_start, later_end = call("tempEnds", [temps + others], {"isLive": True})
    assert later_start <= start
    assert later_end >= end


def test_without_readings_there_is_an_axis(call: Call):
    """Neither an empty curve nor one of gaps leaves an axis without ends."""
    for columns in ([], [[]], [[None, None]]):
        start, end = call("tempEnds", columns, {"isLive": False})
        assert start < 60
        assert end > 215
        assert call("rateEnds", [0, 1], columns, {"isLive": True, "fromS": -math.inf}) == [0, 30]


@given(rates=st.lists(st.floats(-900, 900), min_size=1, max_size=40), from_s=st.integers(0, 40))
def test_rates_from_the_turning_point_on_are_in_sight(call: Call, rates: list[float], from_s: int):
    """Every rate after the turning point is within the axis; earlier ones and disturbances do not extend it."""
    start, end = call("rateEnds", list(range(len(rates))), [rates], {"isLive": True, "fromS": from_s})
    least, most = RATE_LIMITS
    counted = [rate for rate in rates[from_s:] if least <= rate <= most]
    assert all(start <= rate <= end for rate in counted)
    low, high = min([0.0, *counted]), max([25.0, *counted])
    assert start >= low - (high - low) / 10 - 5
    assert high + (high - low) / 10 <= end + 1e-9
    assert end < high + (high - low) / 10 + 5


def test_the_fall_before_the_turning_point_sets_no_scale(call: Call):
    """The turning point is known once the temperature has risen; until then no rate counts."""
    times, temps = list(range(6)), [200.0, 140.0, 100.0, 90.0, None, 92.0]
    assert call("turnedS", times, [temps]) == 3
    assert call("turnedS", times[:4], [temps[:4]]) == math.inf
    assert call("turnedS", times, [temps, [200.0, 50.0, 60.0, 70.0, 80.0, 90.0]]) == 3
    rates = [-900.0, -500.0, -80.0, 0.5, 4.0, 9.0]
    assert call("rateEnds", times, [rates], {"isLive": False, "fromS": 3}) == [0, 10]


def test_a_probe_that_drops_out_late_is_no_turning_point(call: Call):
    """A lowest reading in minute 6 is a fault: the turning point stays where it was."""
    times = [0, 60, 120, 240, 360, 420]
    assert call("turnedS", times, [[200.0, 80.0, 100.0, 140.0, 0.0, 180.0]]) == 60


@given(newest_s=st.floats(216, 3600), words_share=st.floats(0, 0.36))
def test_now_is_at_about_two_thirds(call: Call, newest_s: float, words_share: float):
    """From minute 4 on the newest reading is within 53 and 72 % of the width, and the labels fit beside it."""
    end_s = call("timeEnd", newest_s, {"wordsShare": words_share})
    assert end_s % 30 == 0
    assert newest_s / end_s <= min(0.72, 1 - words_share) + 1e-9
    assert newest_s / end_s >= min(0.72, 1 - words_share) / 1.2 - 1e-9


def test_an_expected_moment_extends_the_axis(call: Call):
    """The axis contains a moment to come, by the same steps."""
    assert call("timeEnd", 200, {"dueS": 533}) == call("timeEnd", 533 * 0.72) == 570


def test_live_axes_change_seldom(call: Call):
    """In a roast of twelve minutes the axes change a few times each, and never twice within half a minute."""
    columns = roast.columns(END_S)
    temps = [columns[name] for name in ("bean_probe", "bean_surface", "exhaust")]
    rates = [columns["rate_bean_probe"], columns["rate_bean_surface"]]
    seen: dict[str, list[tuple[int, list[float]]]] = {"time": [], "temp": [], "rate": []}
    for now_s in range(0, END_S, 5):
        until = slice(0, now_s + 1)
        times = columns["t_s"][until]
        from_s = call("turnedS", times, [temp[until] for temp in temps[:2]])
        ends = {
            "time": [0, call("timeEnd", now_s)],
            "temp": call("tempEnds", [temp[until] for temp in temps], {"isLive": True}),
            "rate": call("rateEnds", times, [rate[until] for rate in rates], {"isLive": True, "fromS": from_s}),
        }
        for name, pair in ends.items():
            if not seen[name] or seen[name][-1][1] != pair:
                seen[name].append((now_s, pair))
    assert len(seen["time"]) <= 9
    assert len(seen["temp"]) <= 3
    assert len(seen["rate"]) <= 4
    changes = [at_s for at_s, _ in seen["time"]]
    assert all(later - earlier >= 30 for earlier, later in pairwise(changes))


@given(unit_px=st.floats(0.1, 60), least_px=st.floats(10, 20))
def test_ticks_keep_their_distance(call: Call, unit_px: float, least_px: float):
    """The step is the smallest round one whose ticks are far enough apart."""
    step = call("tickStep", unit_px, least_px)
    smaller = [known for known in (1, 2, 5, 10, 20, 50, 100, 200) if known < step]
    assert step * unit_px >= least_px
    assert all(known * unit_px < least_px for known in smaller)


@given(values=st.lists(st.one_of(st.none(), st.floats(0, 100)), max_size=6))
def test_labels_are_apart_and_within_the_panel(call: Call, values: list[float | None]):
    """Labels keep their order and distance, none is below the floor or above the ceiling; NaN stays."""
    placed = call("apart", values, 5, {"floor": 20, "ceiling": 90})
    assert [value is None for value in values] == [math.isnan(height) for height in placed]
    pairs = sorted((value, at) for value, at in zip(values, placed, strict=True) if value is not None)
    assert all(later - earlier >= 5 - 1e-9 for (_, earlier), (_, later) in pairwise(pairs))
    assert all(20 - 1e-9 <= at <= 90 + 1e-9 for _, at in pairs)
