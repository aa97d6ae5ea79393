"""Simulated roasts for tests of the computations: many coffees, machines and operators, each from a seed.

Everything is based on `roastlog.physics` and drawn at random from a seed; nothing was tuned on the tested seeds. The
instruments' noise is added afterwards, so that the noise-free curve, and with it the true rate, is known.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from roastlog.curve.roast import Move
from roastlog.errors import PhysicsError
from roastlog.physics.design import GreenCoffee, RoasterDesign
from roastlog.physics.schedule import RoastRun, Schedule, Step, roast
from roastlog.physics.sensors import SensorDesign
from tests.kept import kept

NO_NOISE = {"noise_c": (0.0, 0.0, 0.0), "step_c": 1e-6}
FIRST_CRACK_S = 380.0, 840.0  # other roasts are discarded as unrealistic
CRACK_SPREAD_C, YELLOW_SPREAD_C = 0.7, 1.5  # variation between batches of one coffee
CRACK_TAP_S, YELLOW_TAP_S = 3.0, 8.0  # delay of a person's tap


@dataclass(frozen=True)
class Known:
    """A simulated roast with a known truth: the noise-free curves, and the operator's taps and moves.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Time from charge to drop, each second. [s]
    probe_c, surface_c : ndarray, shape (n,)
        Noise-free readings, lag and all. [°C]
    rate_c_per_min : ndarray, shape (n,)
        Their true rate: the central difference of the noise-free probe. [°C/min]
    true_s : dict of str to float
        True times of the moments. [s]
    moments_s : dict of str to float
        Times of a person's taps. [s]
    """

    time_s: NDArray[np.float64]
    probe_c: NDArray[np.float64]
    surface_c: NDArray[np.float64]
    rate_c_per_min: NDArray[np.float64]
    surface_rate_c_per_min: NDArray[np.float64]
    true_s: dict[str, float]
    moments_s: dict[str, float]
    moves: tuple[Move, ...]
    green_g: float
    charge_c: float

    @property
    def drop_s(self) -> float:
        """Time of the drop. [s]"""
        return self.moments_s["drop"]


def read(temp_c: NDArray[np.float64], rng: np.random.Generator, *, sd_c: float = 0.25, step_c: float = 0.1):
    """Readings of a noise-free curve by a sensor: white noise, then steps. [°C]"""
    noisy = temp_c + rng.normal(0.0, sd_c, temp_c.shape)
    return np.round(noisy / step_c) * step_c if step_c else noisy


def machine(seed: int) -> tuple[RoasterDesign, SensorDesign]:
    """A random machine with common instruments."""
    rng = np.random.default_rng([1, seed])
    plain = RoasterDesign()

    def about(value: float, share: float) -> float:
        return value * float(np.exp(rng.normal(0.0, share)))

    design = replace(
        plain,
        air_to_bean=about(plain.air_to_bean, 0.10),
        bean_to_drum=about(plain.bean_to_drum, 0.15),
        drum_capacity=about(plain.drum_capacity, 0.15),
        air_kg_per_s=about(plain.air_kg_per_s, 0.08),
        radiant_kw=about(plain.radiant_kw, 0.10),
        drum_to_room=about(plain.drum_to_room, 0.10),
        room_c=float(rng.uniform(17.0, 28.0)),
    )
    return design, SensorDesign(probe_lag_s=float(rng.uniform(14.0, 36.0)), **NO_NOISE)


def coffee(seed: int) -> GreenCoffee:
    """A random green coffee."""
    rng = np.random.default_rng([2, seed])
    return GreenCoffee(
        moisture_wet=float(rng.uniform(0.095, 0.123)),
        bean_mm=float(rng.uniform(5.5, 6.7)),
        reaction_total=float(rng.uniform(205.0, 255.0)),
        yellow_c=float(rng.uniform(151.0, 160.0)),
        first_crack_c=float(rng.uniform(196.5, 204.5)),
    )


@dataclass(frozen=True)
class Habit:
    """An operator's way to roast one coffee on one machine, before the variation between batches."""

    green_kg: float
    charge_c: float
    start: dict[str, float]
    steps: tuple[Step, ...]
    development_s: float


def habit(seed: int) -> Habit:
    """A random way: high heat early, reduced in steps, the radiant source cut before or at first crack."""
    rng = np.random.default_rng([3, seed])
    green_kg = float(rng.uniform(2.2, 4.4))
    scale = 0.55 + 0.45 * green_kg / 4.0
    air = scale * float(rng.uniform(5.0, 6.6))
    radiant = scale * float(rng.uniform(3.6, 5.4))
    drum = scale * float(rng.uniform(3.4, 4.6))
    cut_s = float(rng.uniform(240.0, 340.0))
    steps = (
        Step("hot_air", _half(air * 0.92), at_s=cut_s - 60.0),
        Step("radiant", _half(radiant * 0.85), at_s=cut_s),
        Step("hot_air", _half(air * 0.85), at_s=cut_s + 60.0),
        Step("radiant", _half(radiant * float(rng.uniform(0.4, 0.7))), at_s=cut_s + 110.0),
        Step("drum_heat", _half(drum * 0.85), at_s=cut_s + 150.0),
        Step("radiant", _half(radiant * float(rng.uniform(0.0, 0.4))), at="first_crack"),
        Step("hot_air", _half(air * float(rng.uniform(0.65, 0.8))), at="first_crack"),
    )
    start = {"hot_air": _half(air), "radiant": _half(radiant), "drum_heat": _half(drum), "stir": 5.0}
    return Habit(green_kg, float(rng.uniform(178.0, 204.0)), start, steps, float(rng.uniform(68.0, 110.0)))


