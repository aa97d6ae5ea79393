"""Repeatable simulated batches: one coffee on one machine by one schedule, with the spread of a good day.

The corpus of `roast_corpus` varies widely, to train the outlook; here a comparison must find a single change while the
rest varies as usual. The usual spreads are our assumptions.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from roastlog.curve.rate.rate_of_rise import rate_of_rise
from roastlog.curve.roast import Roast
from roastlog.physics.schedule import Schedule, roast
from tests import roast_corpus
from tests.kept import kept
from tests.roast_corpus import Known, known, read

CHARGE_SD_C, WEIGHT_SD, MOVE_SD_S, DEVELOPMENT_SD_S = 1.5, 0.003, 4.0, 3.0


def hotter(schedule: Schedule) -> Schedule:
    """The drum 8 °C hotter at charge."""
    return replace(schedule, charge_c=schedule.charge_c + 8)


def lighter(schedule: Schedule) -> Schedule:
    """A tenth less coffee."""
    return replace(schedule, green_kg=0.9 * schedule.green_kg)


def late(schedule: Schedule) -> Schedule:
    """The first cut of the radiant source 25 s later."""
    first = next(step for step in schedule.steps if step.control == "radiant" and step.at_s is not None)
    steps = tuple(replace(step, at_s=step.at_s + 25) if step is first else step for step in schedule.steps)
    return replace(schedule, steps=steps)


CHANGES: dict[str, Callable[[Schedule], Schedule]] = {
    "nothing": lambda schedule: schedule,
    "hotter": hotter,
    "lighter": lighter,
    "late": late,
}


@kept
def steady(seed: int, number: int, change: str = "nothing") -> Roast:
    """One batch of that operator, as it was read, with one change; the rest varies with ``number``."""
    rng = np.random.default_rng([8, seed, number])
    way, bean = roast_corpus._way(seed), roast_corpus.coffee(seed)
    steps = [
        step if step.at_s is None else replace(step, at_s=step.at_s + float(rng.normal(0.0, MOVE_SD_S)))
        for step in way.steps
    ]
    schedule = Schedule(
        green_kg=way.green_kg * float(np.exp(rng.normal(0.0, WEIGHT_SD))),
        charge_c=way.charge_c + float(rng.normal(0.0, CHARGE_SD_C)),
        start=way.start,
        steps=tuple(steps),
        development_s=way.development_s + float(rng.normal(0.0, DEVELOPMENT_SD_S)),
    )
    today = replace(
        bean,
        first_crack_c=bean.first_crack_c + float(rng.normal(0.0, roast_corpus.CRACK_SPREAD_C)),
        yellow_c=bean.yellow_c + float(rng.normal(0.0, roast_corpus.YELLOW_SPREAD_C)),
    )
    design, sensors = roast_corpus.machine(seed)
    run = roast(CHANGES[change](schedule), today, design=design, sensor_design=sensors)
    return as_read(known(run, schedule.charge_c, rng), rng, name=f"{seed}-{number}")


def as_read(true: Known, rng: np.random.Generator, name: str = "") -> Roast:
    """A simulated roast as a probe of σ 0.25 °C in steps of 0.1 °C reads it, with the live rate."""
    temp_c = read(true.probe_c, rng)
    return Roast(
        true.time_s,
        temp_c,
        rate_of_rise(true.time_s, temp_c, charge_s=0.0),
        true.moments_s,
        true.moves,
        true.green_g,
        name=name,
    )


def sloppy(seed: int, count: int) -> Sequence[Roast]:
    """Batches of `tests.roast_corpus` as they were read: the same coffee, by an operator who varies widely."""
    return [
        as_read(true, np.random.default_rng([9, seed, number]), name=f"{seed}-{number}")
        for number, true in enumerate(roast_corpus.batches(seed, count))
    ]
