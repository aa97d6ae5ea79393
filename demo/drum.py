"""Thread-safe simulated roaster: stepped by one thread, read and controlled by others."""

import threading

from roastlog.physics.design import CONTROLS, IDLE, IDLE_C, GreenCoffee
from roastlog.physics.roaster import Roaster
from roastlog.physics.sensors import CHANNELS, Sensors, advance

LOW_KG, HIGH_KG = 0.8, 4.5


class Drum:
    """A warm, empty roaster with its instruments.

    Parameters
    ----------
    seed
        Of the noise.
    """

    def __init__(self, *, seed: int = 0) -> None:
        self.lock = threading.RLock()
        self.roaster = Roaster()
        self.turn_all(IDLE)
        self.roaster.warm_up(IDLE_C)
        self._sensors = Sensors(self.roaster, seed=seed)

    def advance(self, duration_s: float) -> None:
        """Advance the simulation. [s]"""
        with self.lock:
            advance(self.roaster, self._sensors, duration_s)

    def readings(self) -> dict[str, float]:
        """Current readings by channel. [°C]"""
        with self.lock:
            return self._sensors.read()

    def probe_c(self) -> float:
        """Current bean probe reading. [°C]"""
        return self.readings()[CHANNELS[0]]

    def levels(self) -> dict[str, float]:
        """Current control levels."""
        with self.lock:
            return self.roaster.settings.as_dict()

    def turn(self, control: str, level: float) -> bool:
        """Set a control; returns whether its level changed."""
        with self.lock:
            before = self.levels().get(control)
            self.roaster.settings.put(control, level)
            return before != level

    def turn_all(self, levels: dict[str, float]) -> None:
        """Set several controls."""
        for control in CONTROLS:
            if control in levels:
                self.turn(control, levels[control])

    def charge(self, green_g: float, coffee: GreenCoffee) -> None:
        """Charge the drum, limited to its batch size; beans still in it are dropped first."""
        with self.lock:
            self.empty()
            self.roaster.charge(min(max(green_g / 1000.0, LOW_KG), HIGH_KG), coffee)

    def empty(self) -> float | None:
        """Drop the beans and return their mass, or None if the drum is empty. [g]"""
        with self.lock:
            return self.roaster.drop() * 1000.0 if self.roaster.loaded else None
