"""Where a channel or a control is read, in words for the page where it is set up."""

from collections.abc import Mapping
from typing import Final

from roastlog.instruments.machine import Channel, Control, Role
from roastlog.instruments.points import ModbusPoint, MqttPoint, Sensor, SerialPoint

ROLES: Final[Mapping[Role, str]] = {
    "bean_probe": "bean probe, in the beans",
    "bean_surface": "bean surface, by infrared",
    "inlet_air": "inlet air",
    "exhaust_air": "exhaust air",
    "drum": "drum",
    "room": "room, or the box of the instrument",
}


def source_words(part: Channel | Control) -> str:
    """What it is read from, in a line."""
    if part.modbus is not None:
        words = _modbus(part.modbus)
    elif isinstance(part, Control):
        return "not read; people say what they set"
    elif part.mqtt is not None:
        words = _mqtt(part.mqtt)
    elif part.serial is not None:
        words = _serial(part.serial)
    else:
        return {
            "http": "sent to the API over HTTP",
            "hand": "read by a person and typed in",
            "simulated": "simulated, for practice",
        }[part.source]
    sensor = part.sensor if isinstance(part, Channel) else None
    return words if sensor is None else f"{words}; {_sensor(sensor)}"


def _modbus(point: ModbusPoint) -> str:
    wire = f"Modbus on {point.device}, {point.baud} baud" if point.device else f"Modbus at {point.host}:{point.port}"
    kind = f" as {point.type}" if point.type else ""
    return f"{wire}, unit {point.unit}, {point.table} {point.address}{kind}{_scaled(point)}, each {point.poll_s:g} s"


def _mqtt(point: MqttPoint) -> str:
    tls = " with TLS" if point.tls else ""
    place = f", {point.value}" if point.value else ""
    return f"MQTT at {point.host}:{point.port}{tls}, topic {point.topic}{place}{_scaled(point)}"


def _serial(point: SerialPoint) -> str:
    form = f"pattern, group {point.group}" if point.pattern else f"column {point.column} of {point.columns}"
    return f"lines on {point.device}, {point.baud} baud, {form}{_scaled(point)}"


def _scaled(point: ModbusPoint | MqttPoint | SerialPoint) -> str:
    scale = "" if point.scale == 1 else f" × {point.scale:g}"
    return scale if point.offset == 0 else f"{scale} {'+' if point.offset > 0 else '−'} {abs(point.offset):g}"


def _sensor(sensor: Sensor) -> str:
    if sensor.platinum:
        return f"{sensor.type} in ohm"
    junction = sensor.cold_junction or f"{sensor.cold_junction_c:g} °C"
    return f"type {sensor.type} in mV, cold junction {junction}"
