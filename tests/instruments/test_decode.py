"""Registers to values, and the frames of the public Modbus specification."""

import csv
import math
import struct
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.exceptions import ModbusException
from pymodbus.framer.rtu import FramerRTU
from pymodbus.framer.socket import FramerSocket
from pymodbus.pdu import DecodePDU, ModbusPDU

from roastlog.errors import InstrumentError
from roastlog.instruments.decode import RegisterType, decode, register_count

FRAMES = Path(__file__).parents[1] / "golden" / "modbus_frames.csv"
KINDS: tuple[RegisterType, ...] = ("int16", "uint16", "int32", "uint32", "float32")


def frames(form: str) -> list[dict[str, str]]:
    """Rows of one form of the golden file."""
    lines = [line for line in FRAMES.read_text().splitlines() if not line.startswith("#")]
    rows = [row for row in csv.DictReader(lines) if row["form"] == form]
    assert rows
    return rows


def parsed(row: dict[str, str]) -> ModbusPDU | None:
    """What pymodbus makes of a whole frame; None for one that it refuses."""
    decoder = DecodePDU(row["side"] == "request")
    data = bytes.fromhex(row["hex"])
    if row["form"] == "pdu":
        return decoder.decode(data)
    framer = FramerRTU(decoder) if row["form"] == "rtu" else FramerSocket(decoder)
    return framer.handleFrame(data, 0, 0)[1]


@pytest.mark.parametrize(
    ("registers", "kind", "word_order", "scaling", "value"),
    [
        # Two's complement and IEEE 754 by definition: 187.25 is 0x433B4000, -123456 is 0xFFFE1DC0.
        ([1963], "int16", "big", (0.1, 0.0), 196.3),
        ([0xFFFF], "int16", "big", (1.0, 0.0), -1),
        ([0x8000], "int16", "big", (1.0, 0.0), -32768),
        ([0xFFFF], "uint16", "big", (1.0, 0.0), 65535),
        ([0xFFFE, 0x1DC0], "int32", "big", (1.0, 0.0), -123456),
        ([0x1DC0, 0xFFFE], "int32", "little", (1.0, 0.0), -123456),
        ([0xB2D0, 0x5E00], "uint32", "big", (1.0, 0.0), 3_000_000_000),
        ([0x5E00, 0xB2D0], "uint32", "little", (1.0, 0.0), 3_000_000_000),
        ([0x433B, 0x4000], "float32", "big", (1.0, 0.0), 187.25),
        ([0x4000, 0x433B], "float32", "little", (1.0, 0.0), 187.25),
        ([2500], "uint16", "big", (0.1, -40.0), 210.0),
        ([0x0000, 0x8000], "float32", "little", (1.0, 0.0), 0.0),
    ],
)
def test_registers_give_the_value(registers, kind, word_order, scaling, value):
    """Each type, both word orders, scale and offset give the value by hand."""
    scale, offset = scaling
    assert decode(registers, kind, word_order=word_order, scale=scale, offset=offset) == value


@pytest.mark.parametrize("words", [[0x7FC0, 0], [0x7F80, 0], [0xFF80, 0], [0x7F80, 1]])
def test_no_number_is_refused(words):
    """NaN and both infinities are no readings."""
    with pytest.raises(InstrumentError, match="not a number"):
        decode(words, "float32")


@pytest.mark.parametrize("words", [[], [1], [1, 2, 3]])
def test_wrong_number_of_registers_is_refused(words):
    """A 32-bit value takes two registers, no fewer and no more."""
    with pytest.raises(InstrumentError, match="takes 2 registers"):
        decode(words, "int32")


@given(
    registers=st.lists(st.integers(-10, 70_000), max_size=4),
    kind=st.sampled_from(KINDS),
    order=st.sampled_from(("big", "little")),
    scale=st.floats(-1e6, 1e6),
    offset=st.floats(-1e6, 1e6),
)
def test_any_registers_give_a_number_or_a_named_error(registers, kind, order, scale, offset):
    """Whatever comes off the wire, there is a finite number or an InstrumentError."""
    try:
        value = decode(registers, kind, word_order=order, scale=scale, offset=offset)
    except InstrumentError:
        return
    assert math.isfinite(value)
    assert len(registers) == register_count(kind)
    assert all(0 <= register <= 0xFFFF for register in registers)


@given(value=st.floats(width=32, allow_nan=False, allow_infinity=False), little=st.booleans())
def test_every_float32_survives(value, little):
    """Each finite float32 comes back to within the 12 digits kept."""
    words = list(struct.unpack(">HH", struct.pack(">f", value)))
    got = decode(words[::-1] if little else words, "float32", word_order="little" if little else "big")
    assert got == pytest.approx(value, rel=1e-11, abs=0)


@given(value=st.integers(-(2**31), 2**31 - 1), little=st.booleans())
def test_every_int32_survives(value, little):
    """Each int32 comes back exactly."""
    words = list(struct.unpack(">HH", struct.pack(">i", value)))
    got = decode(words[::-1] if little else words, "int32", word_order="little" if little else "big")
    assert got == value


@pytest.mark.parametrize("row", frames("pdu") + frames("rtu") + frames("tcp"), ids=lambda row: row["name"])
def test_frames_of_the_specification(row):
    """Whole frames (Modbus Application Protocol V1.1b3, marks in the file) parse, and give their values."""
    pdu = parsed(row)
    if row["good"] == "no":
        assert pdu is None
        return
    assert pdu is not None
    assert pdu.isError() == ("exception" in row["name"])
    wanted = [int(value) for value in row["registers"].split()]
    assert [decode([register], "uint16") for register in pdu.registers] == wanted


@pytest.mark.parametrize(
    "row", [row for row in frames("rtu") + frames("tcp") if row["good"] == "yes"], ids=lambda row: row["name"]
)
def test_frames_are_built_byte_for_byte(row):
    """The library that asks for us builds the same bytes again."""
    pdu = parsed(row)
    assert pdu is not None
    framer = (FramerRTU if row["form"] == "rtu" else FramerSocket)(DecodePDU(False))
    assert framer.buildFrame(pdu) == bytes.fromhex(row["hex"])


def test_exception_frame_names_the_illegal_address():
    """The exception frame carries code 2, illegal data address."""
    [row] = [row for row in frames("rtu") if "exception" in row["name"]]
    pdu = parsed(row)
    assert pdu is not None
    assert pdu.exception_code == 2


def crc16(data: bytes) -> int:
    """CRC of the serial line guide, bit by bit: another road than the library's table."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xA001 if crc & 1 else 0)
    return crc


@pytest.mark.parametrize("row", frames("crc") + frames("rtu"), ids=lambda row: row["name"])
def test_checksums(row):
    """Published checksums fit, low byte first, by the library and bit by bit; the wrong one does not."""
    data = bytes.fromhex(row["hex"])
    sent = int.from_bytes(data[-2:], "little")
    assert (crc16(data[:-2]) == sent) == (row["good"] == "yes")
    assert FramerRTU.check_CRC(data[:-2], int.from_bytes(data[-2:], "big")) == (row["good"] == "yes")


@given(data=st.binary(max_size=40))
def test_any_bytes_are_a_frame_or_refused(data):
    """The framer that we rely on gives a frame, waits, or raises its own error; it never crashes."""
    try:
        used, _ = FramerSocket(DecodePDU(False)).handleFrame(data, 1, 1)
    except ModbusException:
        return
    assert used >= 0
