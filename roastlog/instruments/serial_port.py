"""A serial port, opened for us alone, or a plain reason why not. Imported by the drivers that need one."""

import errno
from collections.abc import Mapping

import serial

from roastlog.errors import InstrumentError
from roastlog.instruments.points import Parity, SerialLine

_PARITIES: Mapping[Parity, str] = {
    "none": serial.PARITY_NONE,
    "even": serial.PARITY_EVEN,
    "odd": serial.PARITY_ODD,
}
_REASONS: Mapping[int, str] = {
    errno.ENOENT: "is not there. Is the cable plugged in?",
    errno.ENODEV: "is not there. Is the cable plugged in?",
    errno.ENXIO: "is not there. Is the cable plugged in?",
    errno.EIO: "does not work. Is the cable plugged in?",
    errno.EACCES: "may not be opened. Add the user that Drumside runs as to the group of that port.",
    errno.EPERM: "may not be opened. Add the user that Drumside runs as to the group of that port.",
    errno.EBUSY: "is in use by another program or another machine's sheet.",
    errno.EWOULDBLOCK: "is in use by another program or another machine's sheet.",
    errno.ENOTTY: "is no serial port.",
    errno.EISDIR: "is no serial port.",
}


def open_port(line: SerialLine, timeout_s: float) -> serial.Serial:
    """Open a serial port; nobody else can then read what is meant for us.

    Raises
    ------
    InstrumentError
        If it is not there, not ours to open, in use, or no serial port.
    """
    try:
        return serial.Serial(
            line.device,
            baudrate=line.baud,
            bytesize=line.bits,
            parity=_PARITIES[line.parity],
            stopbits=line.stop,
            timeout=timeout_s,
            write_timeout=timeout_s,
            exclusive=True,
        )
    except serial.SerialException as error:
        # What is no serial port is told by pyserial without a number.
        number = error.errno or (errno.ENOTTY if "configure" in str(error) else 0)
        reason = _REASONS.get(number, f"cannot be opened: {error}.")
    except (OSError, ValueError) as error:
        reason = f"cannot be set as the sheet says: {error}."
    raise InstrumentError(f"{line.device} {reason}")
