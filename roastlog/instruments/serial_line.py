"""Driver for devices that print lines to a serial port. It only listens and never sends anything.

It imports pyserial, so `build_instruments` imports it only if a machine has a serial channel.
"""

import contextlib
import threading
from collections.abc import Callable, Collection, Mapping
from functools import partial

import serial

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.inbox import Inbox
from roastlog.instruments.serial_port import open_port
from roastlog.languages import _
from roastlog.machine.decoding import LineBuffer, column_number, group_number, line_pattern, scaled, unchecked
from roastlog.machine.sources import SerialPoint

_LISTEN_S = 0.2  # timeout of one read, and so the delay of a close


class SerialInstrument:
    """One serial port with all channels that its lines contain.

    Parameters
    ----------
    points
        Points by channel id, all on one port.
    clock
        Timestamps each reading on arrival of its line.
    """

    def __init__(self, points: Mapping[str, SerialPoint], clock: Clock) -> None:
        lines = {point.line for point in points.values()}
        if len(lines) != 1:
            raise ValueError(_("A serial link has one port."))
        self._line = lines.pop()
        self.name = f"serial {self._line.device}"
        self._readers = {name: _reader(point) for name, point in points.items()}
        self._has_pattern = {name: point.pattern is not None for name, point in points.items()}
        self._inbox = Inbox(self.name, {name: point.silent_s for name, point in points.items()}, clock)
        self._port: serial.Serial | None = None
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()
        self._lost = False

    @property
    def rejected(self) -> int:
        """Number of invalid lines."""
        return self._inbox.rejected

    def open(self) -> None:
        """Open the port and start to listen, or raise `InstrumentError`. Safe to call again after a loss."""
        self.close()
        self._port = open_port(self._line, _LISTEN_S)
        self._inbox.reset()
        self._lost = False
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._listen, args=(self._port, self._stop), name=self.name, daemon=True)
        self._thread.start()

    def read(self, ids: Collection[str]) -> list[Reading | ReadFault]:
        """All readings since the last call."""
        if self._port is None:
            raise InstrumentError(_("The link to {device} is not open.", device=self._line.device))
        got = self._inbox.take(ids)
        if self._lost and not any(isinstance(item, Reading) for item in got):
            raise InstrumentError(_("{device} is gone. Is the cable plugged in?", device=self._line.device))
        return got

    def close(self) -> None:
        """Close the port. Never raises."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None
        if self._port is not None:
            with contextlib.suppress(OSError):
                self._port.close()
            self._port = None

    def _listen(self, port: serial.Serial, stop: threading.Event) -> None:
        lines = LineBuffer()
        try:
            while not stop.is_set():
                for line in lines.feed(port.read(max(1, min(port.in_waiting, 4096)))):
                    self._take(line)
        except (OSError, TypeError):  # pyserial's errors are OSErrors; a port torn away can be a TypeError in it
            self._lost = True

    def _take(self, line: str) -> None:
        taken, failed = False, dict[str, str]()
        for name, read in self._readers.items():
            try:
                self._inbox.put(name, read(line), line)
                taken = True
            except InstrumentError as error:
                failed[name] = str(error)
        for name, reason in failed.items():
            # With one pattern per channel, a line that matches one need not match the others.
            if not (taken and self._has_pattern[name]):
                self._inbox.reject(name, reason, line)


def _reader(point: SerialPoint) -> Callable[[str], float]:
    """Parser from a line to the channel's value."""
    find: Callable[[str], float]
    if point.pattern is not None:
        find = partial(group_number, pattern=line_pattern(point.pattern), group=point.group)
    else:
        separator, columns = point.separator or ",", point.columns or 1
        find = partial(column_number, separator=separator, column=point.column, columns=columns)

    def read(line: str) -> float:
        content = line if point.checksum is None else unchecked(line, point.checksum, point.mark)
        return scaled(find(content), point.scale, point.offset)

    return read
