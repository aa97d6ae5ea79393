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
from roastlog.web.owner.part_form import LABELS, MODELS, OWN
from roastlog.web.owner.part_sources import CHANNEL_KINDS, typed_of
from tests.conftest import SHEET, Bench, HandClock
from tests.instruments.modbus_server import ModbusServer
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


@pytest.fixture
def meter() -> Iterator[ModbusServer]:
    """A panel meter; its numbers are set by the test."""
    with ModbusServer() as server:
        yield server


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
        ({"modbus.scale": "0"}, "modbus.scale", "enter another number"),
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


def shown(page: str) -> dict[str, str]:
    """The values with which a form comes, of fields and of choices."""
    fields = {
        name: unescape(value) for name, value in re.findall(r'<input id="[^"]+" name="([^"]+)" value="([^"]*)"', page)
    }
    for name, options in re.findall(r'<select id="[^"]+" name="([^"]+)".*?>(<option.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options)
        fields[name] = chosen[1] if chosen else ""
    return fields


@pytest.mark.parametrize(("table", "first"), [("channels", "input"), ("controls", "holding")])
def test_a_control_starts_on_holding_registers_and_a_channel_on_input(bench: Bench, table: str, first: str):
    """Channels are mostly input registers, and settings holding registers."""
    form = {"kind": "modbus-tcp", "then": "fields"}
    assert shown(bench.client.post(f"/machines/drum-4/{table}", data=form).text)["modbus.table"] == first


def test_a_new_part_starts_with_the_connection_of_the_last_one(bench: Bench):
    """Host, port, unit and scale are typed once; register, name and, for a control, table and scale are its own."""
    bench.client.post("/machines/drum-4/channels", data=MODBUS | {"modbus.unit": "7", "modbus.table": "holding"})
    values = shown(bench.client.get("/machines/drum-4/channels").text)
    assert values["kind"] == "modbus-tcp"
    same = {"host": "127.0.0.1", "port": "5020", "unit": "7", "scale": "0.1", "table": "holding", "type": "int16"}
    assert {name: values[f"modbus.{name}"] for name in same} == same
    assert (values["modbus.address"], values["name"]) == ("", "")
    page = bench.client.post("/machines/drum-4/controls", data={"kind": "modbus-tcp", "then": "fields"}).text
    values = shown(page)
    assert [values[f"modbus.{name}"] for name in ("host", "port", "unit")] == ["127.0.0.1", "5020", "7"]
    assert (values["modbus.table"], values["modbus.scale"]) == ("holding", "")


def test_typed_values_stay_when_the_source_is_chosen(bench: Bench):
    """The last connection fills only what was not typed."""
    bench.client.post("/machines/drum-4/channels", data=MODBUS)
    form = {"kind": "modbus-tcp", "name": "Exhaust", "modbus.host": "other.lan", "then": "fields"}
    values = shown(bench.client.post("/machines/drum-4/channels", data=form).text)
    assert (values["name"], values["modbus.host"], values["modbus.port"]) == ("Exhaust", "other.lan", "5020")


def test_a_switch_is_no_model_for_the_type_of_the_next(bench: Bench):
    """A coil has no type, so the next one starts as a coil without a type, and can be saved."""
    coil = {"kind": "modbus-tcp", "name": "Flap", "role": "drum", "modbus.host": "a.lan", "modbus.table": "coil"}
    assert bench.client.post("/machines/drum-4/channels", data=coil | {"modbus.address": "1"}).status_code == 303
    values = shown(bench.client.get("/machines/drum-4/channels").text)
    assert (values["modbus.table"], values["modbus.type"]) == ("coil", "")
    again = values | {"name": "Flap 2", "id": "", "role": "drum", "modbus.address": "2"}
    assert bench.client.post("/machines/drum-4/channels", data=again).status_code == 303


def test_no_password_is_in_the_form_of_the_next_channel(bench: Bench):
    """The next channel of that broker has its user, an empty password field, and the saved password."""
    form = {"kind": "mqtt", "name": "Air", "role": "room", "mqtt.host": "broker.lan", "mqtt.topic": "a"}
    bench.client.post("/machines/drum-4/channels", data=form | {"mqtt.user": "us", "mqtt.password": "a long one"})
    page = bench.client.get("/machines/drum-4/channels").text
    values = shown(page)
    assert (values["mqtt.user"], values["mqtt.password"], values["mqtt.topic"]) == ("us", "", "")
    assert "a long one" not in page
    bench.client.post("/machines/drum-4/channels", data=values | {"name": "Wall", "role": "drum", "mqtt.topic": "b"})
    assert [channel.mqtt.password for channel in machine(bench).channels[2:]] == ["a long one"] * 2


@pytest.mark.parametrize(
    ("table", "kind", "needed"),
    [
        ("channels", "modbus-tcp", {"name", "modbus.host", "modbus.address"}),
        ("channels", "modbus-rtu", {"name", "modbus.device", "modbus.address"}),
        ("channels", "mqtt", {"name", "mqtt.host", "mqtt.topic"}),
        ("channels", "serial", {"name", "serial.device"}),
        ("channels", "hand", {"name"}),
        ("controls", "", {"name", "low", "high", "step"}),
        ("controls", "modbus-tcp", {"name", "low", "high", "step", "modbus.host", "modbus.address"}),
    ],
)
def test_required_fields_say_so_before_and_after(bench: Bench, table: str, kind: str, needed: set[str]):
    """They have the word and the attribute; sent empty, each has the name and the range, and nothing else is said."""
    path = f"/machines/drum-4/{table}"
    page = bench.client.post(path, data={"kind": kind, "then": "fields"}).text
    assert set(re.findall(r'name="([^"]+)"[^>]*\brequired\b', page)) == needed
    assert len(re.findall(r"· required</span></label>", page)) == len(needed)
    role = {
        "role": "drum",
        "modbus.table": "input",
        "modbus.type": "int16",
        "serial.separator": ",",
        "serial.columns": "1",
    }
    page = unescape(bench.client.post(path, data={"kind": kind} | role).text)
    told = re.findall(r'id="([^"]+)-says"><p class="error">(.*?) is required: (?!\.).+?\.</p>', page)
    assert dict(told) == {name: LABELS[name.split(".")[-1]] for name in needed}
    assert len(re.findall(r'class="error"', page)) == len(needed)
    assert "Not saved. Check the fields below." in page


def test_a_moved_instrument_is_typed_once(bench: Bench):
    """A new host is used for all parts with the old connection if its box is ticked, and for one otherwise."""
    for name, address in (("Wall", "1"), ("Exhaust", "2")):
        bench.client.post("/machines/drum-4/channels", data=MODBUS | {"name": name, "modbus.address": address})
    elsewhere = MODBUS | {"name": "Room", "modbus.port": "5021"}
    bench.client.post("/machines/drum-4/channels", data=elsewhere)
    control = {"name": "Gas", "low": "0", "high": "9", "step": "1", "modbus.table": "holding", "modbus.scale": "1"}
    bench.client.post("/machines/drum-4/controls", data=MODBUS | control)
    page = bench.client.get("/machines/drum-4/channels/wall").text
    assert "Use also for the 2 others with this connection" in page
    assert "for_all" not in bench.client.get("/machines/drum-4/channels/room").text
    moved = MODBUS | {"name": "Wall", "modbus.host": "10.0.0.2", "modbus.address": "1"}

    def hosts() -> dict[str, str]:
        """The host of each part with a register."""
        now = machine(bench)
        return {part.id: part.modbus.host for part in (*now.channels, *now.controls) if part.modbus}

    bench.client.post("/machines/drum-4/channels/wall", data=moved)
    assert hosts() == {"wall": "10.0.0.2", "exhaust": "127.0.0.1", "room": "127.0.0.1", "gas": "127.0.0.1"}
    all_moved = MODBUS | {"name": "Exhaust", "modbus.host": "10.0.0.2", "modbus.address": "2", "for_all": "on"}
    bench.client.post("/machines/drum-4/channels/exhaust", data=all_moved)
    assert hosts() == {"wall": "10.0.0.2", "exhaust": "10.0.0.2", "room": "127.0.0.1", "gas": "10.0.0.2"}
    now = machine(bench)
    assert (now.channels[-1].modbus.port, now.controls[-1].modbus.table) == (5021, "holding")


def test_a_serial_line_changes_its_speed_for_all_its_channels(bench: Bench):
    """One port has one speed: alone the change is refused with a reason, for all it is saved."""
    line = {"kind": "serial", "role": "drum", "serial.device": "/dev/ttyUSB9", "serial.separator": ","}
    for column in ("1", "2"):
        form = line | {"name": f"Column {column}", "serial.column": column, "serial.columns": "2"}
        assert bench.client.post("/machines/drum-4/channels", data=form).status_code == 303
    form |= {"serial.baud": "19200"}
    alone = bench.client.post("/machines/drum-4/channels/column_2", data=form)
    assert alone.status_code == 422
    assert "cannot be read at two settings at once" in alone.text
    assert "Use also for the 1 other with this connection" in alone.text
    assert bench.client.post("/machines/drum-4/channels/column_2", data=form | {"for_all": "on"}).status_code == 303
    assert [(channel.serial.baud, channel.serial.column) for channel in machine(bench).channels[2:]] == [
        (19200, 1),
        (19200, 2),
    ]


def test_two_owners_do_not_overwrite_each_other(bench: Bench):
    """The second is told, also after a wrong field or a test, sees what was typed, and may then save it."""
    bench.client.post("/machines/drum-4/channels", data=MODBUS)
    path = "/machines/drum-4/channels/drum_wall"
    seen = re.search(r'name="seen" value="(\w+)"', bench.client.get(path).text)[1]
    assert bench.client.post(path, data=MODBUS | {"seen": seen, "modbus.host": "10.0.0.2"}).status_code == 303
    wrong = bench.client.post(path, data=MODBUS | {"seen": seen, "modbus.address": "x"})
    assert f'name="seen" value="{seen}"' in wrong.text
    late = bench.client.post(path, data=MODBUS | {"seen": seen, "name": "Wall"})
    assert late.status_code == 409
    assert "Drum wall was changed on another page at the same time." in late.text
    assert machine(bench).channels[-1].modbus.host == "10.0.0.2"
    seen = re.search(r'name="seen" value="(\w+)"', late.text)[1]
    assert bench.client.post(path, data=MODBUS | {"seen": seen, "name": "Wall"}).status_code == 303
    assert machine(bench).channels[-1].name == "Wall"


def questions(page: str) -> list[tuple[str, str]]:
    """What a button would set, and its words."""
    return re.findall(
        r'name="rescale" value="([^"]*)">([^<]*)</button>', unescape(page).replace("\N{NO-BREAK SPACE}", " ")
    )


def test_a_raw_2043_asks_for_its_scale(bench: Bench, meter: ModbusServer):
    """One tap sets the scale and reads again; nothing is stored before it is saved."""
    meter.set_input(0, [2043])
    path, form = "/machines/drum-4/channels", MODBUS | {"role": "bean_probe", "modbus.address": "0", "modbus.scale": ""}
    form |= {"modbus.port": str(meter.port)}
    page = bench.client.post(path, data=form | {"then": "try"}).text
    assert "2043 °C is impossible in a roaster. Is its scale right?" in unescape(page)
    assert "broken" not in page
    asked = questions(page)
    assert asked == [("0.1 0", "Did you mean 204.3 °C? (× 0.1)"), ("0.01 0", "Did you mean 20.4 °C? (× 0.01)")]
    page = bench.client.post(path, data=form | {"rescale": asked[0][0]}).text
    assert shown(page)["modbus.scale"] == "0.1"
    assert "Reading: 204.3 °C" in text_of(page)
    assert "Not saved yet." in page
    assert questions(page) == []
    assert len(machine(bench).channels) == 2
    assert bench.client.post(path, data=shown(page) | {"role": "bean_probe"}).status_code == 303
    assert machine(bench).channels[-1].modbus.scale == 0.1


def test_a_reading_in_fahrenheit_asks_for_its_conversion(bench: Bench, meter: ModbusServer):
    """The tap sets scale and offset, so that the saved channel is in °C."""
    meter.set_input(0, [392])
    path, form = "/machines/drum-4/channels", MODBUS | {"role": "bean_probe", "modbus.address": "0", "modbus.scale": ""}
    form |= {"modbus.port": str(meter.port)}
    asked = questions(bench.client.post(path, data=form | {"then": "try"}).text)
    assert asked[1] == ("0.555555555556 -17.7777777778", "Did you mean 200.0 °C? (from °F)")
    page = bench.client.post(path, data=form | {"rescale": asked[1][0]}).text
    assert "Reading: 200.0 °C" in text_of(page)
    assert bench.client.post(path, data=shown(page) | {"role": "bean_probe"}).status_code == 303
    point = machine(bench).channels[-1].modbus
    assert 392 * point.scale + point.offset == pytest.approx(200, abs=1e-6)


def test_a_saved_channel_asks_from_its_last_reading(bench: Bench, meter: ModbusServer, monkeypatch: pytest.MonkeyPatch):
    """Its running link is not opened a second time; its reading, refused or only odd, brings the question."""
    monkeypatch.setattr("roastlog.services.live.try_channel", lambda *_: pytest.fail("opened again"))
    for address, raw in ((0, 2043), (1, 1500)):
        meter.set_input(address, [raw])
        form = MODBUS | {"name": f"Meter {address}", "modbus.port": str(meter.port), "modbus.scale": ""}
        form |= {"role": "bean_probe", "modbus.address": str(address)}
        bench.client.post("/machines/drum-4/channels", data=form)
        pause = threading.Event()
        while f"meter_{address}" not in bench.services.live.heard("drum-4"):
            pause.wait(0.02)
        page = bench.client.post(f"/machines/drum-4/channels/meter_{address}", data=form | {"then": "try"}).text
        assert questions(page)[0] == ("0.1 0", f"Did you mean {raw / 10} °C? (× 0.1)")
    setup = text_of(bench.client.get("/machines/drum-4/setup").text)
    assert "2043 °C is impossible in a roaster. Is its scale right?" in setup


def test_a_broken_probe_is_still_asked_about(bench: Bench, meter: ModbusServer):
    """65535 fits no scale."""
    meter.set_input(20, [65535])
    form = MODBUS | {"modbus.port": str(meter.port), "modbus.address": "20", "modbus.type": "uint16", "then": "try"}
    page = bench.client.post("/machines/drum-4/channels", data=form).text
    assert "6553.5 °C is impossible in a roaster. Is the probe broken?" in unescape(page)
    assert questions(page) == []


def test_a_control_of_half_steps_asks_for_its_scale(bench: Bench, meter: ModbusServer):
    """45 on a control from 0 to 10 in halves is 4.5."""
    meter.set_input(0, [45])
    form = MODBUS | {"name": "Gas", "unit": "", "low": "0", "high": "10", "step": "0,5", "modbus.scale": ""}
    form |= {"modbus.port": str(meter.port), "modbus.address": "0"}
    asked = questions(bench.client.post("/machines/drum-4/controls", data=form | {"then": "try"}).text)
    assert asked == [("0.1 0", "Did you mean 4.5? (× 0.1)")]
    page = bench.client.post("/machines/drum-4/controls", data=form | {"rescale": asked[0][0]}).text
    assert "Reading: 4.5" in text_of(page)


@pytest.mark.parametrize("rescale", ["", " ", "x y", "0 0", "1e999", "0.1 0 0", "-"])
def test_an_invented_scale_is_checked_like_a_typed_one(bench: Bench, rescale: str):
    """It is refused at its field, or the test fails on its connection; the page always comes."""
    form = MODBUS | {"modbus.port": "1", "rescale": rescale}
    assert bench.client.post("/machines/drum-4/channels", data=form).status_code in {200, 422}
    assert len(machine(bench).channels) == 2


def test_a_conflict_of_two_values_is_in_the_language_of_the_form(bench: Bench):
    """A scale of 0 is refused in German on a German page."""
    german = {"Accept-Language": "de"}
    answer = bench.client.post("/machines/drum-4/channels", data=MODBUS | {"modbus.scale": "0"}, headers=german)
    assert answer.status_code == 422
    assert "ein Faktor von 0 macht alle Werte gleich; eine andere Zahl eingeben." in unescape(answer.text)
