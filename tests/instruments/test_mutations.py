"""No mutation of valid answers gives a wrong number where the protocol can tell."""

import contextlib
import socket
import struct
from collections.abc import Iterator

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pymodbus.framer import FramerRTU

from roastlog.errors import InstrumentError
from roastlog.instruments import modbus, modbus_wire, serial_line
from roastlog.instruments.base import Reading
from roastlog.instruments.doubt import Doubt
from roastlog.instruments.modbus import ModbusInstrument
from roastlog.instruments.serial_line import SerialInstrument
from roastlog.machine.sources import ModbusPoint, SerialPoint
from tests.conftest import START_MS, HandClock

TRUTH = {"bean_probe": 1963.0, "exhaust": 2215.0}
ADDRESSES = {"bean_probe": 0, "exhaust": 100}  # too far apart for one request, and equal in all else


def points(**where: object) -> dict[str, ModbusPoint]:
    """The two channels on a wire."""
    return {
        name: ModbusPoint.model_validate({"table": "input", "address": address, "type": "int16", **where})
        for name, address in ADDRESSES.items()
    }


def body(address: int) -> bytes:
    """The answer to a question for one register."""
    return b"\x04\x02" + struct.pack(">H", int(TRUTH["bean_probe" if address == 0 else "exhaust"]))


def heard(instrument: ModbusInstrument) -> list[Reading]:
    """The readings of a poll; none where the link is lost. Each is the true value of its channel."""
    try:
        readings = [answer for answer in instrument.read(ADDRESSES) if isinstance(answer, Reading)]
    except InstrumentError:
        return []
    assert all(reading.value == TRUTH[reading.channel] for reading in readings), readings
    return readings


def tcp_frame(number: int) -> bytes:
    """The answer to the first or the second request of a connection."""
    return struct.pack(">HHHB", number, 0, 5, 1) + body(0 if number == 1 else 100)


def byte_changed(data: bytes, place: int, value: int) -> bytes:
    """The bytes with one of them replaced."""
    return data[:place] + bytes([value]) + data[place + 1 :]


HEADER = 9  # bytes of a TCP answer before its value: number, protocol, length, unit, function, byte count
TCP_MUTATIONS = st.one_of(
    st.builds(lambda at, by: lambda one, two: [byte_changed(one, at, by), two], st.integers(0, 8), st.integers(0, 255)),
    st.builds(lambda at, by: lambda one, two: [one, byte_changed(two, at, by)], st.integers(0, 8), st.integers(0, 255)),
    st.builds(lambda size: lambda one, two: [one, two[:size]], st.integers(0, HEADER + 1)),
    st.builds(lambda size: lambda one, _two: [one[:size]], st.integers(0, HEADER + 1)),
    st.permutations([1, 1, 2, 2]).map(lambda order: lambda one, two: [(one, two)[number - 1] for number in order]),
    st.just(lambda one, two: [tcp_frame(0)[:2] + two[2:], one]),
    st.just(lambda _one, two: [two]),
    st.just(lambda one, two: [one, two]),
)


@given(mutate=TCP_MUTATIONS)
def test_a_mutated_tcp_answer_gives_the_value_or_none(mutate):
    """Changed headers, cut, repeated, swapped and missing answers never give a channel another's value."""
    near, far = socket.socketpair()
    with far, pytest.MonkeyPatch.context() as patch:
        patch.setattr(modbus_wire.socket, "create_connection", lambda *_args, **_rest: near)
        instrument = ModbusInstrument(points(host="192.0.2.1"), HandClock(), 0.01)
        instrument.open()
        far.sendall(b"".join(mutate(tcp_frame(1), tcp_frame(2))))
        heard(instrument)
        instrument.close()


