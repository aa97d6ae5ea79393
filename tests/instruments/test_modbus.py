"""The Modbus driver against a real server in its own process, and against one that talks nonsense."""

import contextlib
import math
import socket
import struct
import threading

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.modbus import ModbusInstrument
from roastlog.machine.sources import ModbusPoint
from tests.instruments.modbus_server import ModbusServer
from tests.ports import held_port


@pytest.fixture(scope="module")
def shared():
    """One server for the tests that do not change it."""
    with ModbusServer() as server:
        yield server


@pytest.fixture
def server(shared):
    """The shared server with its counts reset."""
    shared.asked()
    return shared


@pytest.fixture
def own_server():
    """A server that a test may stall and kill."""
    with ModbusServer() as server:
        yield server


def point(port: int, table: str, address: int, kind: str | None = None, **rest: object) -> ModbusPoint:
    """A point on loopback."""
    return ModbusPoint.model_validate(
        {"host": "127.0.0.1", "port": port, "table": table, "address": address, "type": kind, **rest}
    )


@contextlib.contextmanager
def linked(points: dict[str, ModbusPoint], clock: Clock | None = None, timeout_s: float = 0.5):
    """An open instrument with those points."""
    instrument = ModbusInstrument(points, clock or Clock(), timeout_s)
    instrument.open()
    try:
        yield instrument
    finally:
        instrument.close()


def values(answers: list[Reading | ReadFault]) -> dict[str, float | str]:
    """Value of each reading, reason of each fault."""
    return {answer.channel: answer.value if isinstance(answer, Reading) else answer.reason for answer in answers}


def test_every_kind_of_point_gives_its_value(server):
    """All types, both word orders, scale, offset, all four tables and two units are read correctly."""
    port = server.port
    points = {
        "int16": point(port, "input", 0, "int16", scale=0.1),
        "below_zero": point(port, "input", 1, "int16", scale=0.1, offset=10),
        "uint16": point(port, "input", 20, "uint16"),
        "int32": point(port, "input", 30, "int32"),
        "uint32": point(port, "input", 40, "uint32"),
        "float32": point(port, "input", 50, "float32"),
        "low_word_first": point(port, "input", 70, "float32", word_order="little"),
        "holding": point(port, "holding", 11, "uint16", scale=0.1),
        "coil_on": point(port, "coil", 3),
        "coil_off": point(port, "coil", 4),
        "discrete": point(port, "discrete", 3),
        "other_unit": point(port, "input", 0, "int16", unit=2),
    }
    wanted = {
        "int16": 196.3, "below_zero": 4.5, "uint16": 40000, "int32": -123456, "uint32": 3_000_000_000,
        "float32": 187.25, "low_word_first": 187.25, "holding": 5.5, "coil_on": 1, "coil_off": 0,
        "discrete": 1, "other_unit": 333,
    }  # fmt: skip
    with linked(points) as instrument:
        assert values(instrument.read(points)) == wanted
        assert values(instrument.read(["int16", "holding"])) == {"int16": 196.3, "holding": 5.5}


def test_neighbours_share_a_request(server):
    """Three channels and three controls, with a gap between them, take two requests."""
    points = {f"channel_{n}": point(server.port, "input", n, "int16") for n in (0, 1, 2)}
    points |= {f"control_{n}": point(server.port, "holding", n, "uint16") for n in (10, 11, 13)}
    with linked(points) as instrument:
        assert len(instrument.read(points)) == 6
    assert server.asked() == {"4:0:3": 1, "3:10:4": 1}


def test_points_on_the_same_registers_share_a_request(server):
    """A long point and a short one that starts on the same register are both complete."""
    points = {"both": point(server.port, "input", 30, "int32"), "high": point(server.port, "input", 30, "uint16")}
    with linked(points) as instrument:
        assert values(instrument.read(points)) == {"both": -123456, "high": 0xFFFE}
    assert server.asked() == {"4:30:2": 1}


def test_illegal_address_hurts_only_itself(server):
    """A channel at an illegal address gets a fault; its neighbours are read, and soon in one request again."""
    points = {f"good_{n}": point(server.port, "input", n, "int16") for n in (0, 1, 2)}
    points["bad"] = point(server.port, "input", 5, "int16")
    with linked(points) as instrument:
        first = values(instrument.read(points))
        server.asked()
        second = values(instrument.read(points))
        assert server.asked() == {"4:0:3": 1, "4:5:1": 1}
    assert first == second
    assert first == {
        "good_0": 1963, "good_1": -55, "good_2": 2215, "bad": "The instrument has nothing at input address 5."
    }  # fmt: skip


def test_a_hole_between_neighbours_is_found_out_once(server):
    """After one failure, points around an unreadable address are requested one by one."""
    points = {"low": point(server.port, "input", 50, "float32"), "high": point(server.port, "input", 60, "float32")}
    with linked(points) as instrument:
        instrument.read(points)
        assert server.asked() == {"4:50:12": 1, "4:50:2": 1, "4:60:2": 1}
        instrument.read(points)
        assert server.asked() == {"4:50:2": 1, "4:60:2": 1}


