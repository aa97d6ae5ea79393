"""Read-only Modbus driver: one link per network address or serial line, with any number of units and points.

It imports pymodbus, so `build_instruments` imports it only if a machine has a Modbus point.
"""

import logging
import threading
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from pymodbus.constants import ExcCodes
from pymodbus.exceptions import ConnectionException, ModbusException
from pymodbus.pdu import ModbusPDU

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.modbus_wire import wire_of
from roastlog.languages import N_, _, joined, translate
from roastlog.machine.decoding import decode, scaled
from roastlog.machine.sources import BIT_TABLES, ModbusPoint, Table

if TYPE_CHECKING:
    from pymodbus.client.base import ModbusBaseSyncClient

# Our own messages report an error once; pymodbus would log it at every poll.
logging.getLogger("pymodbus").setLevel(logging.CRITICAL + 1)

_MAX_GAP = 8
_MAX_REGISTERS = 125  # in one answer, by the Modbus Application Protocol V1.1b3 (from memory)
_FIRST_BACKOFF_S = 5.0
_MAX_BACKOFF_S = 60.0
_LATE_S = 3.0  # on a serial line an answer may still come so long after its time; it fits the next request as well

_READS: Mapping[int, Table] = {1: "coil", 2: "discrete", 3: "holding", 4: "input"}
"""Function codes that may go out: the four that read."""

_REASONS: Mapping[int, str] = {
    ExcCodes.ILLEGAL_FUNCTION: N_("The instrument has no {table} table that can be read."),
    ExcCodes.ILLEGAL_ADDRESS: N_("The instrument has nothing at {table} address {address}."),
    ExcCodes.ILLEGAL_VALUE: N_("The instrument cannot read {table} address {address} in this way."),
    ExcCodes.DEVICE_FAILURE: N_("The instrument reports a failure at {table} address {address}; is unit {unit} right?"),
    ExcCodes.DEVICE_BUSY: N_("The instrument is busy."),
    ExcCodes.GATEWAY_PATH_UNAVIABLE: N_("There is no unit {unit} at this address."),
    ExcCodes.GATEWAY_NO_RESPONSE: N_("Unit {unit} does not answer; is it on, and is its number right?"),
}
_OTHER_EXCEPTION = N_("The instrument answers with exception {code}.")
# These concern one address of a block; for the others, single requests would not help.
_OF_ONE_ADDRESS = {
    ExcCodes.ILLEGAL_FUNCTION,
    ExcCodes.ILLEGAL_ADDRESS,
    ExcCodes.ILLEGAL_VALUE,
    ExcCodes.DEVICE_FAILURE,
}

_Item = tuple[str, ModbusPoint]
_Block = Sequence[_Item]  # neighbours of one unit and table, by address


class _Backoff(NamedTuple):
    """Backoff of a silent unit."""

    length_s: float
    until_ms: int  # UTC


class _UnitSilentError(Exception):
    """Raised when the link is up but no answer came in time."""


