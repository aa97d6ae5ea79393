"""Modbus RTU against a real server in its own process, over pseudo-terminals."""

import threading
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments import modbus
from roastlog.instruments.base import ReadFault
from roastlog.instruments.modbus import ModbusInstrument
from roastlog.machine.sources import ModbusPoint
from tests.instruments.cable import Cable
from tests.instruments.modbus_server import ModbusServer
from tests.instruments.test_modbus import values


@pytest.fixture(scope="module")
def line(tmp_path_factory):
    """A cable with a server at its far end."""
    with Cable(tmp_path_factory.mktemp("ports")) as cable, ModbusServer(device=cable.far) as server:
        yield cable, server


@pytest.fixture
def cable(line):
    """The cable without garbling; the server's counts are reset."""
    cable, server = line
    cable.garble = bytes
    server.asked()
    return cable


@pytest.fixture
def server(line):
    """The server at the other end."""
    return line[1]


def point(cable: Cable, table: str, address: int, kind: str | None = None, **rest: object) -> ModbusPoint:
    """A point on the cable."""
    return ModbusPoint.model_validate({"device": cable.near, "table": table, "address": address, "type": kind, **rest})


@pytest.fixture
def linked(cable):
    """Creates open instruments, and closes them afterwards."""
    made: list[ModbusInstrument] = []

    def make(points: dict[str, ModbusPoint], timeout_s: float = 1.0) -> ModbusInstrument:
        made.append(ModbusInstrument(points, Clock(), timeout_s))
        made[-1].open()
        return made[-1]

    yield make
    for instrument in made:
        instrument.close()


def test_every_kind_of_point_of_several_units_gives_its_value(cable, linked):
    """All types and tables, both word orders, and two units on one line are read correctly."""
    points = {
        "int16": point(cable, "input", 0, "int16", scale=0.1),
        "uint32": point(cable, "input", 40, "uint32"),
        "float32": point(cable, "input", 50, "float32"),
        "low_word_first": point(cable, "input", 70, "float32", word_order="little"),
        "holding": point(cable, "holding", 11, "uint16", scale=0.1),
        "on": point(cable, "coil", 3),
        "off": point(cable, "discrete", 4),
        "other_unit": point(cable, "input", 0, "int16", unit=2),
    }
    answers = linked(points).read(points)
    assert values(answers) == {
        "int16": 196.3, "uint32": 3_000_000_000, "float32": 187.25, "low_word_first": 187.25,
        "holding": 5.5, "on": 1, "off": 0, "other_unit": 333,
    }  # fmt: skip
    raw = {answer.channel: answer.raw for answer in answers}
    assert (raw["int16"], raw["holding"], raw["on"], raw["float32"]) == ("1963", "55", "1", "187.25")


def test_a_whole_session_only_reads(cable, server, linked):
    """In a whole session, with bad addresses and silent units, the server receives only reads."""
    points = {table: point(cable, table, 3) for table in ("coil", "discrete")}
    points |= {"input": point(cable, "input", 0, "int16"), "holding": point(cable, "holding", 10, "uint16")}
    points |= {"bad": point(cable, "input", 5, "int16")}
    instrument = linked(points)
    for _ in range(5):
        instrument.read(points)
    instrument.close()
    assert {question.split(":")[0] for question in server.asked()} == {"1", "2", "3", "4"}


def test_a_silent_unit_has_a_growing_backoff(cable, linked, monkeypatch):
    """A silent unit delays the others on its line by one timeout, then backs off; the others are read meanwhile."""
    monkeypatch.setattr(modbus, "_FIRST_BACKOFF_S", 0.05)
    points = {"good": point(cable, "input", 0, "int16"), "dead": point(cable, "input", 0, "int16", unit=9)}
    cable.garble = lambda data: b"" if data[:1] == b"\x09" else data
    instrument = linked(points, timeout_s=0.5)
    backoffs_s = []
    for _ in range(3):
        answers = values(instrument.read(points))
        assert answers["good"] == 1963
        assert "Unit 9 does not answer" in str(answers["dead"])
        backoffs_s.append(instrument._backoffs[9].length_s)
        Clock().wait(threading.Event(), backoffs_s[-1] + 0.05)
    assert backoffs_s == [0.05, 0.1, 0.2]


def test_one_line_is_open_once(cable, linked):
    """A second program on the same port is refused, since it would take the first one's answers."""
    linked({"probe": point(cable, "input", 0, "int16")})
    with pytest.raises(InstrumentError, match="in use"):
        linked({"probe": point(cable, "input", 0, "int16")})


def test_unplugged_and_plugged_in_again(cable, linked):
    """A pulled cable is reported; the port is missing meanwhile; after replugging it is read again."""
    points = {"probe": point(cable, "input", 0, "int16")}
    instrument = linked(points, timeout_s=0.3)
    assert values(instrument.read(points)) == {"probe": 1963}
    cable.unplug()
    with pytest.raises(InstrumentError, match="is gone"):
        instrument.read(points)
    with pytest.raises(InstrumentError, match=r"is not there\. Is the cable plugged in"):
        instrument.open()
    cable.plug_in()
    instrument.open()
    assert values(instrument.read(points)) == {"probe": 1963}


def test_stalled_server_is_reported_and_its_late_answer_not_taken(cable, server, linked):
    """No answer in time is a lost link; a late one never answers the next request."""
    points = {"probe": point(cable, "input", 0, "int16")}
    instrument = linked(points, timeout_s=0.2)
    server.stall()
    try:
        with pytest.raises(InstrumentError, match=r"did not answer within 0\.2 s. Are unit, baud, parity"):
            instrument.read(points)
    finally:
        server.resume()
    Clock().wait(threading.Event(), 0.2)
    others = {"surface": point(cable, "input", 2, "int16")}
    instrument.close()
    assert values(linked(others).read(others)) == {"surface": 2215}


def test_a_wrong_checksum_is_no_answer(cable, linked):
    """An answer with one flipped bit is rejected."""
    points = {"probe": point(cable, "input", 0, "int16")}
    instrument = linked(points, timeout_s=0.1)
    cable.garble = lambda data: data[:4] + bytes([data[4] ^ 1]) + data[5:] if len(data) > 4 else data
    with pytest.raises(InstrumentError, match="did not answer"):
        instrument.read(points)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cut=st.integers(0, 7), put=st.binary(max_size=5), drop=st.integers(0, 5))
def test_damaged_answers_give_the_value_or_none(cable, linked, cut, put, drop):
    """Lost or inserted bytes never give another number than the one that was sent."""
    points = {"probe": point(cable, "input", 0, "int16")}
    instrument = linked(points, timeout_s=0.03)
    cable.garble = lambda data: data[:cut] + put + data[cut + drop :]
    try:
        [answer] = instrument.read(points)
    except InstrumentError:
        pass
    else:
        assert isinstance(answer, ReadFault) or answer.value == 1963
    finally:
        instrument.close()


@pytest.mark.parametrize(
    ("make", "says"),
    [(Path.absolute, "is not there"), (Path.touch, "not a serial port"), (Path.mkdir, "not a serial port")],
)  # fmt: skip
def test_invalid_port_is_reported(tmp_path, make, says):
    """A missing port, a file and a folder are reported as such."""
    path = tmp_path / "ttyNone"
    make(path)
    wrong = ModbusPoint(device=str(path), table="input", address=0, type="int16")
    with pytest.raises(InstrumentError, match=says):
        ModbusInstrument({"probe": wrong}, Clock()).open()
