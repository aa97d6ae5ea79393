"""The check of a probe, and its stored correction with the day."""

from html import unescape

import pytest

from roastlog.machine.boiling_point import air_pressure_kpa, boiling_point_c
from tests.conftest import Bench
from tests.web.test_pages import text_of

PATH = "/machines/drum-4/channels/bean_probe/check"


def probe(bench: Bench):
    """The current description of the bean probe."""
    return bench.services.machines.get("drum-4").channels[0]


def at_rest(bench: Bench, *values: float) -> None:
    """Make the probe read these values, a second apart."""
    for second, value in enumerate(values):
        bench.clock.turn_to(second)
        bench.push((second, "bean_probe", value))


def test_ice_water_gives_the_offset_and_it_is_kept_with_its_day(bench: Bench):
    """The offset is the reference less the mean reading, and applies to each reading from then on."""
    at_rest(bench, 0.7, 0.8, 0.9)
    shown = text_of(bench.client.post(PATH, data={"reference": "ice", "then": "compare"}).text)
    assert "Reading, without offset 0.8 °C" in shown
    assert "New offset -0.8 °C" in shown
    assert probe(bench).offset_c == 0
    answer = bench.client.post(PATH, data={"reference": "ice", "read": "0.80", "then": "keep"})
    assert (answer.status_code, answer.location) == (303, "/machines/drum-4/setup")
    assert probe(bench).offset_c == -0.8
    assert probe(bench).checked.basis == "ice water, 0.0 °C; it read 0.8 °C"
    assert probe(bench).checked.on.year == 2026
    bench.clock.turn_to(10)
    bench.push((10, "bean_probe", 100.8))
    assert bench.services.live.view("drum-4").machine.id == "drum-4"
    assert bench.services.runtime.live("drum-4").numbers().values["bean_probe"] == 100.0


def test_a_check_is_shown_in_the_language_of_its_reader(bench: Bench):
    """A check stored by a German device is English on an English page; the entry holds numbers and a key only."""
    german = {"Accept-Language": "de"}
    data = {"reference": "ice", "read": "0,8", "then": "keep"}
    assert bench.client.post(PATH, data=data, headers=german).status_code == 303
    assert "against ice water, 0.0 °C; it read 0.8 °C" in text_of(bench.client.get(PATH).text)
    assert "Eiswasser, 0,0 °C; gelesen 0,8 °C" in text_of(bench.client.get(PATH, headers=german).text)
    told = bench.client.get("/api/machines/drum-4").get_json()["entries"][-1]
    assert told["body"] == {
        "channel": "bean_probe",
        "offset_c": -0.8,
        "on": probe(bench).checked.on.isoformat(),
        "reference": "ice",
        "reference_c": 0.0,
        "read_c": 0.8,
    }


def test_a_check_stored_as_a_sentence_is_shown_unchanged(bench: Bench):
    """Earlier versions stored the sentence itself."""
    check = {"channel": "bean_probe", "offset_c": -1, "on": "2026-11-20", "against": "Eiswasser"}
    raw = bench.entry("probe_checked", 1, **check) | {"machine": None, "about": "machine drum-4"}
    assert bench.say(raw)[0]["status"] == "stored"
    assert "Last checked 2026-11-20 against Eiswasser." in text_of(bench.client.get(PATH).text)


@pytest.mark.parametrize(
    "facts",
    [
        {},
        {"reference": "ice", "reference_c": 0},
        {"against": "ice", "reference": "ice", "reference_c": 0, "read_c": 1},
        {"against": "ice", "on": "2026-02-30"},
    ],
)
def test_an_incomplete_check_is_refused(bench: Bench, facts: dict[str, object]):
    """An entry has either the sentence or the measured reference, and a date that exists."""
    check = {"channel": "bean_probe", "offset_c": -1, "on": "2026-11-20"} | facts
    raw = bench.entry("probe_checked", 1, **check) | {"machine": None, "about": "machine drum-4"}
    assert bench.say(raw)[0]["status"] == "refused"
    assert probe(bench).checked is None