class ModbusInstrument:
    """One Modbus link.

    Parameters
    ----------
    points
        Points by channel and control id, all at one host and port or on one serial line.
    clock
        Timestamps each reading at the middle of its exchange.
    timeout_s
        Timeout of the connection and of each answer. [s]
    """

    def __init__(self, points: Mapping[str, ModbusPoint], clock: Clock, timeout_s: float = 1.0) -> None:
        wires = {wire_of(point) for point in points.values()}
        if len(wires) != 1:
            raise ValueError(_("A Modbus link has one host and port, or one serial line."))
        self._wire = wires.pop()
        self.name = f"modbus {self._wire.where}"
        self._points = dict(points)
        self._clock = clock
        self._timeout_s = timeout_s
        self._client: ModbusBaseSyncClient | None = None
        self._lock = threading.Lock()
        self._read_alone: set[str] = set()  # ids whose block was refused; they are read one by one
        self._backoffs: dict[int, _Backoff] = {}  # of units that did not answer the last request
        self._late_until_ms: dict[int, int] = {}  # by unit, until when a late answer may come
        self._heard = False  # anything since the last request

    def open(self) -> None:
        """Connect, or raise `InstrumentError`. Safe to call again after a loss."""
        with self._lock:
            self._disconnect()
            client = self._wire.connect(self._timeout_s, _reads_only, self._note_bytes)
            client.set_max_no_responses(256)  # _silent decides when the link is lost
            self._client = client
            self._read_alone.clear()
            self._backoffs = {unit: _Backoff(_FIRST_BACKOFF_S / 2, ms) for unit, ms in self._late_until_ms.items()}

    def read(self, ids: Collection[str]) -> list[Reading | ReadFault]:
        """Newest value of those ids, or a fault for each that fails alone; neighbours share a request.

        Raises `InstrumentError` when the link is lost; it stays closed until it is opened again.
        """
        with self._lock:
            try:
                return [answer for block in self._blocks(ids) for answer in self._read_block(block)]
            except InstrumentError:
                self._disconnect()
                raise

    def close(self) -> None:
        """Close the connection after the current exchange. Never raises."""
        with self._lock:
            self._disconnect()

    def _note_bytes(self, sending: bool, data: bytes) -> bytes:
        self._heard = not sending and bool(data)
        return data

    def _disconnect(self) -> None:
        if self._client is not None:
            self._client.close()  # type: ignore[no-untyped-call]  # pymodbus leaves it untyped
            self._client = None

    def _blocks(self, ids: Collection[str]) -> Iterator[_Block]:
        """Group the points into requests: neighbours together, unless such a request was refused before."""
        items = [(name, self._points[name]) for name in ids]
        items.sort(key=lambda item: (item[1].unit, item[1].table, item[1].address))
        block: list[_Item] = []
        for item in items:
            if block and not self._joins(block, item):
                yield block
                block = []
            block.append(item)
        if block:
            yield block

    def _joins(self, block: _Block, item: _Item) -> bool:
        first, point = block[0][1], item[1]
        return (
            (point.unit, point.table) == (first.unit, first.table)
            and point.address - _end(block) <= _MAX_GAP
            and point.address + point.count - first.address <= _MAX_REGISTERS
            and self._read_alone.isdisjoint({block[0][0], item[0]})
        )

    def _read_block(self, block: _Block) -> list[Reading | ReadFault]:
        unit = block[0][1].unit
        rest = self._backoffs.get(unit)
        if rest is not None and self._clock.now_ms() < rest.until_ms:
            return self._faults(block, ExcCodes.GATEWAY_NO_RESPONSE)
        before_ms = self._clock.now_ms()
        try:
            answer = self._ask(block)
        except _UnitSilentError:
            return self._silent(block)
        at_ms = (before_ms + self._clock.now_ms()) // 2
        self._backoffs.pop(unit, None)
        self._late_until_ms.pop(unit, None)
        if not answer.isError():
            first = block[0][1]
            values = answer.bits if first.table in BIT_TABLES else answer.registers
            asked = _end(block) - first.address
            if len(values) != (-(-asked // 8) * 8 if first.table in BIT_TABLES else asked):  # bits come in whole bytes
                reason = _("The instrument answered {n} values; {m} were requested.", n=len(values), m=asked)
                return [ReadFault(at_ms, name, reason) for name, _point in block]
            return [_value(item, block[0][1].address, values, at_ms) for item in block]
        if len(block) > 1 and answer.exception_code in _OF_ONE_ADDRESS:
            return self._read_singly(block)
        return self._faults(block, answer.exception_code)

    def _read_singly(self, block: _Block) -> list[Reading | ReadFault]:
        """Find the point or the gap that makes the block fail, and remember it."""
        answers = [answer for item in block for answer in self._read_block([item])]
        bad = {answer.channel for answer in answers if isinstance(answer, ReadFault)}
        self._read_alone |= bad or {name for name, _ in block}
        return answers

    def _silent(self, block: _Block) -> list[Reading | ReadFault]:
        """Faults of a silent unit; if every unit of the link is silent, the link is lost."""
        unit = block[0][1].unit
        # Waiting for it at each poll would delay the units that answer.
        known = self._backoffs.get(unit)
        length_s = _FIRST_BACKOFF_S if known is None else min(2 * known.length_s, _MAX_BACKOFF_S)
        self._backoffs[unit] = _Backoff(length_s, self._clock.now_ms() + int(1000 * length_s * self._clock.rate))
        if not self._wire.numbers_requests and not self._heard:  # a damaged answer was the answer
            self._late_until_ms[unit] = self._clock.now_ms() + int(1000 * _LATE_S * self._clock.rate)
        if self._backoffs.keys() >= {point.unit for point in self._points.values()}:
            raise InstrumentError(
                joined(
                    " ",
                    filter(
                        None,
                        [
                            _(
                                "{where} did not answer within {timeout:g} s.",
                                where=self._wire.where,
                                timeout=self._timeout_s,
                            ),
                            self._wire.advice,
                        ],
                    ),
                )
            )
        return self._faults(block, ExcCodes.GATEWAY_NO_RESPONSE)

    def _faults(self, block: _Block, code: int) -> list[Reading | ReadFault]:
        at_ms = self._clock.now_ms()
        return [ReadFault(at_ms, name, _words(code, point)) for name, point in block]

    def _ask(self, block: _Block) -> ModbusPDU:
        """One exchange; an exception response counts as an answer."""
        if self._client is None:
            raise InstrumentError(_("The link to {where} is not open.", where=self._wire.where))
        first = block[0][1]
        reads: dict[Table, Callable[..., ModbusPDU]] = {
            "coil": self._client.read_coils,
            "discrete": self._client.read_discrete_inputs,
            "holding": self._client.read_holding_registers,
            "input": self._client.read_input_registers,
        }
        try:
            answer = reads[first.table](first.address, count=_end(block) - first.address, device_id=first.unit)
        except (ConnectionException, OSError):
            raise InstrumentError(self._wire.gone) from None
        except ModbusException as error:
            if "No response" in str(error):  # pymodbus has no class of its own for silence
                raise _UnitSilentError from None
            raise InstrumentError(_("The answer of {where} is not Modbus.", where=self._wire.where)) from None
        if _READS.get(answer.function_code & 0x7F) != first.table:
            raise InstrumentError(_("{where} sent an answer that does not match the request.", where=self._wire.where))
        return answer


def _end(block: _Block) -> int:
    return max(point.address + point.count for _, point in block)


def _reads_only(sending: bool, pdu: ModbusPDU) -> ModbusPDU:
    """Block every request that could change something on a machine."""
    if sending and pdu.function_code not in _READS:
        raise InstrumentError(_("Drumside only reads instruments; it never sets a machine."))
    return pdu


def _value(item: _Item, start: int, values: Sequence[int], at_ms: int) -> Reading | ReadFault:
    name, point = item
    own = values[point.address - start :][: point.count]
    try:
        raw = float(own[0]) if point.type is None else decode(own, point.type, word_order=point.word_order)
        value = scaled(raw, point.scale, point.offset)
    except InstrumentError as error:
        return ReadFault(at_ms, name, str(error), " ".join(f"0x{register:04X}" for register in own))
    return Reading(at_ms, name, value, f"{raw:.12g}")


def _words(code: int, point: ModbusPoint) -> str:
    reason = _REASONS.get(code, _OTHER_EXCEPTION)
    return translate(reason, code=code, table=point.table, address=point.address, unit=point.unit)
