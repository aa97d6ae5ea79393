"""Decoding of registers and text to numbers. Pure."""

import json
import math
import re
import struct
import warnings
from collections.abc import Callable, Mapping, Sequence
from functools import reduce
from operator import xor
from typing import Any, Literal

from roastlog.errors import InstrumentError
from roastlog.languages import _

Checksum = Literal["xor", "sum", "crc16"]
RegisterType = Literal["int16", "uint16", "int32", "uint32", "float32"]
WordOrder = Literal["big", "little"]

_PLAIN = re.compile(r"[+-]?([0-9]{1,20}(\.[0-9]{0,20})?|\.[0-9]{1,20})([eE][+-]?[0-9]{1,3})?")
_JSON_PATH = re.compile(r"\$(\.[\w-]{1,80}|\[[0-9]{1,4}\])*")
_JSON_STEP = re.compile(r"\.([\w-]+)|\[([0-9]+)\]")
_FORMATS: dict[RegisterType, str] = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}


def register_count(kind: RegisterType) -> int:
    """Number of 16-bit registers of one value of that type."""
    return struct.calcsize(_FORMATS[kind]) // 2


def decode(
    registers: Sequence[int],
    kind: RegisterType,
    *,
    word_order: WordOrder = "big",
    scale: float = 1.0,
    offset: float = 0.0,
) -> float:
    """Value of the registers: raw × ``scale`` + ``offset``.

    Parameters
    ----------
    registers : sequence of int
        The 16-bit registers of the value, in address order.
    kind : {"int16", "uint16", "int32", "uint32", "float32"}
        Their type. The bytes within a register are always high byte first [1]_.
    word_order : {"big", "little"}, default "big"
        For 32 bits: whether the first register is the high or the low word. No standard defines it.
    scale, offset : float
        Conversion from the raw number to the channel's unit.

    Returns
    -------
    float
        The value, to 12 significant digits: 1963 × 0.1 is 196.3. [the channel's unit]

    Raises
    ------
    InstrumentError
        If the number of registers is wrong, one is no 16-bit number, or the value is not finite.

    References
    ----------
    .. [1] Modbus Application Protocol V1.1b3, data encoding (from memory, see tests/golden/modbus_frames.csv).
    """
    if len(registers) != register_count(kind):
        raise InstrumentError(
            _(
                "A {kind} needs {count} registers; the instrument sent {registers}.",
                kind=kind,
                count=register_count(kind),
                registers=len(registers),
            )
        )
    words = registers if word_order == "big" else registers[::-1]
    try:
        raw = struct.unpack(_FORMATS[kind], struct.pack(f">{len(words)}H", *words))[0]
    except struct.error:
        raise InstrumentError(_("The answer is not made of 16-bit registers.")) from None
    return scaled(raw, scale, offset)


def scaled(raw: float, scale: float = 1.0, offset: float = 0.0) -> float:
    """Value of a raw number, to 12 significant digits: 1963 × 0.1 is 196.3. [the channel's unit]

    Raises
    ------
    InstrumentError
        If it is not a finite number.
    """
    value = raw * scale + offset
    if not math.isfinite(value):
        raise InstrumentError(_("The instrument sent a value that is not a number."))
    # Scaling by a decimal fraction adds a rounding error; 12 digits keep the full precision of 32 bits.
    return float(f"{value:.12g}")


def plain_number(text: str) -> float:
    """Parse a text that is exactly one number, such as ``196.3``, ``-5``, ``1.963e2``; outer spaces are ignored.

    Raises
    ------
    InstrumentError
        For anything else: a word, a decimal comma, two numbers, an empty text, an infinite number.
    """
    stripped = text.strip(" \t\r\n")
    if not _PLAIN.fullmatch(stripped):
        raise InstrumentError(_("“{text}” is not a number.", text=printable(stripped)))
    return scaled(float(stripped))


def json_steps(path: str) -> tuple[str | int, ...]:
    """Steps of a JSON path: names and list indices. ``$.a.b[0]`` is ("a", "b", 0), ``$`` is the whole document.

    Raises
    ------
    InstrumentError
        If it is not ``$`` followed by ``.name`` and ``[number]``; names consist of letters, digits, - and _.
    """
    if not _JSON_PATH.fullmatch(path):
        raise InstrumentError(_("“{path}” is not a JSON path; write $.name or $.list[0].name.", path=printable(path)))
    return tuple(int(place) if place else name for name, place in _JSON_STEP.findall(path))


def json_number(text: str, steps: Sequence[str | int]) -> float:
    """Number at a path in JSON. Strings and booleans are no numbers.

    Raises
    ------
    InstrumentError
        If the text is no JSON, the path does not exist, or its value is not a finite number.
    """
    try:
        found: Any = json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise InstrumentError(_("“{text}” is not JSON.", text=printable(text))) from None
    for step in steps:
        if not isinstance(found, list if isinstance(step, int) else dict):
            raise InstrumentError(_("The message has no “{step}”.", step=step))
        try:
            found = found[step]  # type: ignore[index, unused-ignore]  # a list for an index, a dict for a name
        except LookupError:
            raise InstrumentError(_("The message has no “{step}”.", step=step)) from None
    if isinstance(found, bool) or not isinstance(found, int | float):
        raise InstrumentError(_("“{text}” is not a number.", text=printable(json.dumps(found, ensure_ascii=False))))
    try:
        return scaled(float(found))
    except OverflowError:
        raise InstrumentError(_("The instrument sent a number that is too large.")) from None


