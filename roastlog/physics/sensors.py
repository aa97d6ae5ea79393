"""Simulated sensors: lag, noise and a resolution of a tenth of a degree."""

from dataclasses import dataclass
from functools import lru_cache
from math import exp

import numpy as np

from roastlog.physics.chemistry import KELVIN
from roastlog.physics.roaster import Roaster

CHANNELS = ("bean_probe", "bean_surface", "exhaust")
NOISE_LENGTH = 4096  # noise is drawn once and reused cyclically: one draw per reading would cost more than the roast


@dataclass(frozen=True, slots=True)
class SensorDesign:
    """The three instruments.

    Parameters
    ----------
    probe_lag_s, probe_lag_empty_s
        Time constant of the bean probe in a moving bed of beans, and in the air of the empty drum. [s]
    probe_in_drum
        Weight of the drum metal, against the air, in the probe reading of the empty drum.
    surface_lag_s, exhaust_lag_s
        Time constants of the infrared sensor and of the exhaust probe. [s]
    surface_emissivity
        Emissivity of the beans; the infrared sensor is set to 1 and also sees the drum's reflection.
    noise_c
        Standard deviation of the noise of bean probe, bean surface and exhaust. [°C]
    step_c
        Resolution of a reading. [°C]
    """

    probe_lag_s: float = 32.0
    probe_lag_empty_s: float = 45.0
    probe_in_drum: float = 0.95
    surface_lag_s: float = 1.5
    exhaust_lag_s: float = 6.0
    surface_emissivity: float = 0.95
    noise_c: tuple[float, float, float] = (0.08, 0.35, 0.25)
    step_c: float = 0.1


@lru_cache(8)  # most machines of a simulation have the same
def _noise(seed: int, noise_c: tuple[float, float, float]) -> list[list[float]]:
    """Noise of each channel, row by row; nobody may change it. [°C]"""
    draws = np.random.default_rng(seed).standard_normal((NOISE_LENGTH, len(CHANNELS)))
    rows: list[list[float]] = (draws * np.array(noise_c)).tolist()
    return rows


class Sensors:
    """Instruments on a roaster.

    Parameters
    ----------
    roaster
        The measured roaster; the sensors start in equilibrium with it.
    seed
        Seed of the noise. The same seed gives the same readings.
    design
        The instruments.
    """

    def __init__(self, roaster: Roaster, *, seed: int = 0, design: SensorDesign | None = None) -> None:
        self.design = design or SensorDesign()
        self._noise = _noise(seed, self.design.noise_c)
        self._noise_index = 0
        self._roaster = roaster
        self.settle()

    def settle(self) -> None:
        """Set all sensors to the roaster's current values, without lag."""
        self._lagged = [self._probe_c(), self._surface_c(), self._roaster.exhaust_c]

    def step(self, dt_s: float = 1.0) -> None:
        """Advance by ``dt_s``; call it after the roaster's own step. [s]"""
        design, lagged = self.design, self._lagged
        probe_lag_s = design.probe_lag_s if self._roaster.loaded else design.probe_lag_empty_s
        lagged[0] += (self._probe_c() - lagged[0]) * (1.0 - exp(-dt_s / probe_lag_s))
        lagged[1] += (self._surface_c() - lagged[1]) * (1.0 - exp(-dt_s / design.surface_lag_s))
        lagged[2] += (self._roaster.exhaust_c - lagged[2]) * (1.0 - exp(-dt_s / design.exhaust_lag_s))
        self._noise_index = (self._noise_index + 1) % NOISE_LENGTH

    def read(self) -> dict[str, float]:
        """Reading of each channel; constant between two steps. [°C]"""
        step_c = self.design.step_c
        noise = self._noise[self._noise_index]
        return {
            channel: round(round((lagged + extra) / step_c) * step_c, 6)
            for channel, lagged, extra in zip(CHANNELS, self._lagged, noise, strict=True)
        }

    def _probe_c(self) -> float:
        roaster = self._roaster
        if roaster.loaded:
            return roaster.bean_c
        share = self.design.probe_in_drum
        return share * roaster.drum_c + (1.0 - share) * roaster.outlet_c

    def _surface_c(self) -> float:
        emissivity = self.design.surface_emissivity
        own, mirrored = self._roaster.surface_c + KELVIN, self._roaster.drum_c + KELVIN
        seen = emissivity * own**4 + (1.0 - emissivity) * mirrored**4
        return float(seen**0.25) - KELVIN


def advance(roaster: Roaster, sensors: Sensors, duration_s: float) -> None:
    """Advance a roaster and its sensors together, in steps of at most 1 s. [s]"""
    left_s = duration_s
    while left_s > 0.0:
        step_s = min(1.0, left_s)
        roaster.step(step_s)
        sensors.step(step_s)
        left_s -= step_s
