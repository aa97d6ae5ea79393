"""Decoding of registers and text to values, and of the frames in the public Modbus specification."""

import csv
import json
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
from roastlog.machine.decoding import (
    LineBuffer,
    RegisterType,
    column_number,
    decode,
    group_number,
    json_number,
    json_steps,
    line_pattern,
    plain_number,
    register_count,
    snap_setting,
    unchecked,
)

FRAMES = Path(__file__).parents[1] / "golden" / "modbus_frames.csv"
KINDS: tuple[RegisterType, ...] = ("int16", "uint16", "int32", "uint32", "float32")


def frames(form: str) -> list[dict[str, str]]:
    """Rows of one kind in the golden file."""
    lines = [line for line in FRAMES.read_text().splitlines() if not line.startswith("#")]
    rows = [row for row in csv.DictReader(lines) if row["form"] == form]
    assert rows
    return rows


def parsed(row: dict[str, str]) -> ModbusPDU | None:
    """A frame parsed by pymodbus; None if it is refused."""
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
    """NaN and both infinities are refused."""
    with pytest.raises(InstrumentError, match="not a number"):
        decode(words, "float32")


@pytest.mark.parametrize("words", [[], [1], [1, 2, 3]])
def test_wrong_number_of_registers_is_refused(words):
    """A 32-bit value takes exactly two registers."""
    with pytest.raises(InstrumentError, match="needs 2 registers"):
        decode(words, "int32")


@given(
    registers=st.lists(st.integers(-10, 70_000), max_size=4),
    kind=st.sampled_from(KINDS),
    order=st.sampled_from(("big", "little")),
    scale=st.floats(-1e6, 1e6),
    offset=st.floats(-1e6, 1e6),
)
def test_any_registers_give_a_number_or_a_named_error(registers, kind, order, scale, offset):
    """Any registers give a finite number or an InstrumentError."""
    try:
        value = decode(registers, kind, word_order=order, scale=scale, offset=offset)
    except InstrumentError:
        return
    assert math.isfinite(value)
    assert len(registers) == register_count(kind)
    assert all(0 <= register <= 0xFFFF for register in registers)


@given(value=st.floats(width=32, allow_nan=False, allow_infinity=False), little=st.booleans())
def test_every_float32_survives(value, little):
    """Each finite float32 is preserved to the 12 digits kept."""
    words = list(struct.unpack(">HH", struct.pack(">f", value)))
    got = decode(words[::-1] if little else words, "float32", word_order="little" if little else "big")
    assert got == pytest.approx(value, rel=1e-11, abs=0)


@given(value=st.integers(-(2**31), 2**31 - 1), little=st.booleans())
def test_every_int32_survives(value, little):
    """Each int32 is preserved exactly."""
    words = list(struct.unpack(">HH", struct.pack(">i", value)))
    got = decode(words[::-1] if little else words, "int32", word_order="little" if little else "big")
    assert got == value


@pytest.mark.parametrize("row", frames("pdu") + frames("rtu") + frames("tcp"), ids=lambda row: row["name"])
def test_frames_of_the_specification(row):
    """Complete frames (Modbus Application Protocol V1.1b3, marks in the file) parse, and give their values."""
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
    """The library builds the same request bytes."""
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
    """CRC of the serial line guide, bit by bit, independent of the library's table."""
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
    """The framer gives a frame, waits, or raises its own error; it never crashes."""
    try:
        used, _ = FramerSocket(DecodePDU(False)).handleFrame(data, 1, 1)
    except ModbusException:
        return
    assert used >= 0


# Text.


@pytest.mark.parametrize(
    ("text", "value"),
    [("196.3", 196.3), (" -5 ", -5), ("+.5", 0.5), ("7.", 7), ("1.963e2", 196.3), ("1963E-1\r", 196.3), ("007", 7)],
)
def test_plain_numbers(text, value):
    """Ordinary numbers are accepted."""
    assert plain_number(text) == value


