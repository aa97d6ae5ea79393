"""What the instruments make of a roast: lag, noise and steps of a tenth of a degree."""

from dataclasses import dataclass
from math import exp

import numpy as np

from roastlog.physics.chemistry import KELVIN
from roastlog.physics.roaster import Roaster

CHANNELS = ("bean_probe", "bean_surface", "exhaust")
NOISE_LENGTH = 4096  # Noise is drawn once and gone round: a draw per reading would cost more than the roast.


@dataclass(frozen=True, slots=True)
class SensorDesign:
    """The three instruments.

    Parameters
    ----------
    probe_lag_s, probe_lag_empty_s
        Time constant of the bean probe in a moving bed of beans, and in the air of the empty drum. [s]
    probe_in_drum
        Share of the drum metal, against the air, in what the probe of the empty drum reads.
    surface_lag_s, exhaust_lag_s
        Time constants of the infrared sensor and of the exhaust probe. [s]
    surface_emissivity
        Of the beans; the infrared sensor is set to 1 and sees the drum mirrored in the rest.
    noise_c
        Standard deviation of the noise of bean probe, bean surface and exhaust. [°C]
    step_c
        Smallest step of a reading. [°C]
    """

    probe_lag_s: float = 32.0
    probe_lag_empty_s: float = 45.0
    probe_in_drum: float = 0.95
    surface_lag_s: float = 1.5
    exhaust_lag_s: float = 6.0
    surface_emissivity: float = 0.95
    noise_c: tuple[float, float, float] = (0.08, 0.35, 0.25)
    step_c: float = 0.1


class Sensors:
    """Instruments on a roaster.

    Parameters
    ----------
    roaster
        What they measure; they start in balance with it.
    seed
        Of the noise. The same seed gives the same readings.
    design
        The instruments.
    """

    def __init__(self, roaster: Roaster, *, seed: int = 0, design: SensorDesign | None = None) -> None:
        self.design = design or SensorDesign()
        draws = np.random.default_rng(seed).standard_normal((NOISE_LENGTH, len(CHANNELS)))
        self._noise: list[list[float]] = (draws * np.array(self.design.noise_c)).tolist()
        self._turn = 0
        self._roaster = roaster
        self.settle()

    def settle(self) -> None:
        """Forget all lag: take what the roaster has now as long since reached."""
        self._felt = [self._probe_c(), self._surface_c(), self._roaster.exhaust_c]

    def step(self, dt_s: float = 1.0) -> None:
        """Follow the roaster for ``dt_s``; call it after the roaster's own step. [s]"""
        design, felt = self.design, self._felt
        probe_lag_s = design.probe_lag_s if self._roaster.loaded else design.probe_lag_empty_s
        felt[0] += (self._probe_c() - felt[0]) * (1.0 - exp(-dt_s / probe_lag_s))
        felt[1] += (self._surface_c() - felt[1]) * (1.0 - exp(-dt_s / design.surface_lag_s))
        felt[2] += (self._roaster.exhaust_c - felt[2]) * (1.0 - exp(-dt_s / design.exhaust_lag_s))
        self._turn = (self._turn + 1) % NOISE_LENGTH

    def read(self) -> dict[str, float]:
        """Reading of each channel: the same however often it is asked for between two steps. [°C]"""
        step_c = self.design.step_c
        noise = self._noise[self._turn]
        return {
            channel: round(round((felt + extra) / step_c) * step_c, 6)
            for channel, felt, extra in zip(CHANNELS, self._felt, noise, strict=True)
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
    """Let time pass for a roaster and its instruments together, in steps of at most 1 s. [s]"""
    left_s = duration_s
    while left_s > 0.0:
        step_s = min(1.0, left_s)
        roaster.step(step_s)
        sensors.step(step_s)
        left_s -= step_s
