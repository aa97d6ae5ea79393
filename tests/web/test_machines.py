"""The pages to set up a machine: forms with the rules of the sheet."""

import re
import socket
import threading
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from roastlog.errors import SheetError
from roastlog.instruments.base import Reading
from roastlog.instruments.trial import Trial
from roastlog.machine.model import Channel
from roastlog.machine.sheet import parse_sheet
from roastlog.machine.sources import ModbusPoint, MqttPoint
from roastlog.services import Speaker, open_services
from roastlog.web.owner.part_form import CHANNEL_KINDS, LABELS, MODELS, OWN, typed_of
from tests.conftest import SHEET, Bench, HandClock
from tests.web.test_pages import text_of

MODBUS = {
    "kind": "modbus-tcp",
    "name": "Drum wall",
    "role": "drum",
    "modbus.host": "127.0.0.1",
    "modbus.port": "5020",
    "modbus.table": "input",
    "modbus.address": "3",
    "modbus.type": "int16",
    "modbus.scale": "0,1",
}


@pytest.fixture
def deaf_port() -> Iterator[int]:
    """A port of this computer without a listener."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        yield held.getsockname()[1]


@pytest.fixture
def empty(app: Flask, clock: HandClock, tmp_path: Path) -> Iterator[FlaskClient]:
    """A browser at a server without a machine."""
    services = open_services(tmp_path / "empty", clock)
    services.start()
    app.extensions["services"] = services
    yield app.test_client()
    services.close()


def machine(bench: Bench):
    """The bench's current machine."""
    return bench.services.machines.get("drum-4")


def test_the_page_of_a_machine_shows_sources_and_values(bench: Bench):
    """It shows the source in words, value and age, and nothing without data."""
    bench.push((0, "bean_probe", 183.61))
    bench.clock.turn_to(75)
    said = text_of(bench.client.get("/machines/drum-4/setup").text)
    assert "Bean probe sent to the API over HTTP 183.6 °C 75 s ago" in said
    assert "Bean surface sent to the API over HTTP –" in said
    assert "Radiant not read; entered by tapping" in said


def test_a_channel_is_added_by_the_form(bench: Bench):
    """A new channel accepts a decimal comma, and gets an id from its name and defaults for empty fields."""
    answer = bench.client.post("/machines/drum-4/channels", data=MODBUS)
    assert (answer.status_code, answer.location) == (303, "/machines/drum-4/setup")
    added = machine(bench).channels[-1]
    assert (added.id, added.role, added.modbus.scale, added.modbus.unit) == ("drum_wall", "drum", 0.1, 1)
    assert parse_sheet(bench.client.get("/machines/drum-4/sheet.toml").text) == machine(bench)


def test_a_channel_is_changed_and_taken_away(bench: Bench):
    """Its id stays; the last channel of a machine cannot be removed, with a reason."""
    path = "/machines/drum-4/channels/bean_surface"
    form = {"kind": "http", "name": "Infrared", "role": "bean_surface", "offset_c": "-1,5"}
    assert bench.client.post(path, data=form).status_code == 303
    changed = machine(bench).channels[1]
    assert (changed.id, changed.name, changed.offset_c) == ("bean_surface", "Infrared", -1.5)
    assert bench.client.post(f"{path}/remove").status_code == 303
    assert [channel.id for channel in machine(bench).channels] == ["bean_probe"]
    answer = bench.client.post("/machines/drum-4/channels/bean_probe/remove")
    assert answer.status_code == 422
    assert "a machine needs one channel" in answer.text
    assert bench.client.get(path).status_code == 404


def test_a_control_is_added_changed_and_taken_away(bench: Bench):
    """A control works with a register or without."""
    form = {"kind": "", "name": "Airflow", "unit": "%", "low": "0", "high": "100", "step": "5"}
    assert bench.client.post("/machines/drum-4/controls", data=form).status_code == 303
    read = form | {"kind": "modbus-tcp", "modbus.host": "127.0.0.1", "modbus.table": "coil", "modbus.address": "7"}
    assert bench.client.post("/machines/drum-4/controls/airflow", data=read).status_code == 303
    added = machine(bench).controls[-1]
    assert (added.id, added.high, added.modbus.address) == ("airflow", 100, 7)
    assert bench.client.post("/machines/drum-4/controls/airflow/remove").status_code == 303
    assert [control.id for control in machine(bench).controls] == ["radiant"]


