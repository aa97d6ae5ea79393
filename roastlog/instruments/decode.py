"""Registers to a value. Pure: the wire is elsewhere."""

import math
import struct
from collections.abc import Sequence
from typing import Literal

from roastlog.errors import InstrumentError

RegisterType = Literal["int16", "uint16", "int32", "uint32", "float32"]
WordOrder = Literal["big", "little"]

_FORMATS: dict[RegisterType, str] = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}


def register_count(kind: RegisterType) -> int:
    """How many 16-bit registers one value of that type takes."""
    return struct.calcsize(_FORMATS[kind]) // 2


def decode(
    registers: Sequence[int],
    kind: RegisterType,
    *,
    word_order: WordOrder = "big",
    scale: float = 1.0,
    offset: float = 0.0,
) -> float:
    """Value that the registers carry: raw × ``scale`` + ``offset``.

    Parameters
    ----------
    registers : sequence of int
        As many 16-bit registers as the type takes, in the order of their addresses.
    kind : {"int16", "uint16", "int32", "uint32", "float32"}
        What they hold. The bytes within a register are always high byte first [1]_.
    word_order : {"big", "little"}, default "big"
        For 32 bits: whether the first register is the high or the low one. No standard says which.
    scale, offset : float
        From the raw number to the channel's unit.

    Returns
    -------
    float
        The value, to 12 significant digits: 1963 × 0.1 is 196.3. [the channel's unit]

    Raises
    ------
    InstrumentError
        If there are too few or too many registers, one is no 16-bit number, or the value is not a finite number.

    References
    ----------
    .. [1] Modbus Application Protocol V1.1b3, data encoding (from memory, see tests/golden/modbus_frames.csv).
    """
    if len(registers) != register_count(kind):
        raise InstrumentError(f"A {kind} takes {register_count(kind)} registers; {len(registers)} came.")
    words = registers if word_order == "big" else registers[::-1]
    try:
        raw = struct.unpack(_FORMATS[kind], struct.pack(f">{len(words)}H", *words))[0]
    except struct.error:
        raise InstrumentError("What came is not made of 16-bit registers.") from None
    value = raw * scale + offset
    if not math.isfinite(value):
        raise InstrumentError("The instrument sends something that is not a number.")
    # Scaling by a decimal fraction leaves a binary tail; 12 digits keep all that 32 bits can say.
    return float(f"{value:.12g}")