def column_number(line: str, separator: str, column: int, columns: int) -> float:
    """Number in one column of a line, counted from 1; a space as separator matches any number of spaces and tabs.

    Raises
    ------
    InstrumentError
        If the number of columns differs, or that column is no number.
    """
    parts = line.split() if separator == " " else line.split(separator)
    if len(parts) != columns:
        raise InstrumentError(
            _("“{line}” has {parts} of {columns} columns.", line=printable(line), parts=len(parts), columns=columns)
        )
    return plain_number(parts[column - 1])


def unchecked(line: str, checksum: Checksum, mark: str) -> str:
    """A line without its checksum, which is right.

    It covers what stands before the mark, without a leading ``$`` as in NMEA 0183: the exclusive or or the sum of its
    bytes in two hexadecimal digits, or CRC-16/MODBUS [1]_ in four.

    Raises
    ------
    InstrumentError
        If the checksum is missing or wrong.

    References
    ----------
    .. [1] Modbus over serial line V1.02, section 6.2.2 (from memory; the check value of "123456789" is 4B37).
    """
    content, found, digits = line.rpartition(mark)
    width = 4 if checksum == "crc16" else 2
    if not found or not line.isascii() or not re.fullmatch(rf"[0-9A-Fa-f]{{{width}}}", digits):
        raise InstrumentError(_("“{line}” does not end in a checksum.", line=printable(line)))
    if _SUMS[checksum](content.removeprefix("$").encode("ascii")) != int(digits, 16):
        raise InstrumentError(_("The checksum of “{line}” is wrong.", line=printable(line)))
    return content


def _crc16(data: bytes) -> int:
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _bit in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


_SUMS: Mapping[Checksum, Callable[[bytes], int]] = {
    "xor": lambda data: reduce(xor, data, 0),
    "sum": lambda data: sum(data) & 0xFF,
    "crc16": _crc16,
}


def line_pattern(pattern: str) -> re.Pattern[str]:
    """Compile the regular expression of a line.

    Raises
    ------
    InstrumentError
        If it is invalid or repeats a group, which can take exponential time on a line that does not match.
    """
    if any(token[0] == ")" and len(token) > 1 for token in re.findall(r"\\.|\)[*+{]|.", pattern, re.DOTALL)):
        raise InstrumentError(_("A group must not be repeated by *, + or {}; repeat its content instead."))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # syntax that a later Python interprets differently
            return re.compile(pattern, re.ASCII)
    except (re.error, ValueError, OverflowError, RecursionError, Warning) as error:
        raise InstrumentError(_("Not a regular expression: {error}.", error=error)) from None


def group_number(line: str, pattern: re.Pattern[str], group: str) -> float:
    """Number in a group of the pattern, which must match the whole line.

    Raises
    ------
    InstrumentError
        If it does not match, or the group is no number.
    """
    found = pattern.fullmatch(line)
    if found is None or found[group] is None:
        raise InstrumentError(_("“{line}” does not match the pattern.", line=printable(line)))
    return plain_number(found[group])


class LineBuffer:
    """Splits a stream of bytes into whole lines.

    Bytes before the first line end are dropped, because they may be the rest of a line and so of a number. Lines longer
    than the maximum are dropped too: they are noise at a wrong baud rate.
    """

    longest = 200

    def __init__(self) -> None:
        self._rest = b""
        self._synced = False

    def feed(self, data: bytes) -> list[str]:
        """Lines completed by these bytes, without line ends and empty lines; bytes that are not ASCII become �."""
        *ended, self._rest = re.split(rb"[\r\n]", self._rest + data)
        lines = []
        for line in ended:
            if self._synced and line and len(line) <= self.longest:
                lines.append(line.decode("ascii", errors="replace"))
            self._synced = True
        if len(self._rest) > self.longest:
            self._rest, self._synced = b"", False
        return lines


def snap_setting(value: float, last: float | None, *, low: float, high: float, step: float) -> float:
    """Snap a knob reading to the steps of its control, from ``low`` to ``high``, with hysteresis.

    A reading that jitters between two steps keeps the last one: it changes only beyond three quarters of a step, so
    that the hysteresis is half a step.

    Raises
    ------
    InstrumentError
        If it is more than a step outside the control's range.
    """
    if not low - step <= value <= high + step:
        raise InstrumentError(
            _(
                "Reading must be {low:g} to {high:g}, not {value:g}. Is its scale right?",
                value=value,
                low=low,
                high=high,
            )
        )
    if last is not None and abs(value - last) <= 0.75 * step * (1 + 1e-9):
        return last
    return min(max(float(f"{low + round((value - low) / step) * step:.12g}"), low), high)


def printable(text: str) -> str:
    """A received text for use in a message: at most 40 printable characters."""
    plain = "".join(character if character.isprintable() else "�" for character in text[:41])
    return plain if len(plain) <= 40 else plain[:39] + "…"


def _no_constant(name: str) -> float:
    raise ValueError(name)  # NaN and the infinities are not JSON
