"""A steady hand: one coffee on one machine, batch after batch by one schedule, as alike as a good day's work is.

The corpus of `tests.roast_corpus` varies much from batch to batch, for an outlook to learn from; what a comparison has to
find is one thing that was changed while all else went as usual. How much is usual here are figures of ours.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from roastlog.curve.rate.rate_of_rise import rate_of_rise
from roastlog.curve.roast import Roast
from roastlog.physics.schedule import Schedule, roast
from tests import roast_corpus as roasts
from tests.roast_corpus import Known, known, read

CHARGE_SD_C, WEIGHT_SD, MOVE_SD_S, DEVELOPMENT_SD_S = 1.5, 0.003, 4.0, 3.0

Changed = Callable[[Schedule], Schedule]


@cache
def steady(seed: int, number: int, changed: Changed = lambda schedule: schedule) -> Roast:
    """One batch of that hand, as it was read, with one thing changed; the rest varies by ``number`` as it does."""
    rng = np.random.default_rng([8, seed, number])
    way, bean = roasts._way(seed), roasts.coffee(seed)
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
        first_crack_c=bean.first_crack_c + float(rng.normal(0.0, roasts.CRACK_SPREAD_C)),
        yellow_c=bean.yellow_c + float(rng.normal(0.0, roasts.YELLOW_SPREAD_C)),
    )
    design, sensors = roasts.machine(seed)
    run = roast(changed(schedule), today, design=design, sensor_design=sensors)
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
    """Batches of `tests.roasts` as they were read: the same coffee, by a hand that varies much."""
    return [
        as_read(true, np.random.default_rng([9, seed, number]), name=f"{seed}-{number}")
        for number, true in enumerate(roasts.batches(seed, count))
    ]
