"""The server's advice on the batch in the drum: sent on change, made without watchers, ended at the drop."""

import json
import re

import numpy as np
import pytest

from roastlog.instruments.base import Reading
from tests.conftest import SHEET, START_MS, Bench


def advice(bench: Bench) -> dict:
    """The advice in the view of a page."""
    bench.services.runtime.update_advice()
    return bench.client.get("/machines/drum-4/view").get_json()["outlook"]


def sent(bench: Bench) -> tuple[bool, str]:
    """Whether the served live page shows advice before any script has run, and its text."""
    page = bench.client.get("/machines/drum-4").text
    (tag,) = re.findall(r'<div [^>]*id="advice"[^>]*>', page)
    (text,) = re.findall(r'id="advice-text">([^<]*)<', page)
    return "hidden" not in tag, text


def feed(bench: Bench, from_s: int, temps_c: np.ndarray) -> None:
    """A reading of the bean probe each second."""
    live = bench.services.runtime.live("drum-4")
    for second, temp_c in enumerate(temps_c, start=from_s):
        bench.clock.turn_to(second)
        live.take([Reading(bench.clock.now_ms(), "bean_probe", float(temp_c))])


def falling(seconds: int) -> np.ndarray:
    """A probe of 200 °C in cold beans of about 90 °C, with noise of a tenth."""
    noise = np.random.default_rng(5).normal(0.0, 0.1, seconds)
    return np.round(90 + 110 * np.exp(-np.arange(seconds) / 25) + noise, 1)


def test_an_unmarked_charge_is_suggested_and_not_marked(bench: Bench):
    """An unmarked charge is suggested with the time of the fall, not marked; a person's mark ends the suggestion."""
    code = bench.open()
    feed(bench, -60, np.full(60, 200.0) + np.random.default_rng(4).normal(0.0, 0.1, 60).round(1))
    assert advice(bench)["suggestions"] == []
    feed(bench, 0, falling(25))
    (seen,) = advice(bench)["suggestions"]
    assert seen["moment"] == "charge"
    assert abs(seen["at_ms"] - START_MS) <= 2000
    assert bench.services.batches.detail(code).moments == {}
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    assert advice(bench)["suggestions"] == []


def test_no_readings_no_advice(bench: Bench):
    """A waiting batch with a silent machine, and a charged one without a reading, cause no error."""
    code = bench.open()
    empty = {"ahead": [], "says": "", "heads_up": [], "suggestions": []}
    assert advice(bench) == empty
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    assert advice(bench) == empty


def test_a_fault_is_reported_while_it_lasts_in_the_units_of_the_house(bench: Bench):
    """A probe that repeats a reading for a minute is in doubt; at the drop all advice ends."""
    bench.services.settings.change({"units_temp": "F"})
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    rising = np.round(95 + np.arange(300) * 0.2 + np.random.default_rng(1).normal(0, 0.1, 300), 1)
    feed(bench, 0, rising)
    assert advice(bench)["heads_up"] == []
    assert sent(bench) == (False, "")
    feed(bench, 300, np.full(70, 155.0))
    (stuck,) = advice(bench)["heads_up"]
    assert (stuck["kind"], abs(stuck["start_s"] - 300) <= 3) == ("probe", True)
    assert "read the same" in stuck["text"]
    assert sent(bench) == (True, stuck["text"])
    bench.say(bench.entry("moment", 370, batch=code, moment="drop"))
    assert advice(bench) == {"ahead": [], "says": "", "heads_up": [], "suggestions": []}
    assert sent(bench) == (False, "")


def test_a_threshold_of_the_settings_counts(bench: Bench):
    """A first crack at 11 °C/min is fast with a threshold of 8, and is not with the default of 12."""
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    feed(bench, 0, np.round(90 + np.arange(560) * 11 / 60 + np.random.default_rng(2).normal(0, 0.1, 560), 1))
    bench.say(bench.entry("moment", 555, batch=code, moment="first_crack"))
    feed(bench, 560, np.round(90 + np.arange(560, 566) * 11 / 60, 1))
    assert [found["kind"] for found in advice(bench)["heads_up"]] == []
    bench.services.settings.change({"fast_crack_c_per_min": 8.0})
    assert [found["kind"] for found in advice(bench)["heads_up"]] == ["fast_crack"]