@pytest.mark.parametrize(
    "text",
    ["", " ", "nan", "NaN", "inf", "-Infinity", "1e999", "0x10", "1_000", "196,3", "1 2", "--5", "196.3 °C", "١٩٦",
     "1" * 21, "on", "true", ".", "e5", "5e", "196.3.4", "\x00196.3", "½"],
)  # fmt: skip
def test_no_plain_numbers(text):
    """Words, decimal commas, two numbers and Python-only notations are refused."""
    with pytest.raises(InstrumentError):
        plain_number(text)


@pytest.mark.parametrize(
    ("path", "steps"),
    [("$", ()), ("$.celsius", ("celsius",)), ("$.a.b[0]", ("a", "b", 0)), ("$[12][3].t", (12, 3, "t")),
     ("$.28-0000c1.°", None), ("$.28-0000c1", ("28-0000c1",))],
)  # fmt: skip
def test_paths(path, steps):
    """Names and indices are accepted; a character that no name has is refused."""
    if steps is None:
        with pytest.raises(InstrumentError, match="not a JSON path"):
            json_steps(path)
    else:
        assert json_steps(path) == steps


@pytest.mark.parametrize(
    "path", ["", "celsius", ".celsius", "$celsius", "$.", "$..a", "$[]", "$[-1]", "$[a]", "$.a ", "$.*"]
)
def test_no_paths(path):
    """Anything but dots, names and indices is refused."""
    with pytest.raises(InstrumentError, match="not a JSON path"):
        json_steps(path)


DOCUMENT = '{"a": {"b": [196.3, "7", true, null]}, "n": 5, "big": 1e999, "huge": ' + "9" * 400 + "}"


@pytest.mark.parametrize(("path", "value"), [("$.a.b[0]", 196.3), ("$.n", 5)])
def test_a_path_leads_to_its_number(path, value):
    """A number at the end of a path is read."""
    assert json_number(DOCUMENT, json_steps(path)) == value


@pytest.mark.parametrize(
    ("path", "says"),
    [("$.a.b[1]", "not a number"), ("$.a.b[2]", "not a number"), ("$.a.b[3]", "not a number"), ("$.a", "not a number"),
     ("$.a.b[4]", "no “4”"), ("$.a.c", "no “c”"), ("$.n.x", "no “x”"), ("$.a[0]", "no “0”"), ("$.a.b.c", "no “c”"),
     ("$.big", "not a number"), ("$.huge", "too large")],
)  # fmt: skip
def test_a_path_that_leads_to_no_number_says_so(path, says):
    """A number in quotes, true, null, an infinite number, and a missing part each have a reason."""
    with pytest.raises(InstrumentError, match=says):
        json_number(DOCUMENT, json_steps(path))


@pytest.mark.parametrize("text", ["", "{", "NaN", "[Infinity]", "[" * 100_000, "1" + "0" * 5000, "{'a': 1}", "1 2"])
def test_no_json(text):
    """Invalid JSON, strictly parsed, is refused."""
    with pytest.raises(InstrumentError, match="not JSON"):
        json_number(text, ())


def test_columns():
    """A complete line gives the number in one column; a space separates by any spaces and tabs."""
    assert column_number("196.3, 204.1,88", ",", 2, 3) == 204.1
    assert column_number("  196.3 \t 204.1   88", " ", 3, 3) == 88
    assert column_number("T;196.3;C", ";", 2, 3) == 196.3


@pytest.mark.parametrize("line", ["196.3,204.1", "196.3,204.1,88,1", "196.3204.1,88", "", ",,", "a,b,c", "196.3;1;2"])
def test_a_line_of_other_columns_is_refused(line):
    """A line with one column too few or too many is rejected."""
    with pytest.raises(InstrumentError):
        column_number(line, ",", 2, 3)