@pytest.mark.parametrize(
    ("change", "field", "says"),
    [
        ({"modbus.address": "70000"}, "modbus.address", "the protocol address, counted from 0, to 65535"),
        ({"modbus.address": ""}, "modbus.address", "the protocol address"),
        ({"modbus.port": "x"}, "modbus.port", "a whole number from 1 to 65535"),
        ({"modbus.scale": "0"}, "modbus.scale", "another number must stand there"),
        ({"modbus.scale": "1e999"}, "modbus.scale", "a number that the raw value is multiplied by"),
        ({"modbus.host": "a b"}, "modbus.host", "a name or an address"),
        ({"name": ""}, "name", "1 to 60 characters"),
        ({"id": "bean_probe"}, "id", "is taken"),
        ({"role": "sideways"}, "role", "bean_probe"),
        ({"sensor.type": "K"}, "form", "Cold junction: channel"),
    ],
)
def test_an_invalid_field_names_the_allowed_values(bench: Bench, change, field, says):
    """The message is at the field, in the form's words; the typed value remains, and nothing is stored."""
    before = machine(bench)
    answer = bench.client.post("/machines/drum-4/channels", data=MODBUS | change)
    assert answer.status_code == 422
    page = unescape(answer.text)
    if field == "form":
        assert says in page
    else:
        at_field = re.search(rf'id="{re.escape(field)}-says">(.*?)</div>', page, re.DOTALL)[1]
        assert 'class="error"' in at_field
        assert says in at_field
        assert "in quotes" not in at_field
    assert 'value="0,1"' in page or "modbus.scale" in change
    assert machine(bench) == before


@pytest.mark.parametrize("kind", CHANNEL_KINDS)
def test_a_kind_shows_its_own_fields_only(bench: Bench, kind: str):
    """The page shows the fields of the selected source; nothing is stored."""
    answer = bench.client.post("/machines/drum-4/channels", data={"kind": kind, "name": "New", "then": "fields"})
    assert answer.status_code == 200
    shown = set(re.findall(r'name="(\w+\.\w+)"', answer.text)) - {"sensor.type"}
    shown = {name for name in shown if not name.startswith("sensor.")}
    chosen = CHANNEL_KINDS[kind]
    assert shown == {f"{chosen.source}.{name}" for name in chosen.fields}
    assert 'value="New"' in answer.text
    assert len(machine(bench).channels) == 2


def test_every_field_of_the_models_has_a_place_in_the_form():
    """Every key of a sheet has a field in the form."""
    for kind in CHANNEL_KINDS.values():
        others = [other for other in CHANNEL_KINDS.values() if other.model is kind.model]
        assert {name for other in others for name in other.fields} == set(kind.model.model_fields)
    sources = {kind.source for kind in CHANNEL_KINDS.values()}
    assert set(MODELS["channels"].model_fields) == {"id", "checked", "sensor", *OWN["channels"]} | sources
    assert set(MODELS["controls"].model_fields) == {"id", "modbus", *OWN["controls"]}
    assert set(LABELS) >= {name for kind in CHANNEL_KINDS.values() for name in kind.fields}


def test_trying_a_connection_says_why_it_fails_and_keeps_nothing(bench: Bench, deaf_port: int):
    """A refused connection gives a reason, and the typed values remain."""
    form = MODBUS | {"modbus.port": str(deaf_port), "then": "try"}
    answer = bench.client.post("/machines/drum-4/channels", data=form)
    assert answer.status_code == 200
    assert "refused the connection" in answer.text
    assert "Not saved yet." in answer.text
    assert f'value="{deaf_port}"' in answer.text
    assert len(machine(bench).channels) == 2


def test_a_password_is_never_shown_and_kept_when_left_empty(bench: Bench):
    """Neither form nor sheet shows it; an empty field keeps the one for that user and broker."""
    form = {
        "kind": "mqtt",
        "name": "Air",
        "role": "room",
        "mqtt.host": "127.0.0.1",
        "mqtt.port": "1",
        "mqtt.topic": "a",
    }
    form |= {"mqtt.user": "drumside", "mqtt.password": "a long one"}
    assert bench.client.post("/machines/drum-4/channels", data=form).status_code == 303
    for path in ("setup", "channels/air", "sheet.toml"):
        assert "a long one" not in bench.client.get(f"/machines/drum-4/{path}").text
    again = form | {"mqtt.password": "", "mqtt.topic": "b"}
    assert bench.client.post("/machines/drum-4/channels/air", data=again).status_code == 303
    point = machine(bench).channels[-1].mqtt
    assert (point.topic, point.password) == ("b", "a long one")
    sheet = bench.client.get("/machines/drum-4/sheet.toml").text
    assert bench.client.post("/machines", data={"text": sheet}).status_code == 303
    assert machine(bench).channels[-1].mqtt.password == "a long one"  # noqa: S105


def test_a_refused_sheet_changes_no_password(bench: Bench):
    """A broker's password is stored with the entry that describes the machine, or not at all."""
    mqtt = 'mqtt = {{ host = "127.0.0.1", port = 1, topic = "{}", user = "drumside", password = "{}" }}'
    bench.services.machines.add(SHEET.replace("http = {}", mqtt.format("a", "first"), 1))
    sheet, refusing = SHEET.replace("http = {}", mqtt.format("b", "second"), 1), Speaker(refuses={"set_up": "Not you."})
    with pytest.raises(SheetError, match="Not you"):
        bench.services.machines.add(sheet, refusing)
    assert list(bench.services.machines.kept()[0].passwords.values()) == ["first"]
    bench.services.machines.add(sheet)
    assert list(bench.services.machines.kept()[0].passwords.values()) == ["second"]
    assert machine(bench).channels[0].mqtt.password == "second"  # noqa: S105


