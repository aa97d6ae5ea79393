"""Conversion of raw values: mV and ohm to °C, cold junctions across links, knobs, broken probes."""

from collections.abc import Collection

import pytest

from roastlog.errors import InstrumentError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.converted import ColdJunctions, ConvertedInstrument
from roastlog.machine.sheet import parse_sheet
from tests.conftest import START_MS, HandClock

SHEET = """
id = "drum-4"
name = "Four-kilo drum"
batch_g = [800, 4500]
[[channels]]
id = "bean_probe"
name = "Bean probe"
role = "bean_probe"
modbus = { host = "127.0.0.1", table = "input", address = 0, type = "int16", scale = 0.001 }
sensor = { type = "J", cold_junction = "box" }
[[channels]]
id = "box"
name = "Where the wires end"
role = "room"
offset_c = 15.0
modbus = { host = "127.0.0.1", table = "input", address = 1, type = "int16", scale = 0.1 }
sensor = { type = "Pt1000" }
[[channels]]
id = "exhaust"
name = "Exhaust"
role = "exhaust_air"
modbus = { host = "127.0.0.1", table = "input", address = 2, type = "int16", scale = 0.001 }
sensor = { type = "K", cold_junction_c = 25 }
[[channels]]
id = "inlet"
name = "Inlet"
role = "inlet_air"
modbus = { host = "127.0.0.1", table = "input", address = 3, type = "uint16", scale = 0.1 }
[[controls]]
id = "gas"
name = "Gas"
low = 0
high = 10
step = 0.5
modbus = { host = "127.0.0.1", table = "holding", address = 0, type = "uint16", scale = 0.1 }
"""


class Wire:
    """A link with readings given by the test."""

    name = "a wire"

    def __init__(self) -> None:
        self.says: dict[str, float] = {}
        self.clock = HandClock()

    def open(self) -> None: ...

    def close(self) -> None: ...

    def read(self, ids: Collection[str]) -> list[Reading | ReadFault]:
        """Readings in the requested order."""
        return [Reading(self.clock.now_ms(), name, self.says[name], "raw") for name in ids if name in self.says]


@pytest.fixture
def wire() -> Wire:
    """The wire."""
    return Wire()


@pytest.fixture
def link(wire: Wire) -> ConvertedInstrument:
    """The link, converted by the sheet."""
    machine = parse_sheet(SHEET)
    return ConvertedInstrument(wire, machine, ColdJunctions(machine, wire.clock))


def told(link: ConvertedInstrument, *ids: str) -> dict[str, float | str]:
    """Value of each reading, reason of each fault."""
    return {item.channel: item.value if isinstance(item, Reading) else item.reason for item in link.read(ids)}


def test_millivolts_and_ohms_become_degrees(link: ConvertedInstrument, wire: Wire):
    """J with its junction measured by a Pt1000 in the same poll, with offset; K with a fixed junction [computed]."""
    # 1097.35 ohm are 25 °C; with the junction's own offset of 15 °C it is at 40 °C, and J at 200 °C gives 8.720 mV.
    wire.says = {"bean_probe": 8.720, "box": 1097.35, "exhaust": 7.138}
    got = told(link, "bean_probe", "box", "exhaust")
    assert got["box"] == pytest.approx(25.0, abs=0.01)
    assert got["bean_probe"] == pytest.approx(200.0, abs=0.03)
    assert got["exhaust"] == pytest.approx(200.0, abs=0.03)


def test_order_and_raw_values_are_kept(link: ConvertedInstrument, wire: Wire):
    """Results keep the requested order and the raw data."""
    wire.says = {"bean_probe": 8.720, "box": 1097.35, "exhaust": 7.138}
    answers = link.read(["exhaust", "bean_probe", "box"])
    assert [answer.channel for answer in answers] == ["exhaust", "bean_probe", "box"]
    assert {answer.raw for answer in answers} == {"raw"}


def test_a_cold_junction_may_be_on_another_link(wire: Wire):
    """Two links of one machine share the junction's temperature, until it is too old."""
    machine = parse_sheet(SHEET)
    junctions = ColdJunctions(machine, wire.clock)
    hot, cold = ConvertedInstrument(wire, machine, junctions), ConvertedInstrument(wire, machine, junctions)
    wire.says = {"bean_probe": 8.720, "box": 1097.35}
    assert told(hot, "bean_probe") == {"bean_probe": "It waits for its cold junction, box."}
    told(cold, "box")
    assert told(hot, "bean_probe")["bean_probe"] == pytest.approx(200.0, abs=0.03)
    wire.clock.turn_to(121)
    assert told(hot, "bean_probe") == {"bean_probe": "Its cold junction, box, was last read too long ago."}


def test_a_broken_sensor_is_a_fault_with_its_raw_value(link: ConvertedInstrument, wire: Wire):
    """Impossible voltages, resistances and temperatures are faults with a reason, not numbers."""
    wire.says = {"exhaust": 120.0, "box": 9e5, "inlet": 6553.5}
    got = told(link, "exhaust", "box", "inlet")
    assert "type K thermocouple" in str(got["exhaust"])
    assert "not possible for a Pt1000" in str(got["box"])
    assert got["inlet"] == "6553.5 °C is impossible in a roaster. Is the probe broken?"
    assert isinstance(link.read(["inlet"])[0], ReadFault)
    assert link.read(["inlet"])[0].raw == "raw"


def test_a_knob_stands_on_its_steps_and_trembles_not(link: ConvertedInstrument, wire: Wire):
    """A register that jitters between two steps gives one setting; nonsense is a fault and changes nothing."""
    got = []
    for read in (4.2, 4.3, 4.2, 4.3, 99.0, 4.3, 5.0):
        wire.says = {"gas": read}
        got.append(told(link, "gas")["gas"])
    assert got == [4.0, 4.0, 4.0, 4.0, "Reading must be 0 to 10, not 99. Is its scale right?", 4.0, 5.0]


def test_faults_and_losses_pass_through(link: ConvertedInstrument, wire: Wire):
    """Faults of the wire pass unchanged; a lost link stays lost."""
    fault = ReadFault(START_MS, "box", "no answer")
    wire.read = lambda _ids: [fault]
    assert link.read(["box"]) == [fault]

    def lost(ids: Collection[str]) -> list[Reading | ReadFault]:
        raise InstrumentError("gone")

    wire.read = lost
    with pytest.raises(InstrumentError, match="gone"):
        link.read(["box"])
