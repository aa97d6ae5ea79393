"""From a machine's sheet to its links."""

import subprocess
import sys

from roastlog.clock import Clock
from roastlog.instruments.base import Reading
from roastlog.instruments.build import build_instruments
from roastlog.machine.model import Channel, Control, Machine, practice_machine
from roastlog.machine.sources import ModbusPoint, PushPoint


def probe(host: str, address: int, poll_s: float) -> ModbusPoint:
    """An input register."""
    return ModbusPoint(host=host, table="input", address=address, type="int16", poll_s=poll_s)


def test_each_address_is_one_link_with_its_channels_and_controls():
    """Points of one host and port share a link, each with its own poll time; pushed channels need none."""
    machine = Machine(
        id="drum-4",
        name="Four-kilo drum",
        batch_g=(800, 4500),
        channels=(
            Channel(id="bean_probe", name="Bean probe", role="bean_probe", modbus=probe("10.0.0.1", 0, 0.25)),
            Channel(id="exhaust", name="Exhaust", role="exhaust_air", modbus=probe("10.0.0.2", 0, 1)),
            Channel(id="room", name="Room", role="room", http=PushPoint()),
        ),
        controls=(
            Control(id="air", name="Air", low=0, high=10, step=1, modbus=probe("10.0.0.1", 10, 0.5)),
            Control(id="gas", name="Gas", low=0, high=10, step=1),
        ),
    )
    links = build_instruments(machine, Clock())
    assert [(instrument.name, polls) for instrument, polls in links] == [
        ("modbus 10.0.0.1:502", {"bean_probe": 0.25, "air": 0.5}),
        ("modbus 10.0.0.2:502", {"exhaust": 1.0}),
    ]


def test_each_broker_and_serial_port_is_one_link():
    """Channels of one connection or port share a link; another user at the same broker is another connection."""
    rtu = {"device": "/dev/ttyUSB0", "table": "input", "type": "int16"}
    mqtt = {"host": "broker", "topic": "x"}
    line = {"device": "/dev/ttyACM0", "separator": ",", "columns": 2}
    sources = {
        "rtu-1": {"modbus": {**rtu, "address": 0, "unit": 1, "poll_s": 1.0}},
        "rtu-2": {"modbus": {**rtu, "address": 0, "unit": 2}},
        "mqtt-1": {"mqtt": mqtt},
        "mqtt-2": {"mqtt": {**mqtt, "value": "$.a"}},
        "mqtt-3": {"mqtt": {**mqtt, "user": "other"}},
        "line-1": {"serial": line},
        "line-2": {"serial": {**line, "column": 2}},
    }
    channels = [{"id": name, "name": name, "role": "room", **source} for name, source in sources.items()]
    machine = Machine.model_validate({"id": "m", "name": "M", "batch_g": [1, 2], "channels": channels})
    assert [(instrument.name, polls) for instrument, polls in build_instruments(machine, Clock())] == [
        ("modbus /dev/ttyUSB0", {"rtu-1": 1.0, "rtu-2": 0.5}),
        ("mqtt broker:1883", {"mqtt-1": 0.25, "mqtt-2": 0.25}),
        ("mqtt broker:1883", {"mqtt-3": 0.25}),
        ("serial /dev/ttyACM0", {"line-1": 0.25, "line-2": 0.25}),
    ]


def test_practice_machine_reads_at_once():
    """The practice machine is one link whose three channels give readings as soon as it is open."""
    [(instrument, polls)] = build_instruments(practice_machine(), Clock())
    instrument.open()
    answers = instrument.read(polls)
    instrument.close()
    assert {answer.channel for answer in answers} == {"bean_probe", "bean_surface", "exhaust"}
    assert all(isinstance(answer, Reading) for answer in answers)


def test_no_wire_library_is_loaded_unasked():
    """Sheets and their links load no wire library, nor tomlkit, until one is needed."""
    code = (
        "import sys; from roastlog.clock import Clock; from roastlog.instruments import build;"
        "from roastlog.machine import sheet;"
        "machine = sheet.parse_sheet("
        "'''id='a'\nname='A'\nbatch_g=[1,2]\n[[channels]]\nid='b'\nname='B'\nrole='room'\nhttp={}\n''');"
        "build.build_instruments(machine, Clock());"
        "late = {'pymodbus', 'paho', 'serial', 'thermocouple_its90', 'tomlkit'};"
        "print(sorted(late & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