@pytest.mark.parametrize(
    ("line", "checksum", "content"),
    [
        ("123456789*4B37", "crc16", "123456789"),  # check value of CRC-16/MODBUS in the catalogues [from memory]
        ("123456789*4b37", "crc16", "123456789"),
        ("123456789*DD", "sum", "123456789"),  # 49 + 50 + … + 57 = 477 = 0x1DD
        (
            "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
            "xor",
            "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",
        ),
    ],  # the last is a common example of an NMEA 0183 sentence [from memory]
)
def test_a_right_checksum_is_taken_off(line, checksum, content):
    """The content of a line with a right checksum, by published check values."""
    assert unchecked(line, checksum, "*") == content


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("123456789*4B38", "is wrong"),
        ("123456788*4B37", "is wrong"),
        ("123456789*4B3", "does not end"),
        ("123456789*04B37", "does not end"),
        ("123456789 4B37", "does not end"),
        ("1234567é9*4B37", "does not end"),
        ("", "does not end"),
    ],
)
def test_a_line_with_a_wrong_checksum_or_none_is_refused(line, says):
    """The message says whether it is missing or wrong."""
    with pytest.raises(InstrumentError, match=says):
        unchecked(line, "crc16", "*")


def test_pattern():
    """The named group of a pattern that matches the whole line is the number."""
    pattern = line_pattern(r"B=(?P<bean>[-\d.]+) E=(?P<value>[-\d.]+)( ok)?")
    assert group_number("B=196.3 E=-5 ok", pattern, "value") == -5
    assert group_number("B=196.3 E=-5", pattern, "bean") == 196.3


@pytest.mark.parametrize(
    "line", ["B=196.3 E=", "B=196.3 E=5 ", " B=196.3 E=5", "B=196.3 E=5B=2 E=7", "B=1.2.3 E=-", ""]
)
def test_a_line_that_does_not_fit_whole_is_refused(line):
    """A partial match is rejected, since part of a number is another number."""
    with pytest.raises(InstrumentError):
        group_number(line, line_pattern(r"B=(?P<bean>[-\d.]+) E=(?P<value>[-\d.]+)"), "value")


def test_a_group_that_took_no_part_is_no_number():
    """An optional group that did not match gives no value."""
    with pytest.raises(InstrumentError, match="does not match"):
        group_number("off", line_pattern(r"off|(?P<value>\d+)"), "value")


@pytest.mark.parametrize(
    "pattern", ["(", "(?P<value>", "[", "*", "(a+)+b", r"(a|a)*", r"(a){3}", "(?P<1>a)", "a{99999999999}"]
)
def test_invalid_or_unbounded_patterns_are_refused(pattern):
    """An invalid pattern, and one that repeats a group, are refused with a reason."""
    with pytest.raises(InstrumentError):
        line_pattern(pattern)


def test_a_parenthesis_of_the_line_may_be_repeated():
    """An escaped parenthesis closes no group."""
    assert line_pattern(r"\(+(?P<value>\d+)\)+").fullmatch("((7))")


@given(line=st.text(max_size=60), separator=st.sampled_from([",", ";", " ", "\t"]), columns=st.integers(1, 4))
def test_any_line_gives_a_finite_number_or_an_error(line, separator, columns):
    """Any line gives a finite number or an error, by columns or by pattern."""
    pattern = line_pattern(r".?(?P<value>.*)")
    reads = [lambda: column_number(line, separator, 1, columns), lambda: group_number(line, pattern, "value")]
    for read in [*reads, lambda: plain_number(line), lambda: json_number(line, ("a",)), lambda: json_number(line, ())]:
        try:
            value = read()
        except InstrumentError:
            continue
        assert math.isfinite(value)


@given(value=st.floats(-1e6, 1e6), steps=st.lists(st.integers(0, 3) | st.sampled_from(["a", "b-2"]), max_size=4))
def test_a_number_is_found_wherever_a_path_leads(value, steps):
    """A number in a generated document is found by its path."""
    document: object = value
    for step in reversed(steps):
        document = {step: document} if isinstance(step, str) else [None] * step + [document]
    path = "$" + "".join(f".{step}" if isinstance(step, str) else f"[{step}]" for step in steps)
    assert json_number(json.dumps(document), json_steps(path)) == pytest.approx(value, rel=1e-11)


