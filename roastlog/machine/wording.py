"""Descriptions of the sources of channels and controls, for the setup page."""

from collections.abc import Mapping
from typing import Final

from roastlog.languages import N_, _, decimal
from roastlog.machine.model import Channel, ChannelRole, Control
from roastlog.machine.sources import ModbusPoint, MqttPoint, Sensor, SerialPoint

ROLES: Final[Mapping[ChannelRole, str]] = {
    "bean_probe": N_("bean probe, in the beans"),
    "bean_surface": N_("bean surface, by infrared"),
    "inlet_air": N_("inlet air"),
    "exhaust_air": N_("exhaust air"),
    "drum": N_("drum"),
    "room": N_("room, or the box of the instrument"),
}


def source_words(part: Channel | Control) -> str:
    """Describe the source of a channel or control in one line."""
    if part.modbus is not None:
        words = _modbus(part.modbus)
    elif isinstance(part, Control):
        return _("not read; entered by tapping")
    elif part.mqtt is not None:
        words = _mqtt(part.mqtt)
    elif part.serial is not None:
        words = _serial(part.serial)
    else:
        return {
            "http": _("sent to the API over HTTP"),
            "hand": _("read by a person and typed in"),
            "simulated": _("simulated, for practice"),
        }[part.source]
    sensor = part.sensor if isinstance(part, Channel) else None
    return words if sensor is None else f"{words}; {_sensor(sensor)}"


def _modbus(point: ModbusPoint) -> str:
    wire = (
        _("Modbus on {device}, {baud} baud", device=point.device, baud=point.baud)
        if point.device
        else _("Modbus at {host}:{port}", host=point.host, port=point.port)
    )
    place = f"{point.table} {point.address}"
    if point.type:
        place += " " + _("as {type}", type=point.type)
    every = _("each {poll_s:g} s", poll_s=point.poll_s)
    return ", ".join([wire, _("unit {unit}", unit=point.unit), place + _scaled(point), every])


def _mqtt(point: MqttPoint) -> str:
    broker = _("MQTT at {host}:{port}", host=point.host, port=point.port)
    tls = " " + _("with TLS") if point.tls else ""
    topic = _("topic {topic}", topic=point.topic)
    place = f", {point.value}" if point.value else ""
    return f"{broker}{tls}, {topic}{place}{_scaled(point)}"


def _serial(point: SerialPoint) -> str:
    form = (
        _("pattern, group {group}", group=point.group)
        if point.pattern
        else _("column {column} of {columns}", column=point.column, columns=point.columns)
    )
    line = _("lines on {device}, {baud} baud", device=point.device, baud=point.baud)
    check = "" if point.checksum is None else ", " + _("checksum {checksum}", checksum=point.checksum)
    return f"{line}, {form}{_scaled(point)}{check}"


def _scaled(point: ModbusPoint | MqttPoint | SerialPoint) -> str:
    scale = "" if point.scale == 1 else decimal(f" × {point.scale:g}")
    return scale if point.offset == 0 else decimal(f"{scale} {'+' if point.offset > 0 else '−'} {abs(point.offset):g}")


def _sensor(sensor: Sensor) -> str:
    if sensor.platinum:
        return _("{type} in ohm", type=sensor.type)
    junction = sensor.cold_junction or decimal(f"{sensor.cold_junction_c:g} °C")
    return _("type {type} in mV, cold junction {junction}", type=sensor.type, junction=junction)
