"""A trial of one channel: raw data, meaning, or the reason for failure, over every kind of wire."""

import threading

import pytest

from roastlog.instruments.trial import Trial, try_channel
from roastlog.machine.model import Channel, Control, Machine, practice_machine
from roastlog.machine.sources import ModbusPoint, MqttPoint, PushPoint, Sensor, SerialPoint
from tests.instruments.broker import MISSING, PASSWORD, USER, Broker, Voice
from tests.instruments.cable import Cable
from tests.instruments.modbus_server import ModbusServer
from tests.ports import held_port
from tests.recording.test_hub import until


class Talker:
    """Repeats a line over a cable."""

    def __init__(self, cable: Cable, line: bytes) -> None:
        self.line = line
        self._cable, self._stop = cable, threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop sending."""
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stop.wait(0.02):
            self._cable.say(self.line)


@pytest.fixture(scope="module")
def port():
    """The port of a Modbus server."""
    with ModbusServer() as server:
        yield server.port


def machine(*channels: Channel, controls: tuple[Control, ...] = ()) -> Machine:
    """A machine with those."""
    return Machine(id="drum-4", name="Four-kilo drum", batch_g=(800, 4500), channels=channels, controls=controls)


def modbus(port: int, address: int, **rest: object) -> ModbusPoint:
    """An input register on loopback."""
    return ModbusPoint.model_validate(
        {"host": "127.0.0.1", "port": port, "table": "input", "address": address, "type": "int16", **rest}
    )


def test_raw_number_and_value(port):
    """The result has the raw number, and the value with scale and the channel's offset."""
    probe = Channel(id="probe", name="Probe", role="bean_probe", offset_c=-1.5, modbus=modbus(port, 0, scale=0.1))
    assert try_channel(machine(probe), "probe") == Trial("1963", 194.8, "")


def test_a_control_and_a_thermocouple(port):
    """A control is rounded to its steps; a thermocouple in mV uses the cold junction of another channel."""
    # K at 188.97 °C with its wires ending at 221.5 °C [computed]: 7.698 - 9.000 = -55 × 0.0236755 mV.
    gas = Control(id="gas", name="Gas", low=0, high=10, step=0.5, modbus=modbus(port, 10, scale=0.1, table="holding"))
    probe = Channel(
        id="probe", name="Probe", role="bean_probe", sensor=Sensor(type="K", cold_junction="box"),
        modbus=modbus(port, 1, scale=0.0236755),
    )  # fmt: skip
    box = Channel(id="box", name="Box", role="room", modbus=modbus(port, 2, scale=0.1))
    whole = machine(probe, box, controls=(gas,))
    assert try_channel(whole, "gas") == Trial("40", 4.0, "")
    trial = try_channel(whole, "probe")
    assert trial.raw == "-55"
    assert trial.value == pytest.approx(188.97, abs=0.01)


@pytest.mark.parametrize(
    ("rest", "says"),
    [
        ({"address": 5}, "nothing at input address 5"),
        ({"unit": 9}, "unit 9"),
        ({"address": 60, "type": "float32"}, "not a number"),
        ({"port": "nobody"}, "refused the connection"),
        ({"host": "no..such"}, "not found"),
        ({"table": "coil", "type": None, "address": 900}, "nothing at coil address 900"),
    ],
)
def test_reasons_for_a_missing_value(port, rest, says):
    """A wrong address, a wrong unit, an invalid number and a missing server each have a clear reason."""
    asked = {"port": port, "address": 0, **rest}
    asked["port"] = held_port() if asked["port"] == "nobody" else port
    probe = Channel(id="probe", name="Probe", role="bean_probe", modbus=modbus(**asked))
    trial = try_channel(machine(probe), "probe")
    assert trial.value is None
    assert says in trial.reason


def test_others_are_left_alone(port):
    """A channel whose instrument is off does not prevent the trial of another."""
    probe = Channel(id="probe", name="Probe", role="bean_probe", modbus=modbus(port, 0))
    off = Channel(id="off", name="Off", role="room", modbus=modbus(held_port(), 0))
    assert try_channel(machine(probe, off), "probe").value == 1963


def test_an_impossible_trial_is_reported():
    """A pushed channel, a control without a register and an unknown id cannot be tried; the practice drum can."""
    gas = Control(id="gas", name="Gas", low=0, high=10, step=0.5)
    whole = machine(Channel(id="room", name="Room", role="room", http=PushPoint()), controls=(gas,))
    assert try_channel(whole, "room") == Trial(
        "", None, "Drumside does not read Room: its readings are sent to the API."
    )
    assert try_channel(whole, "gas") == Trial("", None, "Drumside does not read Gas: it has no register.")
    assert try_channel(whole, "x") == Trial("", None, "There is no channel x on Four-kilo drum.")
    assert try_channel(practice_machine(), "bean_probe").value == pytest.approx(203, abs=5)


def test_a_serial_line(tmp_path):
    """A line is shown with its value; one that does not match with the reason; and silence as such."""
    with Cable(tmp_path) as cable:
        point = SerialPoint(device=cable.near, separator=",", columns=2)
        whole = machine(Channel(id="probe", name="Probe", role="bean_probe", serial=point))
        assert try_channel(whole, "probe", wait_s=0.1).reason == (
            "The connection works, but no value for probe came within 0.1 s."
        )
        talking = Talker(cable, b"196.3,C\r\n")
        assert try_channel(whole, "probe") == Trial("196.3,C", 196.3, "")
        talking.line = b"T=196.3\r\n"
        assert try_channel(whole, "probe", wait_s=0.3) == Trial("T=196.3", None, "“T=196.3” has 1 of 2 columns.")
        talking.stop()


@pytest.mark.skipif(MISSING is not None, reason=str(MISSING))
def test_a_broker_hears_nothing_of_a_trial(tmp_path):
    """A fresh message is read, a retained one reported as such; the status topic is not used."""
    with Broker(tmp_path) as broker, Voice(broker) as voice:
        point = MqttPoint(
            host="127.0.0.1", port=broker.port, user=USER, password=PASSWORD, topic="probe", status="status"
        )
        whole = machine(Channel(id="probe", name="Probe", role="bean_probe", mqtt=point))
        voice.say("probe", "196.3", retain=True)
        trial = try_channel(whole, "probe", wait_s=0.2)
        assert trial == Trial("196.3", None, "probe has only an old value retained by the broker.")
        voice.say("end", "x")
        until(lambda: len(voice.heard) == 2)
        assert [topic for topic, _, _ in voice.heard] == ["probe", "end"]