@given(
    text=st.text(max_size=60)
    | st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=6),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["a", "b-2"]), inner, max_size=2),
        max_leaves=8,
    ).map(json.dumps),
    path=st.text(max_size=12) | st.sampled_from(["$", "$.a", "$[0]", "$.a[1].b-2", "$[99999999999999999999]"]),
)
def test_any_message_and_path_give_a_finite_number_or_an_error(text, path):
    """Any message, including NaN and broken JSON, gives a finite number or an error by any path."""
    try:
        value = json_number(text, json_steps(path))
    except InstrumentError:
        return
    assert math.isfinite(value)


@given(data=st.lists(st.binary(max_size=30), max_size=12))
def test_lines_are_the_same_however_the_bytes_come(data):
    """The same bytes give the same lines in any chunks; text before the first line end is discarded."""
    whole = b"".join(data)
    cut, at_once = LineBuffer(), LineBuffer()
    assert [line for part in data for line in cut.feed(part)] == at_once.feed(whole)
    assert len(at_once.feed(b"\n")) <= 1


def test_the_first_line_may_be_the_rest_of_one_and_is_let_go():
    """A port opened late receives “6.3” of “196.3” and rejects it."""
    lines = LineBuffer()
    assert lines.feed(b"6.3\r\n196.4\r\n19") == ["196.4"]
    assert lines.feed(b"6.5\n\n\xff96.6\n") == ["196.5", "�96.6"]


def test_noise_without_an_end_is_let_go():
    """Bytes without a line end are discarded after a limit, with the rest of their line."""
    lines = LineBuffer()
    lines.feed(b"\n")
    assert lines.feed(b"x" * 1000) == []
    assert lines.feed(b"7\n196.3\n") == ["196.3"]


# Knobs.


@pytest.mark.parametrize(
    ("last", "read", "stands"),
    [
        (None, 4.0, 4.0), (None, 4.3, 4.5), (None, 4.2, 4.0),
        (4.0, 4.26, 4.0), (4.0, 4.37, 4.0), (4.0, 4.38, 4.5), (4.5, 4.2, 4.5), (4.5, 4.0, 4.0),
        (4.0, 10.4, 10.0), (0.5, -0.3, 0.0), (4.0, 9.99, 10.0),
    ],
)  # fmt: skip
def test_a_knob_stands_on_its_steps(last, read, stands):
    """On steps of 0.5 from 0 to 10, jitter between two steps causes no move, and a turn by a step does."""
    assert snap_setting(read, last, low=0, high=10, step=0.5) == stands


def test_a_trembling_knob_turns_once():
    """Half-way between two steps, jitter of a fifth of a step causes no move."""
    stands, told = None, set()
    for number in range(100):
        stands = snap_setting(4.25 + (0.1 if number % 2 else -0.1), stands, low=0, high=10, step=0.5)
        told.add(stands)
    assert len(told) == 1


@pytest.mark.parametrize("read", [99.0, -3.0, 1e300])
def test_a_knob_out_of_its_range_is_refused(read):
    """A setting outside the control's range is a fault and no move."""
    with pytest.raises(InstrumentError, match="must be 0 to 10"):
        snap_setting(read, 4.0, low=0, high=10, step=0.5)


@given(
    reads=st.lists(st.floats(-0.3, 100.3), max_size=20),
    step=st.sampled_from([0.1, 0.25, 0.3, 0.5, 1, 5, 7, 100]),
)
def test_any_setting_is_within_a_step_of_the_reading(reads, step):
    """A knob's setting is a step near its reading, or an end, and the same on repetition."""
    stands = None
    for read in reads:
        try:
            stands = snap_setting(read, stands, low=0, high=100, step=step)
        except InstrumentError:
            assert step < 0.31
            continue
        assert 0 <= stands <= 100
        assert abs(stands - read) <= (1 if stands in {0, 100} else 0.75) * step + 1e-6
        assert stands == 100 or round(stands / step) * step == pytest.approx(stands, abs=1e-9)
        assert snap_setting(read, stands, low=0, high=100, step=step) == stands
