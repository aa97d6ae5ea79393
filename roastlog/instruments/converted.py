"""Conversion of raw readings by the machine's sheet: mV and ohm to °C, and knob positions to control steps."""

import threading
from collections.abc import Collection, Mapping, Sequence
from typing import Final

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import Instrument, ReadFault, Reading
from roastlog.instruments.doubt import Doubt
from roastlog.languages import _
from roastlog.machine.decoding import snap_setting
from roastlog.machine.model import Channel, Control, Machine
from roastlog.machine.rescaling import likely_rescalings
from roastlog.machine.sources import Sensor
from roastlog.machine.thermometry import platinum_c, thermocouple_c

MAX_TEMP_C: Final = 2000.0
"""Maximum plausible temperature. Instruments send numbers such as 3276.7 or 6553.5 for a broken probe. [°C]"""

JUNCTION_MAX_AGE_S: Final = 120.0
"""Maximum age of a cold junction reading, because the terminals warm by tenths of a °C a minute. [s]"""


class ColdJunctions:
    """Newest temperatures of a machine's cold junctions, from any link."""

    def __init__(self, machine: Machine, clock: Clock) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._known: dict[str, tuple[int, float]] = {}
        wanted = {channel.sensor.cold_junction for channel in machine.channels if channel.sensor is not None}
        self._offsets_c = {channel.id: channel.offset_c for channel in machine.channels if channel.id in wanted}

    def __contains__(self, name: str) -> bool:
        return name in self._offsets_c

    def put(self, reading: Reading) -> None:
        """Record a reading of a cold junction."""
        with self._lock:
            self._known[reading.channel] = (reading.at_ms, reading.value + self._offsets_c[reading.channel])

    def temp_c(self, sensor: Sensor) -> float:
        """Current temperature of a sensor's cold junction; raises InstrumentError if unknown or too old. [°C]"""
        if sensor.cold_junction is None:
            return sensor.cold_junction_c or 0.0
        with self._lock:
            at_ms, temp_c = self._known.get(sensor.cold_junction, (None, 0.0))
        if at_ms is None:
            raise InstrumentError(
                _("It waits for its cold junction, {cold_junction}.", cold_junction=sensor.cold_junction)
            )
        if self._clock.now_ms() - at_ms > JUNCTION_MAX_AGE_S * 1000 * self._clock.rate:
            raise InstrumentError(
                _("Its cold junction, {cold_junction}, was last read too long ago.", cold_junction=sensor.cold_junction)
            )
        return temp_c


class ConvertedInstrument:
    """Wraps a link and converts its readings by the machine's sheet.

    Parameters
    ----------
    instrument
        The raw link.
    machine
        The machine of its channels and controls.
    junctions
        Shared by all links of the machine.
    """

    def __init__(self, instrument: Instrument, machine: Machine, junctions: ColdJunctions) -> None:
        self._instrument, self._junctions = instrument, junctions
        self.name = instrument.name
        self._channels: Mapping[str, Channel] = {channel.id: channel for channel in machine.channels}
        self._controls: Mapping[str, Control] = {control.id: control for control in machine.controls}
        self._settings: dict[str, float] = {}
        self._doubts: dict[str, Doubt] = {}

    def open(self) -> None:
        """Connect, or raise `InstrumentError`."""
        self._instrument.open()
        unchecked = [channel for channel in self._channels.values() if channel.serial and not channel.serial.checksum]
        self._doubts = {channel.id: Doubt() for channel in unchecked}

    def read(self, ids: Collection[str]) -> Sequence[Reading | ReadFault]:
        """Converted readings of those channels and controls, or their faults."""
        answers = self._instrument.read(ids)
        # Cold junctions first, so that thermocouples use the junction reading of the same poll.
        converted = {i: self._convert(item) for i, item in enumerate(answers) if item.channel in self._junctions}
        for item in converted.values():
            if isinstance(item, Reading):
                self._junctions.put(item)
        ordered = [converted[i] if i in converted else self._convert(item) for i, item in enumerate(answers)]
        return [passed for item in ordered for passed in self._passed(item)]

    def close(self) -> None:
        """Release the port. Never raises."""
        self._instrument.close()

    def _passed(self, item: Reading | ReadFault) -> Sequence[Reading | ReadFault]:
        """The item without a jump that is in doubt, and with one that proved right."""
        doubt = self._doubts.get(item.channel)
        return [item] if doubt is None or isinstance(item, ReadFault) else doubt.passed(item)

    def _convert(self, item: Reading | ReadFault) -> Reading | ReadFault:
        if isinstance(item, ReadFault):
            return item
        try:
            return item._replace(value=self._value(item))
        except InstrumentError as error:
            return ReadFault(item.at_ms, item.channel, str(error), item.raw, item.value)

    def _value(self, reading: Reading) -> float:
        name, value = reading.channel, reading.value
        if name in self._controls:
            control = self._controls[name]
            last = self._settings.get(name)
            value = snap_setting(value, last, low=control.low, high=control.high, step=control.step)
            self._settings[name] = value
            return value
        channel = self._channels[name]
        if channel.sensor is not None:
            return self._temp_c(channel.sensor, value)
        if abs(value) > MAX_TEMP_C:
            raise InstrumentError(_no_temperature(channel, value))
        return value

    def _temp_c(self, sensor: Sensor, value: float) -> float:
        if sensor.type == "Pt100":
            return round(platinum_c(value), 3)
        if sensor.type == "Pt1000":
            return round(platinum_c(value, 1000.0), 3)
        return round(thermocouple_c(sensor.type, value, self._junctions.temp_c(sensor)), 3)


def _no_temperature(channel: Channel, value: float) -> str:
    if likely_rescalings(channel, value):
        return _("{value:g} °C is impossible in a roaster. Is its scale right?", value=value)
    return _("{value:g} °C is impossible in a roaster. Is the probe broken?", value=value)
