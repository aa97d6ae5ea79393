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
from roastlog.instruments import modbus, modbus_wire
from roastlog.instruments.base import Reading
from roastlog.instruments.modbus import ModbusInstrument
from roastlog.machine.sources import ModbusPoint
from tests.conftest import HandClock

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
        """What came late since the last exchange waits in the port."""
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