@pytest.mark.parametrize("stuck_s", [20.0, 300.0])
def test_a_probe_setting_counts_on_the_live_page_as_in_the_record(bench: Bench, stuck_s: float):
    """A probe that repeats a reading for 40 s is in doubt with a limit of 20 s, and not with one of 300 s."""
    bench.services.settings.change({"probe_stuck_s": stuck_s})
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    feed(bench, 0, np.round(95 + np.arange(300) * 0.2 + np.random.default_rng(1).normal(0, 0.1, 300), 1))
    feed(bench, 300, np.full(40, 155.0))
    live = [found["kind"] for found in advice(bench)["heads_up"]]
    assert live == (["probe"] if stuck_s < 40 else [])
    assert [fault.kind for fault in bench.services.analysis.analyse(bench.services.batches.record(code)).faults] == live


def test_of_two_faults_the_newest_comes_first(bench: Bench):
    """A rate that falls to nothing within seconds is a crash, and if it stays there a stall, which starts later."""
    code = bench.open()
    for moment, at_s in ("charge", 0), ("yellow", 300), ("first_crack", 550):
        bench.say(bench.entry("moment", at_s, batch=code, moment=moment))
    noise = np.random.default_rng(2).normal(0, 0.1, 610)
    feed(bench, 0, np.round(90 + np.minimum(np.arange(610), 560) * 11 / 60 + noise, 1))
    found = [(one["kind"], one["start_s"]) for one in advice(bench)["heads_up"]]
    assert [kind for kind, _ in found] == ["stall", "crash"]
    assert found[0][1] > found[1][1]


def test_the_next_moment_is_likely_where_it_was_marked_before(bench: Bench):
    """With three earlier batches of the coffee, the probe at their temperature of yellow gives a suggestion."""
    for number in range(3):
        bench.roast(start_s=1500 * number, coffee="Alder washed")
    bench.services.runtime.live("drum-4").save()
    start_s = 1500 * 3
    code = bench.open(start_s - 20, coffee="Alder washed")
    bench.say(bench.entry("moment", start_s, batch=code, moment="charge"))
    curve = 95 + 105 * np.exp(-np.arange(320) / 20) + np.arange(320) / 600 * 112
    feed(bench, start_s, curve[:250])
    assert advice(bench)["suggestions"] == []
    feed(bench, start_s + 250, curve[250:305])
    (yellow,) = advice(bench)["suggestions"]
    assert (yellow["moment"], yellow["at_ms"]) == ("yellow", None)
    assert "3 batches" in yellow["text"]


def test_first_crack_is_forecast_by_earlier_batches(bench: Bench):
    """Three batches cracked at 8:42; half-way through the fourth the server forecasts that and the planned drop."""
    for number in range(3):
        bench.roast(start_s=1500 * number, coffee="Alder washed")
    bench.services.runtime.live("drum-4").save()
    start_s = 1500 * 3
    code = bench.open(start_s - 20, coffee="Alder washed", plan={"development_s": 80})
    bench.say(bench.entry("moment", start_s, batch=code, moment="charge"))
    curve = 95 + 105 * np.exp(-np.arange(430) / 20) + np.arange(430) / 600 * 112
    feed(bench, start_s, curve[:310])
    bench.say(bench.entry("moment", start_s + 300, batch=code, moment="yellow"))
    feed(bench, start_s + 310, curve[310:420])
    told = advice(bench)
    crack, drop = told["ahead"]
    assert (crack["moment"], crack["label"], crack["basis"]) == ("first_crack", "First crack", "batches")
    assert abs(crack["time_s"] - 522) < 25
    assert crack["low_s"] <= crack["time_s"] <= crack["high_s"]
    assert (drop["moment"], drop["time_s"]) == ("drop", crack["time_s"] + 80)
    assert "3" in told["says"]


def test_a_guide_from_another_machine_is_not_used(bench: Bench):
    """The probe of another machine is not comparable: the outlook uses the live curve alone."""
    guide = bench.roast(coffee="Alder washed")
    sheet = SHEET.replace('"drum-4"', '"drum-5"').replace("Four-kilo", "Other")
    bench.services.machines.add(sheet)
    past, other = bench.services.runtime.history, bench.services.machines.get("drum-5")
    assert past.roast(guide, other, bench.clock.now_ms()).temp_c.size == 0


def test_watchers_receive_only_changed_advice(bench: Bench):
    """An event is sent when the advice has changed, and not again while it stays."""
    bench.open()
    hub = bench.services.live.hub("drum-4")
    feed(bench, -60, np.full(60, 200.0))
    watch = hub.watch()
    next(watch)
    feed(bench, 0, falling(25))
    bench.services.runtime.update_advice()
    bench.services.runtime.update_advice()
    told = [event for event in next(watch) if event.name == "outlook"]
    assert len(told) == 1
    assert json.loads(told[0].data)["suggestions"][0]["moment"] == "charge"
    watch.close()
