"""A machine's sheet to its links."""

from collections import defaultdict

from roastlog.clock import Clock
from roastlog.instruments.base import Instrument
from roastlog.instruments.machine import Channel, Control, Machine, ModbusPoint

SIMULATED_POLL_S = 0.25

Link = tuple[Instrument, dict[str, float]]
"""An instrument, and how often to read each of its channels and controls. [s]"""


def build_instruments(machine: Machine, clock: Clock) -> list[Link]:
    """Links that a machine is read over, not yet open; pushed channels need none.

    Each library of a wire is imported here only if the machine has a point on it.
    """
    return [*_modbus_links(machine, clock), *_simulated_links(machine, clock)]


def _modbus_links(machine: Machine, clock: Clock) -> list[Link]:
    addresses: defaultdict[tuple[str, int], dict[str, ModbusPoint]] = defaultdict(dict)
    parts: list[Channel | Control] = [*machine.channels, *machine.controls]
    for part in parts:
        if part.modbus is not None:
            addresses[part.modbus.host, part.modbus.port][part.id] = part.modbus
    if not addresses:
        return []
    from roastlog.instruments.modbus import ModbusTcpInstrument  # noqa: PLC0415, brings pymodbus

    return [
        (ModbusTcpInstrument(points, clock), {name: point.poll_s for name, point in points.items()})
        for points in addresses.values()
    ]


def _simulated_links(machine: Machine, clock: Clock) -> list[Link]:
    roles = {channel.id: channel.role for channel in machine.channels if channel.simulated is not None}
    if not roles:
        return []
    from roastlog.instruments.simulated import SimulatedInstrument  # noqa: PLC0415, brings the physics

    return [(SimulatedInstrument(clock, roles), dict.fromkeys(roles, SIMULATED_POLL_S))]
