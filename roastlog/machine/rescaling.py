"""Scales that a sheet may lack: an instrument sends 2043 and means 204.3 °C. Pure.

A reading that no roaster has may be right under another scale. The person is asked; nothing is changed by itself.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from roastlog.machine.decoding import scaled
from roastlog.machine.model import WIRES, Channel, ChannelRole, Control
from roastlog.machine.sources import ModbusPoint, MqttPoint, SerialPoint

SHOWN_C: Final[Mapping[ChannelRole, tuple[float, float]]] = {
    "bean_probe": (5.0, 260.0),
    "bean_surface": (5.0, 270.0),
    "inlet_air": (5.0, 600.0),
    "exhaust_air": (5.0, 350.0),
    "drum": (5.0, 400.0),
    "room": (-10.0, 45.0),
}
"""Range of each role from a cold machine to its hottest roast. [°C] [memory: common practice]"""

# Most usual first: panel meters send tenths, some instruments send °F, few send hundredths [memory: common practice].
_FACTORS: Final = ((0.1, False), (1.0, True), (0.01, False), (0.1, True), (10.0, False))
_MOST: Final = 2  # a choice of more helps nobody
# Digits that instruments send for a broken probe, at any decimal point: ends of integers, and nines.
_BROKEN: Final = {"32767", "32768", "65535", "2147483647", "2147483648", "4294967295", "9999", "99999"}


@dataclass(frozen=True)
class Rescaling:
    """Another scale of a source, and the value that the reading then has."""

    scale: float
    offset: float
    value: float
    """The channel's temperature with its own offset [°C], or the setting."""
    from_f: bool = False
    """Whether the instrument would then send °F."""

    @property
    def decimal_scale(self) -> float:
        """The scale without the conversion from °F."""
        return round(self.scale * 9 / 5, 9) if self.from_f else self.scale


def likely_rescalings(part: Channel | Control, value: float) -> list[Rescaling]:
    """Scales under which an implausible value is plausible, most usual first; at most two.

    Empty for a plausible value, for one that an instrument sends for a broken probe, and for a sensor in mV or ohm.

    Parameters
    ----------
    part
        The channel or control, with its present scale.
    value
        Its reading by that scale, before the channel's own offset. [°C, or the control's unit]
    """
    point = _point(part)
    offset_c = part.offset_c if isinstance(part, Channel) else 0.0
    if point is None or not math.isfinite(value) or _is_plausible(part, value + offset_c):
        return []
    raw = (value - point.offset) / point.scale
    if f"{abs(raw):.12g}".replace(".", "").strip("0") in _BROKEN:
        return []
    made = [
        _rescaling(point, raw, factor, offset_c, from_f=from_f)
        for factor, from_f in _FACTORS
        if not (from_f and isinstance(part, Control))
    ]
    fitting = [one for one in made if _is_within(part, one.value)]
    on_step = [one for one in fitting if isinstance(part, Channel) or _is_on_step(part, one.value)]
    return (on_step or fitting)[:_MOST]


def _point(part: Channel | Control) -> ModbusPoint | MqttPoint | SerialPoint | None:
    if isinstance(part, Control):
        return part.modbus
    if part.sensor is not None or part.source not in WIRES:
        return None
    return part.modbus or part.mqtt or part.serial


def _rescaling(
    point: ModbusPoint | MqttPoint | SerialPoint, raw: float, factor: float, offset_c: float, *, from_f: bool
) -> Rescaling:
    degree = 5 / 9 if from_f else 1.0
    scale = float(f"{point.scale * factor * degree:.12g}")
    offset = float(f"{(point.offset * factor - (32 if from_f else 0)) * degree:.12g}")
    return Rescaling(scale, offset, round(scaled(raw, scale, offset) + offset_c, 6), from_f)


def _is_plausible(part: Channel | Control, value: float) -> bool:
    if isinstance(part, Control):
        return part.low - part.step <= value <= part.high + part.step  # what is put onto its steps
    return _is_within(part, value)


def _is_within(part: Channel | Control, value: float) -> bool:
    low, high = (part.low, part.high) if isinstance(part, Control) else SHOWN_C[part.role]
    return low <= value <= high


def _is_on_step(control: Control, value: float) -> bool:
    steps = (value - control.low) / control.step
    return abs(steps - round(steps)) < 1e-6