def test_not_a_number_is_a_fault_of_its_channel(server):
    """NaN off the wire is a fault, not a reading."""
    points = {"nan": point(server.port, "input", 60, "float32"), "probe": point(server.port, "input", 0, "int16")}
    with linked(points) as instrument:
        assert values(instrument.read(points)) == {
            "nan": "The instrument sent a value that is not a number.", "probe": 1963
        }  # fmt: skip


def test_wrong_unit_is_a_fault_of_its_channels(server):
    """A missing unit is a fault that names it, and the other unit is read."""
    points = {
        "stray": point(server.port, "input", 0, "int16", unit=9),
        "probe": point(server.port, "input", 0, "int16"),
    }
    with linked(points) as instrument:
        answers = values(instrument.read(points))
    assert answers["probe"] == 1963
    assert "unit 9" in str(answers["stray"])


def test_reading_is_stamped_in_the_middle_of_its_exchange(server):
    """The time of a reading is half-way between request and answer."""
    told: list[int] = []

    class Steps(Clock):
        def now_ms(self) -> int:
            told.append(1000 + 100 * len(told))
            return told[-1]

    with linked({"probe": point(server.port, "input", 0, "int16")}, Steps()) as instrument:
        [reading] = instrument.read(["probe"])
    assert reading.at_ms == (told[-2] + told[-1]) // 2


def test_new_values_are_read(own_server):
    """Each read requests the instrument again."""
    with linked({"probe": point(own_server.port, "input", 0, "int16", scale=0.1)}) as instrument:
        assert values(instrument.read(["probe"])) == {"probe": 196.3}
        own_server.set_input(0, [2004])
        assert values(instrument.read(["probe"])) == {"probe": 200.4}


def test_killed_server_is_reported_and_read_again_after_its_return(own_server):
    """A server that dies is a lost link; opening fails with a clear message until it is back."""
    with linked({"probe": point(own_server.port, "input", 0, "int16")}) as instrument:
        instrument.read(["probe"])
        own_server.kill()
        with pytest.raises(InstrumentError, match="closed the connection"):
            instrument.read(["probe"])
        with pytest.raises(InstrumentError, match="not open"):
            instrument.read(["probe"])
        with pytest.raises(InstrumentError, match="refused the connection"):
            instrument.open()
        own_server.start()
        instrument.open()
        assert values(instrument.read(["probe"])) == {"probe": 1963}


def test_mute_server_is_an_error_and_its_late_answer_is_not_taken(own_server):
    """No answer is an error; a late answer never counts for a later request."""
    points = {"probe": point(own_server.port, "input", 0, "int16")}
    with linked(points, timeout_s=0.1) as instrument:
        own_server.stall()
        with pytest.raises(InstrumentError, match=r"did not answer within 0\.1 s"):
            instrument.read(points)
        own_server.resume()
        instrument.open()
        own_server.set_input(0, [7])
        assert values(instrument.read(points)) == {"probe": 7}


def test_dead_instrument_does_not_delay_another(own_server, server):
    """While one instrument blocks its reader, the other is read again and again."""
    dead = ModbusInstrument({"surface": point(own_server.port, "input", 0, "int16")}, Clock(), 30)
    dead.open()
    own_server.stall()
    waiting = threading.Thread(target=dead.read, args=(["surface"],))
    waiting.start()
    with linked({"probe": point(server.port, "input", 0, "int16")}) as alive:
        for _ in range(20):
            assert values(alive.read(["probe"])) == {"probe": 1963}
        assert waiting.is_alive()
    own_server.resume()
    waiting.join()
    dead.close()


def test_unknown_host_is_reported():
    """An invalid host name is reported as such, without asking the network."""
    wrong = ModbusPoint(host="no..such", table="input", address=0, type="int16")
    with pytest.raises(InstrumentError, match=r"Host no\.\.such not found"):
        ModbusInstrument({"probe": wrong}, Clock()).open()


def test_close_never_raises():
    """Closing an unopened instrument, twice, does nothing."""
    instrument = ModbusInstrument({"probe": point(held_port(), "input", 0, "int16")}, Clock())
    instrument.close()
    instrument.close()


def test_one_link_has_one_address():
    """Points of two instruments cannot share one link."""
    with pytest.raises(ValueError, match="one host and port, or one serial line"):
        ModbusInstrument({"a": point(1, "coil", 0), "b": point(2, "coil", 0)}, Clock())


# Nothing is ever written.


def test_no_write_reaches_the_instrument(server):
    """The four tables are read by codes 1 to 4; a write forced inside the driver never reaches the wire."""
    points = {
        "coil": point(server.port, "coil", 3), "discrete": point(server.port, "discrete", 3),
        "holding": point(server.port, "holding", 10, "uint16"), "input": point(server.port, "input", 0, "int16"),
    }  # fmt: skip
    with linked(points) as instrument:
        instrument.read(points)
        assert {question.split(":")[0] for question in server.asked()} == {"1", "2", "3", "4"}
        client = instrument._client
        writes = [
            lambda: client.write_coil(3, False), lambda: client.write_register(10, 0),
            lambda: client.write_coils(3, [False]), lambda: client.write_registers(10, [0]),
            lambda: client.mask_write_register(address=10, and_mask=0, or_mask=0),
            lambda: client.readwrite_registers(read_address=10, read_count=1, write_address=10, values=[0]),
        ]  # fmt: skip
        for write in writes:
            with pytest.raises(InstrumentError, match="never sets a machine"):
                write()
        assert server.asked() == {}
        assert values(instrument.read(["holding"])) == {"holding": 40}


