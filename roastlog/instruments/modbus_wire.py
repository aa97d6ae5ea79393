"""The two Modbus transports: TCP and serial line (RTU). Imports pymodbus, as its driver does."""

import socket
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from pymodbus.client import ModbusSerialClient, ModbusTcpClient
from pymodbus.client.base import ModbusBaseSyncClient
from pymodbus.pdu import ModbusPDU

from roastlog.errors import InstrumentError
from roastlog.instruments.reach import unreachable_reason
from roastlog.instruments.serial_port import open_port
from roastlog.languages import _
from roastlog.machine.sources import ModbusPoint, SerialLine

Trace = Callable[[bool, ModbusPDU], ModbusPDU]
TraceBytes = Callable[[bool, bytes], bytes]


class Wire(Protocol):
    """A Modbus transport, with the texts for its errors."""

    @property
    def where(self) -> str:
        """Its address, such as ``192.168.1.20:502`` or ``/dev/ttyUSB0``."""

    @property
    def advice(self) -> str:
        """Advice when nothing answers."""

    @property
    def gone(self) -> str:
        """Message when the connection was lost."""

    @property
    def numbers_requests(self) -> bool:
        """Whether an answer carries the number of its request, so that a late one is told from the next."""

    def connect(self, timeout_s: float, trace: Trace, trace_bytes: TraceBytes) -> ModbusBaseSyncClient:
        """Return a connected client; raises `InstrumentError` with the reason otherwise."""


def wire_of(point: ModbusPoint) -> Wire:
    """The transport of a point; points with equal transports share one."""
    if point.line is not None:
        return Serial(point.line)
    return Network(point.host or "", point.port)


@dataclass(frozen=True)
class Network:
    """A host and a port."""

    host: str
    port: int

    @property
    def where(self) -> str:
        """Host and port."""
        return f"{self.host}:{self.port}"

    @property
    def advice(self) -> str:
        """What to look at when nothing answers."""
        return ""

    @property
    def gone(self) -> str:
        """What is said when it was lost."""
        return _("{where} closed the connection.", where=self.where)

    @property
    def numbers_requests(self) -> bool:
        """Modbus TCP does."""
        return True

    def connect(self, timeout_s: float, trace: Trace, trace_bytes: TraceBytes) -> ModbusTcpClient:
        """A client that is connected."""
        client = ModbusTcpClient(
            self.host, port=self.port, timeout=timeout_s, retries=0, trace_pdu=trace, trace_packet=trace_bytes
        )
        # pymodbus would hide the reason of a failed connection, so connect here.
        try:
            client.socket = socket.create_connection((self.host, self.port), timeout=timeout_s)
        except (OSError, UnicodeError) as error:
            raise InstrumentError(unreachable_reason(self.host, self.port, timeout_s, error)) from None
        return client


@dataclass(frozen=True)
class Serial:
    """A serial line with one instrument on it, or several."""

    line: SerialLine

    @property
    def where(self) -> str:
        """The port."""
        return self.line.device

    @property
    def advice(self) -> str:
        """What to look at when nothing answers."""
        return _("Are unit, baud, parity and the two wires right?")

    @property
    def gone(self) -> str:
        """What is said when it was lost."""
        return _("{where} is gone. Is the cable plugged in?", where=self.where)

    @property
    def numbers_requests(self) -> bool:
        """Modbus RTU does not."""
        return False

    def connect(self, timeout_s: float, trace: Trace, trace_bytes: TraceBytes) -> ModbusSerialClient:
        """A client that is connected."""
        line = self.line
        client = ModbusSerialClient(
            line.device,
            baudrate=line.baud,
            bytesize=line.bits,
            parity=line.parity[0].upper(),
            stopbits=line.stop,
            timeout=timeout_s,
            retries=0,
            trace_pdu=trace,
            trace_packet=trace_bytes,
        )
        client.socket = open_port(line, timeout_s)  # here, for the same reason
        return client