def test_a_second_check_does_not_count_the_first_offset_twice(bench: Bench):
    """The check compares the probe's own value, before any offset."""
    at_rest(bench, 2.0)
    bench.client.post(PATH, data={"reference": "ice", "then": "keep"})
    assert probe(bench).offset_c == -2.0
    bench.clock.turn_to(20)
    bench.push((20, "bean_probe", 2.5))
    bench.client.post(PATH, data={"reference": "ice", "then": "keep"})
    assert probe(bench).offset_c == -2.5


@pytest.mark.parametrize(
    ("form", "reference_c"),
    [
        ({"reference": "altitude", "altitude": "1500"}, boiling_point_c(air_pressure_kpa(1500))),
        ({"reference": "pressure", "pressure": "1013,25"}, boiling_point_c(101.325)),
        ({"reference": "thermometer", "thermometer": "21,4"}, 21.4),
    ],
)
def test_each_reference_has_its_temperature(bench: Bench, form, reference_c):
    """Boiling water by altitude or pressure, or a thermometer beside it."""
    answer = bench.client.post(PATH, data={**form, "read": "90", "then": "keep"})
    assert answer.status_code == 303
    assert probe(bench).offset_c == pytest.approx(reference_c - 90, abs=0.006)


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"reference": "ice"}, "No reading in the last 10 s"),
        ({"reference": "altitude", "read": "95"}, "Required for this reference"),
        ({"reference": "altitude", "read": "95", "altitude": "99999"}, "Altitude must be"),
        ({"reference": "pressure", "read": "95", "pressure": "101,3"}, "Pressure must be 400–1100 hPa"),
        ({"reference": "fire", "read": "95"}, "Choose a reference"),
        ({"reference": "ice", "read": "9999"}, "Probe reading must be between -50 and 500 °C, not 9999 °C"),
        ({}, "Choose a reference"),
    ],
)
def test_an_incomplete_check_is_reported(bench: Bench, form, says):
    """The message is at the field, and nothing is stored."""
    answer = bench.client.post(PATH, data={**form, "then": "keep"})
    assert answer.status_code == 422
    assert says in unescape(answer.text)
    assert probe(bench).checked is None


def test_a_probe_that_is_far_off_is_asked_about_and_an_absurd_one_refused(bench: Bench):
    """A large offset needs confirmation, an absurd one is refused: it is no remedy for a wrong register."""
    far = bench.client.post(PATH, data={"reference": "ice", "read": "8", "then": "compare"}).text
    assert "More than a sound probe is off" in far
    absurd = bench.client.post(PATH, data={"reference": "ice", "read": "327", "then": "keep"})
    assert absurd.status_code == 200
    assert "Too much for an offset" in absurd.text
    assert probe(bench).checked is None


def test_a_probe_that_still_moves_is_reported(bench: Bench):
    """A probe that has not settled in the water gives a request to wait."""
    at_rest(bench, 3.0, 2.0, 1.0)
    assert "wait until it settles" in bench.client.get(PATH).text


def test_an_offset_typed_by_hand_is_of_no_check(bench: Bench):
    """Changing another field keeps the check, changing the offset removes it."""
    bench.client.post(PATH, data={"reference": "ice", "read": "1", "then": "keep"})
    form = {"kind": "http", "name": "Probe", "role": "bean_probe", "offset_c": "-1"}
    bench.client.post("/machines/drum-4/channels/bean_probe", data=form)
    assert (probe(bench).name, probe(bench).checked is not None) == ("Probe", True)
    bench.client.post("/machines/drum-4/channels/bean_probe", data=form | {"offset_c": "-2"})
    assert probe(bench).checked is None


def test_a_control_has_no_probe(bench: Bench):
    """A control and an unknown channel have no page to check."""
    assert bench.client.get("/machines/drum-4/channels/radiant/check").status_code == 404