def test_a_part_typed_as_it_is_is_the_same_part():
    """Opening and saving the form changes nothing."""
    point = MqttPoint(host="broker.lan", topic="a", tls=True, scale=0.25, silent_s=20)
    channel = Channel(id="air", name="Air", role="room", offset_c=-0.5, mqtt=point)
    typed = typed_of(channel)
    assert typed["mqtt.tls"] == "on"
    assert (typed["mqtt.scale"], typed["mqtt.silent_s"], typed["offset_c"]) == ("0.25", "20", "-0.5")


def test_a_machine_is_begun_from_its_name_alone(bench: Bench):
    """The machine gets a page; a second one with that name does not replace it."""
    form = {"name": "Small drum", "smallest": "0,3 kg", "largest": "1200"}
    answer = bench.client.post("/machines/new", data=form)
    assert (answer.status_code, answer.location) == (303, "/machines/small_drum/setup")
    assert bench.services.machines.get("small_drum").batch_g == (300, 1200)
    again = bench.client.post("/machines/new", data=form)
    assert again.status_code == 422
    assert "There is a machine “small_drum” already" in again.text
    wrong = bench.client.post("/machines/new", data={"name": "", "smallest": "9", "largest": "1"})
    assert wrong.status_code == 422
    assert "1 to 60 characters" in wrong.text


def test_a_machine_gets_another_name(bench: Bench):
    """Its id, channels and readings do not change."""
    form = {"name": "Big drum", "smallest": "1000", "largest": "5000"}
    assert bench.client.post("/machines/drum-4/setup", data=form).status_code == 303
    assert (machine(bench).name, machine(bench).batch_g) == ("Big drum", (1000, 5000))
    answer = bench.client.post("/machines/drum-4/setup", data=form | {"smallest": "6000"})
    assert answer.status_code == 422
    assert "Largest charge must be at least the smallest, 6000 g." in answer.text


@pytest.mark.parametrize("path", ["/", "/machines"])
def test_all_ways_to_add_a_machine_are_on_the_first_page(empty: FlaskClient, path: str):
    """By form, from a file, from a text and for practice: each is there at once, one of them leads."""
    page = empty.get(path).text
    for action in ("/machines/new", "/machines", "/machines/practice"):
        assert f'action="{action}"' in page
    assert {'id="sheet-file"', 'id="sheet-text"'} <= set(re.findall(r'id="sheet-\w+"', page))
    assert page.count("button primary") == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"name": ""}, "Name is required: 1 to 60 characters."),
        ({"smallest": ""}, "Smallest charge is required: above 0 g."),
        ({"largest": ""}, "Largest charge is required: above 0 g."),
        ({"smallest": "0"}, "Smallest charge must be above 0 g."),
        ({"smallest": "-5"}, "Smallest charge must be above 0 g."),
        ({"smallest": "1300"}, "Largest charge must be at least the smallest, 1300 g."),
        ({"largest": "much"}, "Largest charge must be a number, not “much”."),
    ],
)
def test_a_new_machine_says_what_is_missing_at_the_field(bench: Bench, change, says):
    """The sentence names the range; the other fields show what was typed, and no machine is added."""
    form = {"name": "Small drum", "smallest": "300", "largest": "1200"} | change
    answer = bench.client.post("/machines/new", data=form)
    assert answer.status_code == 422
    page = unescape(answer.text)
    assert re.findall(r'<p class="error">(.*?)</p>', page) == [says]
    assert all(f'value="{typed}"' in page for typed in form.values())
    assert len(bench.services.machines.all()) == 1


def test_a_machine_may_have_a_name_without_latin_letters(bench: Bench):
    """Its id is then “machine”."""
    form = {"name": "焙煎機", "smallest": "300", "largest": "1200"}
    assert bench.client.post("/machines/new", data=form).location == "/machines/machine/setup"


def test_a_running_channel_shows_its_recorded_value(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """A running channel is not opened a second time, and its offset is added; a changed one is opened."""
    practice = bench.services.machines.add_practice()
    pause = threading.Event()
    while not bench.services.live.heard("practice"):
        pause.wait(0.02)
    heard = {name: Reading(0, name, 100.0, raw="17") for name in bench.services.live.heard("practice")}
    assert set(heard) == {"bean_probe", "bean_surface", "exhaust"}
    opened = Trial("1", 2.0, "")
    monkeypatch.setattr(bench.services.live, "heard", lambda _: heard)
    monkeypatch.setattr("roastlog.services.live.try_channel", lambda *_: opened)

    def tried(**changes: object) -> Trial:
        """The probe with a changed description."""
        probe = practice.part("bean_probe").model_copy(update=changes)
        return bench.services.live.try_part(practice.model_copy(update={"channels": [probe]}), "bean_probe")

    assert tried(name="Probe", offset_c=1.5) == Trial("17", 101.5, "")
    point = ModbusPoint(host="127.0.0.1", table="input", address=3, type="int16")
    assert tried(simulated=None, modbus=point) == opened