class Line:
    """A serial line with one instrument, which answers each request as the test says.

    A late answer arrives in the midst of the exchange that is under way then, before its own answer.
    """

    is_open = True

    def __init__(self, clock: HandClock) -> None:
        self.clock, self.fates = clock, iter(())
        self.waiting = b""
        self.late: list[tuple[int, bytes]] = []

    @property
    def in_waiting(self) -> int:
        """Number of bytes that have arrived."""
        return len(self.waiting)

    def read(self, size: int) -> bytes:
        """Take bytes that have arrived."""
        taken, self.waiting = self.waiting[:size], self.waiting[size:]
        return taken

    def write(self, request: bytes) -> int:
        """Receive a request, and answer it."""
        now_ms = self.clock.now_ms()
        arriving = [data for due_ms, data in self.late if due_ms <= now_ms + 1000]
        self.late = [item for item in self.late if item[0] > now_ms + 1000]
        self.waiting += b"".join(arriving)
        frame = b"\x01" + body(int.from_bytes(request[2:4], "big"))
        frame += FramerRTU.compute_CRC(frame).to_bytes(2, "big")
        kind, number = next(self.fates, ("good", 0))
        if kind == "late":
            self.late.append((now_ms + 1000 + number, frame))
        elif kind == "flipped":
            place = number % (8 * len(frame))
            self.waiting += byte_changed(frame, place // 8, frame[place // 8] ^ 1 << place % 8)
        elif kind == "cut":
            self.waiting += frame[: number % len(frame)]
        elif kind == "noisy":
            self.waiting += bytes([number % 256]) + frame
        else:
            self.waiting += frame * {"good": 1, "twice": 2, "silent": 0}[kind]
        return len(request)

    def between(self) -> None:
        """Bytes that came late since the last exchange wait in the port."""
        arrived = [data for due_ms, data in self.late if due_ms <= self.clock.now_ms()]
        self.late = [item for item in self.late if item[0] > self.clock.now_ms()]
        self.waiting += b"".join(arrived)

    def close(self) -> None:
        """The instrument goes on sending."""


FATES = st.one_of(
    st.tuples(st.sampled_from(["good", "flipped", "cut", "noisy", "twice", "silent"]), st.integers(0, 255)),
    st.tuples(st.just("late"), st.sampled_from([0, 0, 300, 900, 1900])),  # ms after the timeout
)


@contextlib.contextmanager
def on_the_line() -> Iterator[tuple[Line, ModbusInstrument]]:
    """An open instrument on such a line; its timeout is short, since nothing comes while it waits."""
    line = Line(HandClock())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(modbus_wire, "open_port", lambda *_: line)
        instrument = ModbusInstrument(points(device="/dev/ttyLine"), line.clock, 0.004)
        instrument.open()
        yield line, instrument
        instrument.close()


@settings(max_examples=200)
@given(
    fates=st.lists(FATES, min_size=3, max_size=10),
    steps_s=st.lists(st.sampled_from([0.1, 0.5, 1.0, 3.5]), min_size=5, max_size=5),
)
@example(fates=[("late", 0)] * 3, steps_s=[0.1] * 5)
@example(fates=[("late", 0), ("good", 0), ("late", 0), ("late", 0)], steps_s=[0.1] * 5)
def test_a_mutated_rtu_answer_gives_the_value_or_none(fates, steps_s):
    """Late, damaged, cut, repeated and missing answers on a serial line never give a channel another's value."""
    with on_the_line() as (line, instrument):
        line.fates = iter(fates)
        now_s = 0.0
        for step_s in steps_s:
            if not heard(instrument):
                line.between()
                instrument.open()
            now_s += step_s
            line.clock.turn_to(now_s)
            line.between()


def test_a_line_is_read_again_after_a_late_answer():
    """The time in which a late answer may come passes, and both channels have values again."""
    with on_the_line() as (line, instrument):
        line.fates = iter([("late", 500)])
        assert heard(instrument) == []
        instrument.open()
        line.clock.turn_to(0.6)
        assert heard(instrument) == []
        line.clock.turn_to(modbus._LATE_S + 1)
        line.between()
        assert {reading.channel for reading in heard(instrument)} == set(TRUTH)


class Printer:
    """A port that received these bytes, and was then pulled out."""

    def __init__(self, data: bytes) -> None:
        self.data = data

    @property
    def in_waiting(self) -> int:
        """Number of bytes that wait."""
        return len(self.data)

    def read(self, size: int) -> bytes:
        """Take bytes; an error once there are none."""
        if not self.data:
            raise OSError("pulled out")
        taken, self.data = self.data[:size], self.data[size:]
        return taken

    def close(self) -> None:
        """Nothing to close."""


def printed(data: bytes, checksum: str) -> list[float]:
    """The values of a channel whose device printed these bytes."""
    clock = HandClock()
    point = SerialPoint.model_validate(
        {"device": "/dev/ttyLine", "separator": ",", "column": 2, "columns": 3, "checksum": checksum}
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(serial_line, "open_port", lambda *_: Printer(b"\n" + data))
        instrument = SerialInstrument({"bean_probe": point}, clock)
        instrument.open()
        assert instrument._thread is not None
        instrument._thread.join()
    values: list[float] = []
    with contextlib.suppress(InstrumentError):  # the port was pulled out, and all that came before was taken
        for ms in range(1, 100):
            clock.turn_to(ms / 1000)
            values += [item.value for item in instrument.read(["bean_probe"]) if isinstance(item, Reading)]
    instrument.close()
    return values


PRINTED = [196.3, 196.5, 187.0, 20.1]


def checked_line(value: float, checksum: str) -> bytes:
    """A line with its checksum, which is computed here by other code than in the reader."""
    content = f"12,{value:.1f},1885".encode()
    if checksum == "crc16":
        return content + f"*{FramerRTU.compute_CRC(content).to_bytes(2, 'little').hex()}\r\n".encode()
    number = sum(content) % 256
    if checksum == "xor":
        number = 0
        for byte in content:
            number ^= byte
    return content + f"*{number:02X}\r\n".encode()


@pytest.mark.parametrize("checksum", ["xor", "sum", "crc16"])
def test_intact_lines_give_their_values(checksum):
    """Lines with a right checksum are read in their order (so the test below is meaningful)."""
    assert printed(b"".join(checked_line(value, checksum) for value in PRINTED), checksum) == PRINTED


@settings(max_examples=300)
@given(
    checksum=st.sampled_from(["xor", "sum", "crc16"]),
    order=st.lists(st.integers(0, 3), min_size=1, max_size=6),
    kind=st.sampled_from(["flip", "burst", "cut", "lost"]),
    at=st.integers(0, 10_000),
    bits=st.integers(1, 2**16 - 1),
)
def test_a_mutated_line_with_a_checksum_gives_its_value_or_none(checksum, order, kind, at, bits):
    """Flipped bits, lost bytes and lines, and any order of lines never give a number that no line had."""
    data = bytearray(b"".join(checked_line(PRINTED[number], checksum) for number in order))
    at %= len(data)
    if kind == "cut":
        del data[at:]
    elif kind == "lost" and checksum == "crc16":  # what is lost may add up to nothing in a sum of eight bits
        del data[at : at + 1 + bits % 8]
    elif kind != "burst" or checksum != "crc16":  # and so may a burst
        data[at] ^= 1 << bits % 8
    else:
        data[at] ^= bits & 0xFF
        data[min(at + 1, len(data) - 1)] ^= bits >> 8
    assert set(printed(bytes(data), checksum)) <= set(PRINTED)


@given(
    start_c=st.floats(20, 250),
    steps_c=st.lists(st.floats(-2, 2), min_size=4, max_size=20),
    at=st.integers(1, 19),
    jump_c=st.floats(30, 900),
)
def test_without_a_checksum_one_jump_is_held_back(start_c, steps_c, at, jump_c):
    """A single reading that jumped never counts, and no other is lost."""
    doubt, true_c, passed, jumped = Doubt(), start_c, list[float](), at % len(steps_c) or 1
    expected: list[float] = []
    for number, step_c in enumerate(steps_c):
        true_c += step_c
        came_c = true_c + jump_c if number == jumped else true_c
        expected += [] if number == jumped else [true_c]
        passed += [item.value for item in doubt.passed(Reading(START_MS + 1000 * number, "bean_probe", came_c))]
    assert passed == expected


def test_without_a_checksum_a_step_that_stays_counts_from_its_first_reading():
    """A plug that is put in makes a real step: its first reading waits for the second, and then both count."""
    doubt = Doubt()
    sent = [Reading(START_MS + 1000 * number, "exhaust", value) for number, value in enumerate([20, 20, 210, 211, 212])]
    passed = [[item.value for item in doubt.passed(reading)] for reading in sent]
    assert passed == [[20], [20], [], [210, 211], [212]]