def test_the_driver_offers_no_write():
    """An instrument offers open, read and close."""
    assert {name for name in vars(ModbusInstrument) if not name.startswith("_")} == {"open", "read", "close"}


# An instrument that talks nonsense.


class Babbler:
    """A TCP server that answers each request with bytes of the test's choice."""

    def __init__(self) -> None:
        self.answer = b""
        self.units: list[int] = []  # the unit of each request
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                connection, _ = self._listener.accept()
                with connection, contextlib.suppress(OSError):
                    while question := connection.recv(300):
                        self.units.append(question[6])
                        connection.sendall(self.answer.replace(b"TT", question[:2]))

    def close(self) -> None:
        """Stop listening."""
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()


@pytest.fixture(scope="module")
def babbler():
    """A server that sends the test's answers."""
    babbler = Babbler()
    yield babbler
    babbler.close()


def frame(pdu: bytes, unit: int = 1) -> bytes:
    """A TCP frame whose transaction number is filled in by the babbler."""
    return b"TT" + struct.pack(">HHB", 0, len(pdu) + 1, unit) + pdu


def babbled(babbler: Babbler, answer: bytes, points: dict[str, ModbusPoint] | None = None):
    """The driver's result for an answer."""
    babbler.answer = answer
    points = points or {"probe": point(babbler.port, "input", 0, "float32")}
    with linked(points, timeout_s=0.05) as instrument:
        return instrument.read(points)


def test_babbler_is_understood_when_it_makes_sense(babbler):
    """A complete frame of its own gives its value (so the tests below are meaningful)."""
    assert values(babbled(babbler, frame(bytes.fromhex("04 04 433B 4000")))) == {"probe": 187.25}


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        (frame(bytes.fromhex("04 02 433B")), "1 values; 2 were requested"),
        (frame(bytes.fromhex("04 06 433B 4000 0001")), "3 values; 2 were requested"),
        (frame(bytes.fromhex("04 00")), "0 values; 2 were requested"),
        (frame(bytes.fromhex("84 04")), "reports a failure"),
        (frame(bytes.fromhex("84 06")), "busy"),
        (frame(bytes.fromhex("84 0B")), "unit 1 does not answer"),
        (frame(bytes.fromhex("84 63")), "exception 99"),
    ],
)
def test_odd_answer_is_a_fault(babbler, answer, says):
    """Exceptions and short answers are faults of a channel, with a reason."""
    assert says.lower() in str(values(babbled(babbler, answer))["probe"]).lower()


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        (frame(bytes.fromhex("03 04 433B 4000")), "not match the request"),
        (frame(bytes.fromhex("04 09 43")), "not Modbus"),
        (b"\x00\x63" + frame(bytes.fromhex("04 04 433B 4000"))[2:], "did not answer"),
        (frame(bytes.fromhex("04 04 433B 4000"), unit=7), "did not answer"),
        (b"HTTP/1.1 400 Bad Request\r\n\r\n", "did not answer"),
        (b"", "did not answer"),
    ],
)
def test_answer_to_another_question_is_a_lost_link(babbler, answer, says):
    """An answer with another function, unit or transaction, or no Modbus at all, is never used as a value."""
    with pytest.raises(InstrumentError, match=says):
        babbled(babbler, answer)


def test_silent_unit_spoils_only_itself(babbler):
    """Unit 1 stays silent, unit 2 is read; the next poll does not wait for unit 1."""
    points = {
        "silent": point(babbler.port, "input", 0, "uint16", unit=1),
        "heard": point(babbler.port, "input", 0, "uint16", unit=2),
    }
    babbler.answer = frame(bytes.fromhex("04 02 0007"), unit=2)
    babbler.units.clear()
    with linked(points, timeout_s=0.05) as instrument:
        for _ in range(3):
            answers = values(instrument.read(points))
            assert answers["heard"] == 7
            assert "Unit 1 does not answer" in str(answers["silent"])
        assert babbler.units == [1, 2, 2, 2]
        babbler.answer = b""
        with pytest.raises(InstrumentError, match="did not answer"):
            instrument.read(points)


@settings(max_examples=60, deadline=None)
@given(cut=st.integers(0, 13), put=st.binary(max_size=6))
def test_damaged_answers_never_break_the_driver(babbler, cut, put):
    """Lost or inserted bytes give a finite reading, a fault or an InstrumentError, nothing else."""
    whole = frame(bytes.fromhex("04 04 433B 4000"))
    try:
        [answer] = babbled(babbler, whole[:cut] + put + whole[cut + len(put) :])
    except InstrumentError:
        return
    assert isinstance(answer, ReadFault) or math.isfinite(answer.value)