def _half(level: float) -> float:
    return float(np.clip(np.round(2 * level) / 2, 0.0, 10.0))


def _varied(way: Habit, rng: np.random.Generator) -> Schedule:
    """The same way with random changes of weight, temperature, times and settings, and an omitted move."""
    steps = []
    for step in way.steps:
        if rng.random() < 0.1:
            continue
        at_s = None if step.at_s is None else max(30.0, step.at_s + float(rng.normal(0.0, 20.0)))
        steps.append(replace(step, at_s=at_s, setting=_half(step.setting + float(rng.normal(0.0, 0.4)))))
    start = {name: _half(level + float(rng.normal(0.0, 0.35))) for name, level in way.start.items()}
    green_kg = way.green_kg * float(rng.choice([1.0, 1.0, 1.0, 0.75, 0.9, 1.1])) * float(np.exp(rng.normal(0.0, 0.01)))
    return Schedule(
        green_kg=float(np.clip(green_kg, 0.8, 4.5)),
        charge_c=way.charge_c + float(rng.normal(0.0, 5.0)),
        start=start,
        steps=tuple(steps),
        development_s=way.development_s + float(rng.normal(0.0, 5.0)),
    )


def known(run: RoastRun, charge_c: float, rng: np.random.Generator) -> Known:
    """A run in the form that the tests use; the taps are drawn from ``rng``."""
    taps = {"yellow": YELLOW_TAP_S, "first_crack": CRACK_TAP_S}
    said = {
        name: at_s if name not in taps else float(np.clip(at_s + rng.normal(0.0, taps[name]), 1.0, run.moments["drop"]))
        for name, at_s in run.moments.items()
    }
    probe_c, surface_c = run.channels["bean_probe"], run.channels["bean_surface"]
    return Known(
        time_s=run.time_s,
        probe_c=probe_c,
        surface_c=surface_c,
        rate_c_per_min=60.0 * np.gradient(probe_c, run.time_s),
        surface_rate_c_per_min=60.0 * np.gradient(surface_c, run.time_s),
        true_s=dict(run.moments),
        moments_s=said,
        moves=tuple(Move(made.time_s, made.control, made.setting) for made in run.moves),
        green_g=run.green_g,
        charge_c=charge_c,
    )


@kept
def batches(seed: int, count: int) -> Sequence[Known]:
    """Batches of one coffee on one machine by one operator, in order, all different."""
    design, sensors = machine(seed)
    bean, way = coffee(seed), _way(seed)
    made: list[Known] = []
    for number in range(20 * count):
        rng = np.random.default_rng([4, seed, number])
        crack_c = bean.first_crack_c + float(rng.normal(0.0, CRACK_SPREAD_C))
        yellow_c = bean.yellow_c + float(rng.normal(0.0, YELLOW_SPREAD_C))
        today = replace(bean, first_crack_c=crack_c, yellow_c=yellow_c)
        schedule = _varied(way, rng)
        found = _kept(schedule, today, design, sensors)
        if found is not None:
            made.append(known(found, schedule.charge_c, rng))
        if len(made) == count:
            return made
    raise AssertionError(f"The hand of seed {seed} cannot roast its coffee.")


def _way(seed: int) -> Habit:
    """The first way that gives a realistic roast of this seed's coffee on its machine."""
    if (way := _first_way(seed)) is None:
        raise AssertionError(f"No way was found for seed {seed}.")
    return way


@kept
def _first_way(seed: int) -> Habit | None:
    design, sensors = machine(seed)
    for turn in range(40):
        way = habit(1000 * seed + turn)
        plain = Schedule(way.green_kg, way.charge_c, way.start, way.steps, way.development_s)
        found = _kept(plain, coffee(seed), design, sensors)
        if found is not None and 430.0 <= found.moments["first_crack"] <= 720.0 and found.moments["yellow"] > 200.0:
            return way
    return None


def _kept(schedule: Schedule, bean: GreenCoffee, design: RoasterDesign, sensors: SensorDesign) -> RoastRun | None:
    soon = replace(schedule, longest_s=FIRST_CRACK_S[1] + schedule.development_s)  # a later drop would be discarded
    try:
        run = roast(soon, bean, design=design, sensor_design=sensors)
    except PhysicsError:
        return None
    crack_s = run.moments.get("first_crack")
    return run if crack_s is not None and FIRST_CRACK_S[0] <= crack_s <= FIRST_CRACK_S[1] else None


@kept
def mixed(count: int, seed: int = 0) -> Sequence[Known]:
    """Roasts of different coffees, machines and operators."""
    return [batches(seed + 100 * (number + 1), 1)[0] for number in range(count)]
