"""The keypad for readings that a person takes from a thermometer."""

from html import unescape

import pytest

from roastlog.instruments.base import Reading
from tests.conftest import START_MS, Bench
from tests.web.test_pages import text_of

PATH = "/machines/drum-4/hand"


@pytest.fixture
def bench(bench: Bench) -> Bench:
    """A bench with a manual bean probe."""
    form = {"kind": "hand", "name": "Bean probe", "role": "bean_probe"}
    assert bench.client.post("/machines/drum-4/channels/bean_probe", data=form).status_code == 303
    return bench


def test_a_reading_has_the_time_of_its_first_key(bench: Bench):
    """It is stored with that time and displayed."""
    bench.clock.turn_to(60)
    form = {"channel": "bean_probe", "value": "183,6", "at_ms": str(START_MS + 58_000)}
    answer = bench.client.post(PATH, data=form)
    assert answer.status_code == 303
    assert bench.services.live.rows_since("drum-4", START_MS) == [(START_MS + 58_000, {"bean_probe": 183.6})]
    assert "Bean probe 183.6 °C" in text_of(bench.client.get(answer.location).text)


def test_a_reading_in_fahrenheit_is_kept_in_celsius(bench: Bench):
    """The roastery's unit applies here too."""
    bench.services.settings.change({"units_temp": "F"})
    bench.client.post(PATH, data={"channel": "bean_probe", "value": "392"})
    assert bench.services.live.rows_since("drum-4", 0)[-1][1] == {"bean_probe": 200.0}


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"channel": "bean_probe", "value": ""}, "Type what the thermometer shows"),
        ({"channel": "bean_probe", "value": "abc"}, "Reading must be a number"),
        ({"channel": "bean_probe", "value": "9999"}, "Temperature must be"),
        ({"channel": "bean_surface", "value": "20"}, "accepts no sent or typed readings"),
        ({"channel": "<b>", "value": "20"}, "There is no channel"),
        ({"channel": "bean_probe", "value": "20", "at_ms": str(START_MS * 2)}, "ahead of the server's clock"),
    ],
)
def test_invalid_reading_is_refused_with_a_reason(bench: Bench, form, says):
    """Nothing is stored, and the typed text remains."""
    if form["channel"] == "bean_surface":
        bench.services.machines.add_practice()
        surface = {"kind": "simulated", "name": "Surface", "role": "bean_surface"}
        bench.client.post("/machines/drum-4/channels/bean_surface", data=surface)
    answer = bench.client.post(PATH, data=form)
    assert answer.status_code == 422
    assert says in unescape(answer.text)
    assert not [values for _, values in bench.services.live.rows_since("drum-4", 0) if "bean_probe" in values]


def test_a_machine_without_such_a_channel_has_no_keypad(bench: Bench):
    """The page names the Set one up on the machine, where such a channel can be added."""
    form = {"kind": "http", "name": "Bean probe", "role": "bean_probe"}
    bench.client.post("/machines/drum-4/channels/bean_probe", data=form)
    answer = bench.client.get(PATH)
    assert answer.status_code == 404
    assert "Set one up on the machine" in answer.text


def test_a_reading_counts_live_however_slowly_it_was_typed(bench: Bench):
    """Sent long after its second, it is still the current number, and one point of the curve."""
    bench.say(bench.entry("moment", 0, batch=bench.open(), moment="charge"))
    live = bench.services.runtime.live("drum-4")
    for second in range(61):
        bench.clock.turn_to(second)
        live.take([Reading(bench.clock.now_ms(), "bean_surface", 90.0 + second)])
    assert bench.push((52, "bean_probe", 183.6))["accepted"] == 1
    assert live.numbers().values["bean_probe"] == 183.6
    assert live.numbers().heard_ms["bean_probe"] == START_MS + 52_000
    points = live.columns()["bean_probe"]
    assert [(at_s, value) for at_s, value in enumerate(points) if value is not None] == [(52, 183.6)]
    assert bench.push((52, "bean_probe", 183.6))["accepted"] == 1  # sent twice, it is still one
    assert live.columns()["bean_probe"] == points
