"""The ways to read a channel or control with their fields, and the values that the form of a new one starts with."""

import hashlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from roastlog.languages import N_
from roastlog.machine.model import WIRES, Channel, Control, Machine
from roastlog.machine.sources import ModbusPoint, MqttPoint, Part, SerialPoint


@dataclass(frozen=True)
class SourceKind:
    """One way of reading a part: its label, its key in a sheet, its model and its fields."""

    words: str
    source: str = ""
    model: type[Part] = Part
    link: Sequence[str] = ()
    """Fields of the connection, which parts of one instrument share."""
    value: Sequence[str] = ()
    """Fields of the one value."""
    needs: Sequence[str] = ()
    """Fields that are required here, though not in every sheet."""

    @property
    def fields(self) -> Sequence[str]:
        """All fields, those of the connection first."""
        return (*self.link, *self.value)


_REGISTER: Final = ("unit", "table", "address", "type", "word_order", "scale", "offset", "poll_s")
_LINE: Final = ("device", "baud", "parity", "stop")
_MODBUS: Final = {
    "modbus-tcp": SourceKind(
        N_("Modbus over the network"), "modbus", ModbusPoint, ("host", "port"), _REGISTER, needs=("host",)
    ),
    "modbus-rtu": SourceKind(
        N_("Modbus on a serial line (RTU)"), "modbus", ModbusPoint, _LINE, _REGISTER, needs=("device",)
    ),
}
_BROKER: Final = ("host", "port", "version", "tls", "ca_file", "user", "password", "status")
_MESSAGE: Final = ("topic", "value", "scale", "offset", "silent_s")
_COLUMNS: Final = ("separator", "column", "columns")
_FORMS: Final = (*_COLUMNS, "pattern", "group", "checksum", "mark", "scale", "offset", "silent_s")
CHANNEL_KINDS: Final[Mapping[str, SourceKind]] = {
    **_MODBUS,
    "mqtt": SourceKind("MQTT", "mqtt", MqttPoint, _BROKER, _MESSAGE),
    "serial": SourceKind(N_("Lines over a serial port"), "serial", SerialPoint, (*_LINE, "bits"), _FORMS),
    "http": SourceKind(N_("Sent to the API over HTTP"), "http"),
    "hand": SourceKind(N_("By hand, from a thermometer"), "hand"),
    "simulated": SourceKind(N_("Simulated, for practice"), "simulated"),
}
CONTROL_KINDS: Final[Mapping[str, SourceKind]] = {"": SourceKind(N_("Not read: entered by tapping")), **_MODBUS}
TYPICAL: Final[Mapping[str, Mapping[str, str]]] = {
    "channels": {"modbus.table": "input", "modbus.type": "int16"},
    "controls": {"modbus.table": "holding", "modbus.type": "int16"},
}
"""Initial values of the first channel or control: those that fit most panel meters and controllers."""
_OWN_PLACE: Final = {"modbus.address", "mqtt.topic", "mqtt.value", "serial.column", "serial.group"}
_OWN_FORM: Final = {f"{wire}.{name}" for wire in WIRES for name in ("table", "type", "scale", "offset")}


def kinds_of(table: str) -> Mapping[str, SourceKind]:
    """The ways to read a channel or a control."""
    return CHANNEL_KINDS if table == "channels" else CONTROL_KINDS


def kind_of(part: Channel | Control) -> str:
    """Key of the way in which a part is read."""
    if part.modbus is not None:
        return "modbus-rtu" if part.modbus.device else "modbus-tcp"
    return part.source if isinstance(part, Channel) else ""


def typed_of(part: Channel | Control) -> dict[str, str]:
    """A part as values of the form's fields, without its password."""
    values = {"kind": kind_of(part)}
    for name, value in part.model_dump(exclude_defaults=True).items():
        inner = value if isinstance(value, dict) else {}
        values |= {f"{name}.{key}": _text(item) for key, item in inner.items() if key != "password"}
        if not isinstance(value, dict):
            values[name] = _text(value)
    return values


def version_of(part: Channel | Control) -> str:
    """A short digest of a part, by which a form knows that it was changed meanwhile."""
    return hashlib.sha256(repr(sorted(typed_of(part).items())).encode()).hexdigest()[:16]


def initial_kind(machine: Machine, table: str) -> str:
    """The way in which the machine's newest channel or control is read over a wire; else the first of the list."""
    wired = [kind_of(part) for one, part in _each(machine) if one == table and kinds_of(table)[kind_of(part)].fields]
    return wired[-1] if wired else next(iter(kinds_of(table)))


def initial_values(machine: Machine, table: str, kind: str) -> dict[str, str]:
    """Values with which a part of that kind starts: those of the machine's newest part of that kind, else typical ones.

    What belongs to one value (a register, a topic) is left out. A channel has table, type and scale of a channel, a
    control those of a control.
    """
    newest = {part_table: part for part_table, part in _each(machine) if kind_of(part) == kind}
    if (like := newest.pop(table, None)) is not None:
        return {"kind": kind} | _copied(like, _OWN_PLACE)
    others = [_copied(part, _OWN_PLACE | _OWN_FORM) for part in newest.values()]
    return {"kind": kind} | dict(TYPICAL[table]) | next(iter(others), {})


def rescaled(table: str, values: Mapping[str, str]) -> dict[str, str]:
    """The scale and the offset of the question that was answered by a tap, such as ``0.1 0``; empty without one."""
    kind = kinds_of(table).get(values.get("kind", ""), SourceKind(""))
    scale, _space, offset = values.get("rescale", "").partition(" ")
    offset = "" if offset == "0" else offset
    return {f"{kind.source}.scale": scale, f"{kind.source}.offset": offset} if scale and kind.source else {}


def parts_sharing(machine: Machine, part: Channel | Control) -> list[Channel | Control]:
    """The other parts of a machine that are read over the same connection."""
    link = _link(part)
    return [other for _table, other in _each(machine) if link and other.id != part.id and _link(other) == link]


def _link(part: Channel | Control) -> list[object]:
    """Key of the connection of a part; empty for one that is not read over a wire."""
    name = kind_of(part)
    kind = CHANNEL_KINDS.get(name, SourceKind(""))
    values = [getattr(getattr(part, kind.source), field) for field in kind.link if field != "password"]
    return [name, *values] if values else []


def _each(machine: Machine) -> Iterator[tuple[str, Channel | Control]]:
    """Each part of a machine with its table, channels first."""
    yield from (("channels", channel) for channel in machine.channels)
    yield from (("controls", control) for control in machine.controls)


def _copied(part: Channel | Control, left_out: Collection[str]) -> dict[str, str]:
    return {name: text for name, text in typed_of(part).items() if name.split(".")[0] in WIRES and name not in left_out}


def _text(value: object) -> str:
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    return "on" if value is True else "" if value is False else str(value)
