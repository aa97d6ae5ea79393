"""Kalman filter for level, rate and bend of noisy readings; the rate of rise is built on it.

The model: the rate changes by a bend, an acceleration that decays within some hundred seconds and is driven by white
noise from events in the drum (Singer's model of a manoeuvring target [1]_). A straight ramp is a steady state of it.
The filter is the textbook's [2]_, written with scalars because a reading may cost only a few microseconds.

References
----------
.. [1] R. A. Singer, "Estimating optimal tracking filter performance for manned maneuvering targets", IEEE Trans.
   Aerosp. Electron. Syst. AES-6, 473-483 (1970) [memory].
.. [2] R. E. Kalman, "A new approach to linear filtering and prediction problems", J. Basic Eng. 82, 35-45 (1960)
   [memory].
"""

from functools import lru_cache
from math import exp, expm1, sqrt
from typing import NamedTuple

BEND_LASTS_S = 100.0
"""Time constant of the bend's decay. Tuned on simulated roasts, as is the process noise. [s]"""

_ANY_RATE = 1e6  # variance of an unknown rate [°C²/s²]
_ANY_BEND = 0.01  # … and of a bend [°C²/s⁴]
_NODES = (0.5 - sqrt(0.15), 0.5, 0.5 + sqrt(0.15))  # Gauss and Legendre's, on 0 to 1
_WEIGHTS = (5 / 18, 8 / 18, 5 / 18)


class ProcessNoise(NamedTuple):
    """Intensity of the noise that drives the bend: constant, plus a part that decays after charge. [°C²/s⁵], [s]"""

    constant: float
    at_charge: float = 0.0
    decay_s: float = 22.0

    def at(self, since_charge_s: float) -> float:
        """Intensity at a time since charge; before charge, and without one, only the constant part."""
        if self.at_charge == 0.0 or not 0.0 <= since_charge_s < 15 * self.decay_s:
            return self.constant
        return self.constant + self.at_charge * exp(-since_charge_s / self.decay_s)


PROCESS_NOISE = {"bean_probe": ProcessNoise(1e-8, 1e-4), "bean_surface": ProcessNoise(2.5e-8)}
"""By role: at charge the probe moves from the drum's heat into cold beans, the infrared surface does not."""

OTHER_PROCESS_NOISE = ProcessNoise(2.5e-8)


class Transition(NamedTuple):
    """One time step: the entries of the transition matrix and of the unit noise covariance that are not 0 or 1."""

    step_s: float
    level_by_bend: float
    rate_by_bend: float
    bend_left: float
    q_ll: float
    q_lr: float
    q_lb: float
    q_rr: float
    q_rb: float
    q_bb: float


@lru_cache(maxsize=256)
def transition(step_s: float, lasts_s: float = BEND_LASTS_S) -> Transition:
    """The model over one step; the noise is integrated by Gauss's rule, to 1e-5 over up to 10 s. [s]"""

    def reached(after_s: float) -> tuple[float, float, float]:
        rate = -lasts_s * expm1(-after_s / lasts_s)
        return lasts_s * (after_s - rate), rate, exp(-after_s / lasts_s)

    sums = [0.0] * 6
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        level, rate, bend = reached(node * step_s)
        terms = (level * level, level * rate, level * bend, rate * rate, rate * bend, bend * bend)
        sums = [total + weight * step_s * term for total, term in zip(sums, terms, strict=True)]
    return Transition(step_s, *reached(step_s), *sums)


class Trend:
    """Level, rate and bend at one time, with their covariance: [°C], [°C/s], [°C/s²].

    Parameters
    ----------
    level_c
        The first reading. [°C]
    noise_c2
        Variance of that reading. [°C²]
    rate, rate_c2
        Initial rate and its variance; unknown by default. [°C/s], [°C²/s²]
    """

    __slots__ = ("bb", "bend", "lb", "level", "ll", "lr", "rate", "rb", "rr")

    def __init__(self, level_c: float, noise_c2: float, *, rate: float = 0.0, rate_c2: float = _ANY_RATE) -> None:
        self.level, self.rate, self.bend = level_c, rate, 0.0
        self.ll, self.lr, self.lb = noise_c2, 0.0, 0.0
        self.rr, self.rb, self.bb = rate_c2, 0.0, _ANY_BEND

    def predict(self, step: Transition, intensity: float) -> None:
        """Predict one step ahead, with process noise of intensity ``intensity``. [°C²/s⁵]"""
        dt, lb, rb, left, q_ll, q_lr, q_lb, q_rr, q_rb, q_bb = step
        bend = self.bend
        self.level += dt * self.rate + lb * bend
        self.rate += rb * bend
        self.bend = left * bend
        m_lr = self.lr + dt * self.rr + lb * self.rb
        m_lb = self.lb + dt * self.rb + lb * self.bb
        m_rb = self.rb + rb * self.bb
        self.ll += dt * (self.lr + m_lr) + lb * (self.lb + m_lb) + intensity * q_ll
        self.lr = m_lr + rb * m_lb + intensity * q_lr
        self.lb = left * m_lb + intensity * q_lb
        self.rr += rb * (self.rb + m_rb) + intensity * q_rr
        self.rb = left * m_rb + intensity * q_rb
        self.bb = left * left * self.bb + intensity * q_bb

    def update(self, off_c: float, noise_c2: float) -> None:
        """Update with a reading ``off_c`` above the level whose error has variance ``noise_c2``. [°C], [°C²]"""
        spread = self.ll + noise_c2
        lr, lb, kept = self.lr, self.lb, noise_c2 / spread
        self.level += self.ll / spread * off_c
        self.rate += lr / spread * off_c
        self.bend += lb / spread * off_c
        self.rr -= lr * lr / spread
        self.rb -= lr * lb / spread
        self.bb -= lb * lb / spread
        self.ll *= kept
        self.lr = lr * kept
        self.lb = lb * kept

    def inflate(self, rate_c2: float, bend_c2: float) -> None:
        """Add to the variances of rate and bend. [°C²/s²], [°C²/s⁴]"""
        self.rr += rate_c2
        self.bb += bend_c2
