"""The curve in a record: moments and phases with their errors, and faults in words."""

import re

import pytest

from roastlog.curve.faults.detection import DECLINING_RATE, USUAL, find_faults
from roastlog.instruments.base import Reading
from tests.conftest import Bench

STALLED_S = 360, 440  # the bench's roast rises at 11.2 °C/min; here it stands still for 80 s


@pytest.fixture
def code(bench: Bench) -> str:
    """A batch dropped after ten minutes."""
    return bench.roast()


def stalled(bench: Bench) -> str:
    """A batch that rises by 11 °C/min after the turn and stalls in mid-browning; returns its code."""
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    live = bench.services.runtime.live("drum-4")
    for second in range(601):
        bench.clock.turn_to(second)
        climbed_s = second - min(max(second - STALLED_S[0], 0), STALLED_S[1] - STALLED_S[0])
        temp_c = 95 + 105 * 2.718 ** (-second / 20) + climbed_s * 0.2 + 0.1 * (second % 3)
        live.take([Reading(bench.clock.now_ms(), "bean_probe", temp_c)])
    for moment, at_s in (("yellow", 270), ("first_crack", 520), ("drop", 600)):
        bench.say(bench.entry("moment", at_s, batch=code, moment=moment))
    return code


def rows(page: str, words: str) -> list[str]:
    """Table rows that start with these words, as text."""
    found = re.findall(r"<tr>.*?</tr>", page, re.DOTALL)
    return [said for row in found if (said := " ".join(re.sub(r"<[^>]+>", " ", row).split())).lower().startswith(words)]


def test_moments_carry_how_sure_they_are(bench: Bench, code: str):
    """The turning point has its error in seconds, the other moments the smoothed rate with its error."""
    page = bench.client.get(f"/batches/{code}").text
    record = bench.services.batches.record(code)
    told = {row.moment: row for row in bench.services.analysis.analyse(record).moments}
    assert re.fullmatch(r"Turning point \d:\d\d ± 1 s \S+ °C 0\.0", rows(page, "turning point")[0])
    # The bench's roast rises by 112 °C in 600 s, exactly, once its first fall has died away.
    assert told["first_crack"].rate_c_per_min == pytest.approx(11.2, abs=0.05)
    assert rows(page, "first crack")[0].endswith("11.2 ± 0.1")
    assert "smoothed after the drop" in page


def test_phases_carry_their_area_above_the_base_that_is_set(bench: Bench, code: str):
    """With a base 20 °C higher each later phase loses 20 °C times its minutes, and the page names the base."""
    before = bench.services.batches.record(code).measures.phases
    bench.services.settings.change({"area_base_c": 120.0})
    after = bench.services.batches.record(code).measures.phases
    for low, high in list(zip(before, after, strict=True))[1:]:
        assert low.area_c_min - high.area_c_min == pytest.approx(20 * low.duration_s / 60)
    page = bench.client.get(f"/batches/{code}").text
    assert "between the bean probe and 120\N{NO-BREAK SPACE}°C" in page
    assert rows(page, "development")[0].split()[-1] == f"{after[-1].area_c_min:.0f}"


def test_in_fahrenheit_all_of_it_is(bench: Bench, code: str):
    """Rates, their errors, areas and the base are in °F; no °C is left in the tables."""
    bench.services.settings.change({"units_temp": "F"})
    page = bench.client.get(f"/batches/{code}").text
    assert rows(page, "first crack")[0].endswith("20.2 ± 0.1")  # 11.2 · 1.8
    area_c_min = bench.services.batches.record(code).measures.phases[-1].area_c_min
    assert rows(page, "development")[0].split()[-1] == f"{area_c_min * 1.8:.0f}"
    assert "between the bean probe and 212\N{NO-BREAK SPACE}°F" in page
    assert "°C" not in page


def test_faults_are_reported_with_their_times_and_the_caution(bench: Bench):
    """A stall of 80 s is in the list with its time and description; the caution calls a rate no rule."""
    page = bench.client.get(f"/batches/{stalled(bench)}").text
    told = re.search(r"<strong>Stall</strong> <span class=\"number\">(\d):(\d\d) to (\d):(\d\d)", page)
    assert told is not None
    start_s, end_s = (int(told[i]) * 60 + int(told[i + 1]) for i in (1, 3))
    assert STALLED_S[0] - 20 <= start_s <= STALLED_S[0] + 20
    assert STALLED_S[1] - 20 <= end_s <= STALLED_S[1] + 40
    assert DECLINING_RATE in page


def test_a_record_has_the_faults_of_the_live_page(bench: Bench):
    """Its faults are those of the live rate with the current thresholds; other thresholds give other faults."""
    code = stalled(bench)
    record = bench.services.batches.record(code)
    bean = record.bean
    channels = record.curve.channels
    live = find_faults(record.curve.time_s, channels[bean], record.traced.rate(bean), record.batch.moments_s, USUAL)
    assert bench.services.analysis.analyse(record).faults == live
    assert "stall" in {fault.kind for fault in live}
    bench.services.settings.change({"stall_c_per_min": 0.1, "crash_c_per_min": 30.0, "fast_crack_c_per_min": 60.0})
    kinds = {fault.kind for fault in bench.services.analysis.analyse(record).faults}
    assert not kinds & {"crash", "fast_crack"}


def test_a_batch_without_a_fault_says_so(bench: Bench, code: str):
    """The warning limits are named as the criteria, and the caution is shown as well."""
    bench.services.settings.change({"fast_crack_c_per_min": 20.0})
    page = bench.client.get(f"/batches/{code}").text
    assert 'None at the <a href="/settings#curve">warning limits' in page
    assert DECLINING_RATE in page


def test_a_batch_in_the_drum_has_its_live_rate_and_no_switch(bench: Bench):
    """Before the drop nothing is smoothed: no column, no switch, no error of a rate."""
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    live = bench.services.runtime.live("drum-4")
    for second in range(200):
        bench.clock.turn_to(second)
        live.take([Reading(bench.clock.now_ms(), "bean_probe", 90 + 110 * 2.718 ** (-second / 20) + second / 6)])
    page = bench.client.get(f"/batches/{code}").text
    assert "data-curve=" not in page
    assert "as they are live" in page
    told = bench.client.get(f"/api/batches/{code}/curve").get_json()
    assert not [name for name in told if name.startswith("smooth_")]


def test_smoothing_does_not_change_the_live_columns(bench: Bench, code: str):
    """Smoothing does not change ``rate_…``; ``smooth_rate_…`` is another column, known where there are readings."""
    told = bench.client.get(f"/api/batches/{code}/curve").get_json()
    shown = bench.services.batches.record(code).traced.rate("bean_probe")
    assert told["rate_bean_probe"][-1] == pytest.approx(shown[-1], abs=0.005)
    assert told["smooth_rate_bean_probe"][:20] == [None] * 20
    assert told["smooth_rate_bean_probe"][-1] == pytest.approx(11.2, abs=0.1)
    assert told["smooth_bean_probe"][300] == pytest.approx(told["bean_probe"][300], abs=0.1)


def test_the_switch_is_made_of_plain_buttons(bench: Bench, code: str):
    """Smoothed, live and both, the first pressed, each with a description."""
    page = bench.client.get(f"/batches/{code}").text
    buttons = re.findall(r'<button[^>]*data-curve="(\w+)" data-says="([^"]+)" aria-pressed="(\w+)"', page)
    assert [(name, pressed) for name, _, pressed in buttons] == [
        ("smooth", "true"),
        ("live", "false"),
        ("both", "false"),
    ]
    assert f'id="curve-says" role="status">{buttons[0][1]}</p>' in page
