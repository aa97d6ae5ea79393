"""Simulated practice machine: the physics, stepped by the clock and controlled by journal entries.

There is no real machine to set: an entry (a charge, a move, a drop) acts on the simulation.
"""

import threading
from collections.abc import Callable, Collection, Mapping
from typing import Any

from roastlog.clock import Clock
from roastlog.errors import PhysicsError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.machine.model import ChannelRole
from roastlog.physics.design import IDLE, IDLE_C, PLAIN, ControlLevels
from roastlog.physics.roaster import Roaster
from roastlog.physics.sensors import Sensors, advance

MAX_CATCH_UP_S = 1800.0  # after longer without a read the roaster has settled
DEFAULT_CHARGE_KG = 4.0

PRACTICE_ROLES: Mapping[str, ChannelRole] = {
    "bean_probe": "bean_probe",
    "bean_surface": "bean_surface",
    "exhaust": "exhaust_air",
}
_SENSED = {"bean_probe": "bean_probe", "bean_surface": "bean_surface", "exhaust_air": "exhaust"}
_SEEN: Mapping[str, Callable[[Roaster], float]] = {
    "inlet_air": lambda roaster: roaster.air_c,
    "drum": lambda roaster: roaster.drum_c,
    "room": lambda roaster: roaster.design.room_c,
}


class SimulatedInstrument:
    """A simulated four-kilo drum.

    Parameters
    ----------
    clock
        Clock of the simulation.
    roles
        Roles by channel id; defaults to those of the practice machine.
    seed
        Seed of the sensor noise.
    """

    name = "simulated roaster"

    def __init__(self, clock: Clock, roles: Mapping[str, ChannelRole] | None = None, *, seed: int = 0) -> None:
        self._clock = clock
        self._roles = dict(PRACTICE_ROLES if roles is None else roles)
        self._lock = threading.Lock()  # It is read by the recorder and followed from wherever entries come in.
        self._roaster = Roaster()
        self._wanted = dict(PLAIN)
        self._green_kg = DEFAULT_CHARGE_KG
        self._set(IDLE)
        self._roaster.warm_up(IDLE_C)
        self._sensors = Sensors(self._roaster, seed=seed)
        self._at_ms = clock.now_ms()

    def open(self) -> None:
        """Nothing to connect to."""

    def read(self, ids: Collection[str]) -> list[Reading | ReadFault]:
        """Newest value of those channels."""
        with self._lock:
            at_ms = self._catch_up()
            sensed = self._sensors.read()
            return [self._reading(at_ms, name, sensed) for name in ids]

    def close(self) -> None:
        """Nothing to release."""

    def follow(self, kind: str, body: Mapping[str, Any]) -> None:
        """Apply an entry: opened with a weight, charge, move or drop. Other kinds are ignored.

        An empty drum keeps its idle temperature; moves made then apply from the charge on. A charge with beans still in
        the drum drops them first.
        """
        with self._lock:
            self._catch_up()
            if kind == "opened" and body.get("green_g"):
                low_kg, high_kg = self._roaster.design.batch_kg
                self._green_kg = min(max(float(body["green_g"]) / 1000.0, low_kg), high_kg)
            elif kind == "move":
                self._move(str(body.get("control")), body.get("setting"))
            elif kind == "moment" and body.get("moment") == "charge":
                self._drop()
                self._set(self._wanted)
                self._roaster.charge(self._green_kg)
            elif kind == "moment" and body.get("moment") == "drop":
                self._drop()

    def _catch_up(self) -> int:
        now_ms = self._clock.now_ms()
        advance(self._roaster, self._sensors, min((now_ms - self._at_ms) / 1000.0, MAX_CATCH_UP_S))
        self._at_ms = now_ms
        return now_ms

    def _reading(self, at_ms: int, name: str, sensed: Mapping[str, float]) -> Reading | ReadFault:
        role = self._roles.get(name)
        if role is None:
            return ReadFault(at_ms, name, f"The simulated roaster has no channel {name}.")
        if role in _SENSED:
            return Reading(at_ms, name, sensed[_SENSED[role]])
        return Reading(at_ms, name, round(_SEEN[role](self._roaster), 1))

    def _move(self, control: str, setting: object) -> None:
        if not isinstance(setting, int | float):
            return
        try:
            ControlLevels().put(control, setting)
        except PhysicsError:
            return  # A control of the sheet's own naming moves nothing here.
        self._wanted[control] = float(setting)
        if self._roaster.loaded:
            self._roaster.settings.put(control, setting)

    def _drop(self) -> None:
        if self._roaster.loaded:
            self._roaster.drop()
            self._wanted = dict(PLAIN)
            self._green_kg = DEFAULT_CHARGE_KG
            self._set(IDLE)

    def _set(self, levels: Mapping[str, float]) -> None:
        for control, level in levels.items():
            self._roaster.settings.put(control, level)
