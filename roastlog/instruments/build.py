"""Builds the links of a machine from its sheet."""

from collections import defaultdict
from collections.abc import Iterator
from typing import TYPE_CHECKING

from roastlog.clock import Clock
from roastlog.instruments.base import Instrument
from roastlog.instruments.converted import ColdJunctions, ConvertedInstrument
from roastlog.machine.model import Channel, Control, Machine

if TYPE_CHECKING:
    from roastlog.machine.sources import Broker, ModbusPoint, MqttPoint, SerialLine, SerialPoint

SIMULATED_POLL_S = 0.25
DRAIN_S = 0.25  # interval at which a pushing source is drained

PolledInstrument = tuple[Instrument, dict[str, float]]
"""An instrument, and the poll interval of each of its channels and controls. [s]"""


def build_instruments(machine: Machine, clock: Clock) -> list[PolledInstrument]:
    """Links of a machine, not yet open; channels that are pushed to the API need none.

    One link holds all points of one connection or serial port. The library of a wire is imported only if the machine
    has a point on it.
    """
    wires = [*_modbus_links(machine, clock), *_mqtt_links(machine, clock), *_serial_links(machine, clock)]
    junctions = ColdJunctions(machine, clock)
    links: list[PolledInstrument] = [(ConvertedInstrument(wire, machine, junctions), poll_s) for wire, poll_s in wires]
    return [*links, *_simulated_links(machine, clock)]


def _modbus_links(machine: Machine, clock: Clock) -> Iterator[PolledInstrument]:
    wires: defaultdict[tuple[str | None, int, SerialLine | None], dict[str, ModbusPoint]] = defaultdict(dict)
    parts: list[Channel | Control] = [*machine.channels, *machine.controls]
    for part in parts:
        if part.modbus is not None:
            wires[part.modbus.host, part.modbus.port, part.modbus.line][part.id] = part.modbus
    for points in wires.values():
        from roastlog.instruments.modbus import ModbusInstrument  # noqa: PLC0415, brings pymodbus

        yield ModbusInstrument(points, clock), {name: point.poll_s for name, point in points.items()}


def _mqtt_links(machine: Machine, clock: Clock) -> Iterator[PolledInstrument]:
    brokers: defaultdict[Broker, dict[str, MqttPoint]] = defaultdict(dict)
    for channel in machine.channels:
        if channel.mqtt is not None:
            brokers[channel.mqtt.broker][channel.id] = channel.mqtt
    for points in brokers.values():
        from roastlog.instruments.mqtt import MqttInstrument  # noqa: PLC0415, brings paho

        yield MqttInstrument(points, clock), dict.fromkeys(points, DRAIN_S)


def _serial_links(machine: Machine, clock: Clock) -> Iterator[PolledInstrument]:
    lines: defaultdict[SerialLine, dict[str, SerialPoint]] = defaultdict(dict)
    for channel in machine.channels:
        if channel.serial is not None:
            lines[channel.serial.line][channel.id] = channel.serial
    for points in lines.values():
        from roastlog.instruments.serial_line import SerialInstrument  # noqa: PLC0415, brings pyserial

        yield SerialInstrument(points, clock), dict.fromkeys(points, DRAIN_S)


def _simulated_links(machine: Machine, clock: Clock) -> Iterator[PolledInstrument]:
    roles = {channel.id: channel.role for channel in machine.channels if channel.simulated is not None}
    if roles:
        from roastlog.instruments.simulated import SimulatedInstrument  # noqa: PLC0415, brings the physics

        yield SimulatedInstrument(clock, roles), dict.fromkeys(roles, SIMULATED_POLL_S)
