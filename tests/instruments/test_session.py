"""All kinds of links of one machine at once, recorded by the server itself, while some of them die and return."""

from contextlib import ExitStack
from pathlib import Path

import pytest

from roastlog.clock import Clock
from roastlog.recording import readers
from roastlog.services import open_services
from tests.instruments.broker import MISSING, PASSWORD, USER, Broker, Voice
from tests.instruments.cable import Cable
from tests.instruments.modbus_server import ModbusServer
from tests.instruments.test_trial import Talker
from tests.recording.test_hub import until

pytestmark = pytest.mark.skipif(MISSING is not None, reason=str(MISSING))

SHEET = """
id = "drum-4"
name = "Four-kilo drum"
batch_g = [800, 4500]
[[channels]]
id = "tcp"
name = "Over the network"
role = "bean_probe"
modbus = {{ host = "127.0.0.1", port = {port}, table = "input", address = 0, type = "int16", scale = 0.1, {fast} }}
[[channels]]
id = "rtu"
name = "On a line"
role = "bean_surface"
modbus = {{ device = "{rtu}", table = "input", address = 2, type = "int16", scale = 0.1, {fast} }}
[[channels]]
id = "mqtt"
name = "By a broker"
role = "exhaust_air"
mqtt = {{ host = "127.0.0.1", port = {broker}, user = "{user}", password = "{password}", topic = "t", value = "$.c" }}
[[channels]]
id = "line"
name = "Printed"
role = "room"
serial = {{ device = "{line}", separator = ",", columns = 2 }}
[[controls]]
id = "stir"
name = "Stir"
low = 0
high = 10
step = 1
modbus = {{ host = "127.0.0.1", port = {port}, table = "holding", address = 10, type = "uint16", scale = 0.1, {fast} }}
"""


def test_dead_wires_delay_no_other_come_back_and_are_only_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Four links record; two die while the others continue; they return by themselves; the servers saw only reads."""
    monkeypatch.setattr(readers, "LONGEST_PAUSE_S", 0.3)
    near, far = tmp_path / "rtu", tmp_path / "line"
    near.mkdir()
    far.mkdir()
    services = open_services(tmp_path / "data", Clock())
    with (
        Broker(tmp_path) as broker, ModbusServer() as tcp,
        Cable(near) as cable, ModbusServer(device=cable.far) as rtu, Cable(far) as line, ExitStack() as stack,
    ):  # fmt: skip
        ports = {"port": tcp.port, "broker": broker.port, "rtu": cable.near, "line": line.near}
        services.machines.keep_sheet(SHEET.format(user=USER, password=PASSWORD, fast="poll_s = 0.05", **ports))
        stack.callback(services.close)
        services.start()
        live = services.runtime.live("drum-4")
        states = lambda: {link.name: link.state for link in services.runtime.links("drum-4")}  # noqa: E731
        stack.callback(Talker(line, b"24.5,C\r\n").stop)
        until(lambda: set(states().values()) == {"ok"})
        with Voice(broker) as voice:
            voice.say("t", '{"c": 188.5}')
            until(lambda: len(live.numbers().values) == 5)
        assert live.numbers().values == {"tcp": 196.3, "rtu": 221.5, "mqtt": 188.5, "line": 24.5, "stir": 4.0}

        asked = tcp.asked()
        broker.kill()
        tcp.kill()
        until(lambda: list(states().values()).count("lost") == 2)
        heard = dict(live.numbers().heard_ms)
        until(lambda: all(live.numbers().heard_ms[name] > heard[name] + 1000 for name in ("rtu", "line")))
        assert live.numbers().heard_ms["tcp"] == heard["tcp"]

        broker.start()
        tcp.start()
        until(lambda: set(states().values()) == {"ok"})
        with Voice(broker) as voice:
            voice.say("t", '{"c": 190}')
            until(lambda: live.numbers().values["mqtt"] == 190)
        until(lambda: live.numbers().heard_ms["tcp"] > heard["tcp"])
        stack.close()
        seen = {question.split(":")[0] for question in (*asked, *tcp.asked(), *rtu.asked())}
        assert seen == {"3", "4"}
        assert line.heard() == b""
