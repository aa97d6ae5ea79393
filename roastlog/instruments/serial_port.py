"""Exclusive opening of a serial port, with plain error messages."""

import errno
from collections.abc import Mapping

import serial

from roastlog.errors import InstrumentError
from roastlog.languages import N_, _
from roastlog.machine.sources import Parity, SerialLine

_PARITIES: Mapping[Parity, str] = {
    "none": serial.PARITY_NONE,
    "even": serial.PARITY_EVEN,
    "odd": serial.PARITY_ODD,
}
_REASONS: Mapping[int, str] = {
    errno.ENOENT: N_("is not there. Is the cable plugged in?"),
    errno.ENODEV: N_("is not there. Is the cable plugged in?"),
    errno.ENXIO: N_("is not there. Is the cable plugged in?"),
    errno.EIO: N_("does not work. Is the cable plugged in?"),
    errno.EACCES: N_("may not be opened. Add the user that Drumside runs as to the group of that port."),
    errno.EPERM: N_("may not be opened. Add the user that Drumside runs as to the group of that port."),
    errno.EBUSY: N_("is in use by another program or another machine's sheet."),
    errno.EWOULDBLOCK: N_("is in use by another program or another machine's sheet."),
    errno.ENOTTY: N_("is not a serial port."),
    errno.EISDIR: N_("is not a serial port."),
}


def open_port(line: SerialLine, timeout_s: float) -> serial.Serial:
    """Open a serial port exclusively.

    Raises
    ------
    InstrumentError
        If it is missing, not permitted, in use, or no serial port.
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
        # pyserial reports a device that is no serial port without an errno.
        number = error.errno or (errno.ENOTTY if "configure" in str(error) else 0)
        reason = _(_REASONS[number]) if number in _REASONS else _("cannot be opened: {error}.", error=error)
    except (OSError, ValueError) as error:
        reason = _("does not accept the settings of the sheet: {error}.", error=error)
    raise InstrumentError(f"{line.device} {reason}")
