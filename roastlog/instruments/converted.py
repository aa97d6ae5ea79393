"""From what a wire says to what a sheet means by it: mV and ohm to °C, and knobs onto the steps of their controls."""

import threading
from collections.abc import Collection, Mapping, Sequence
from typing import Final

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import Instrument, ReadFault, Reading
from roastlog.languages import _
from roastlog.machine.decoding import setting
from roastlog.machine.model import Channel, Control, Machine
from roastlog.machine.sources import Sensor
from roastlog.machine.thermometry import platinum_c, thermocouple_c

ABSURD_C: Final = 2000.0
"""No roaster has more. Instruments send such numbers, 3276.7 or 6553.5, when a probe is broken. [°C]"""

JUNCTION_OLD_S: Final = 120.0
"""How long a cold junction may stay unread: where wires end it warms by tenths of a °C a minute."""


class Junctions:
    """Newest temperatures of a machine's cold junctions, whichever link they come over."""

    def __init__(self, machine: Machine, clock: Clock) -> None:
        self._clock = clock
        self._turn = threading.Lock()
        self._known: dict[str, tuple[int, float]] = {}
        wanted = {channel.sensor.cold_junction for channel in machine.channels if channel.sensor is not None}
        self._offsets_c = {channel.id: channel.offset_c for channel in machine.channels if channel.id in wanted}

    def __contains__(self, name: str) -> bool:
        return name in self._offsets_c

    def put(self, reading: Reading) -> None:
        """A cold junction was read."""
        with self._turn:
            self._known[reading.channel] = (reading.at_ms, reading.value + self._offsets_c[reading.channel])

    def temp_c(self, sensor: Sensor) -> float:
        """Temperature of a sensor's cold junction now. [°C]"""
        if sensor.cold_junction is None:
            return sensor.cold_junction_c or 0.0
        with self._turn:
            at_ms, temp_c = self._known.get(sensor.cold_junction, (None, 0.0))
        if at_ms is None:
            raise InstrumentError(
                _("It waits for its cold junction, {cold_junction}.", cold_junction=sensor.cold_junction)
            )
        if self._clock.now_ms() - at_ms > JUNCTION_OLD_S * 1000 * self._clock.rate:
            raise InstrumentError(
                _("Its cold junction, {cold_junction}, was last read too long ago.", cold_junction=sensor.cold_junction)
            )
        return temp_c


class Converted:
    """A link whose readings are what the machine's sheet says that they are.

    Parameters
    ----------
    instrument
        The link as it is on the wire.
    machine
        Whose channels and controls it carries.
    junctions
        Shared by all links of the machine.
    """

    def __init__(self, instrument: Instrument, machine: Machine, junctions: Junctions) -> None:
        self._instrument, self._junctions = instrument, junctions
        self.name = instrument.name
        self._channels: Mapping[str, Channel] = {channel.id: channel for channel in machine.channels}
        self._controls: Mapping[str, Control] = {control.id: control for control in machine.controls}
        self._settings: dict[str, float] = {}

    def open(self) -> None:
        """Connect, or raise `InstrumentError`."""
        self._instrument.open()

    def read(self, ids: Collection[str]) -> Sequence[Reading | ReadFault]:
        """What those channels and controls are, or why that is not known."""
        answers = self._instrument.read(ids)
        # The cold junctions first: what is read together belongs together.
        meant = {index: self._meant(item) for index, item in enumerate(answers) if item.channel in self._junctions}
        for item in meant.values():
            if isinstance(item, Reading):
                self._junctions.put(item)
        return [meant[index] if index in meant else self._meant(item) for index, item in enumerate(answers)]

    def close(self) -> None:
        """Let go of the port. Never raises."""
        self._instrument.close()

    def _meant(self, item: Reading | ReadFault) -> Reading | ReadFault:
        if isinstance(item, ReadFault):
            return item
        try:
            return item._replace(value=self._value(item))
        except InstrumentError as error:
            return ReadFault(item.at_ms, item.channel, str(error), item.raw)

    def _value(self, reading: Reading) -> float:
        name, value = reading.channel, reading.value
        if name in self._controls:
            control = self._controls[name]
            last = self._settings.get(name)
            value = setting(value, last, low=control.low, high=control.high, step=control.step)
            self._settings[name] = value
            return value
        sensor = self._channels[name].sensor
        if sensor is not None:
            return self._temp_c(sensor, value)
        if abs(value) > ABSURD_C:
            raise InstrumentError(
                _("{value:g} °C is not a temperature that a roaster has. Is the probe broken?", value=value)
            )
        return value

    def _temp_c(self, sensor: Sensor, value: float) -> float:
        if sensor.type == "Pt100":
            return round(platinum_c(value), 3)
        if sensor.type == "Pt1000":
            return round(platinum_c(value, 1000.0), 3)
        return round(thermocouple_c(sensor.type, value, self._junctions.temp_c(sensor)), 3)
