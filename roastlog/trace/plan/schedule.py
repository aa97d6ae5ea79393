"""Times of a day: warm-up, charges and drops of each machine, and its end with a band.

A batch takes the length of its product, and the between-batch routine follows it. Lengths of one product share the
uncertainty of its mean, as losses do. The sum is taken as Student's with Welch and Satterthwaite's degrees of freedom.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, sqrt

from roastlog.quality.expectation import Expectation
from roastlog.trace.plan.day import BAND, MS_PER_MIN, Batch, Day, Done, Machine, Product


@dataclass(frozen=True)
class Time:
    """An expected instant, and the band that holds 80 of 100 of them. UTC [ms]"""

    at_ms: int
    low_ms: int
    high_ms: int


@dataclass(frozen=True)
class Slot:
    """A batch with the times of its charge and its drop."""

    batch: Batch
    charge: Time
    drop: Time


@dataclass(frozen=True)
class MachineDay:
    """The batches of one machine, in order. ``warm_up_ms`` is when the warm-up begins; None if it is warm, or idle."""

    machine: Machine
    warm_up_ms: int | None
    slots: Sequence[Slot]

    @property
    def end(self) -> Time | None:
        """The last drop; None if nothing is to be roasted."""
        return self.slots[-1].drop if self.slots else None


def first_charge_ms(machine: Machine, day: Day, products: Mapping[str, Product]) -> float:
    """When a machine can take its next charge. UTC [ms]"""
    done = _done(machine, day)
    now_ms = machine.opens_ms if day.now_ms is None else max(day.now_ms, machine.opens_ms)
    if not done:
        return now_ms + machine.warm_up_min * MS_PER_MIN
    last = done[-1]
    dropped_ms = last.dropped_ms
    if dropped_ms is None:  # it is in the drum
        dropped_ms = max(now_ms, last.charged_ms + round(1000 * products[last.product].length_s.mean))
    return max(now_ms, dropped_ms + machine.between_min * MS_PER_MIN)


def schedule(machine: Machine, batches: Sequence[Batch], day: Day) -> MachineDay:
    """Times of a machine's batches, in the given order."""
    products = day.by_product
    at_ms = first_charge_ms(machine, day, products)
    done = _done(machine, day)
    warm_up_ms = round(at_ms - machine.warm_up_min * MS_PER_MIN) if batches and not done else None
    spread = _Spread(machine)
    if done:
        spread.routine()
        if done[-1].dropped_ms is None:
            spread.roast(done[-1].product, products[done[-1].product].length_s)
    slots = []
    for number, batch in enumerate(batches):
        if number:
            at_ms += machine.between_min * MS_PER_MIN
            spread.routine()
        charge = spread.time(at_ms)
        length_s = products[batch.product].length_s
        at_ms += 1000 * length_s.mean
        spread.roast(batch.product, length_s)
        slots.append(Slot(batch, charge, spread.time(at_ms)))
    return MachineDay(machine, warm_up_ms, slots)


def day_end(days: Sequence[MachineDay]) -> Time | None:
    """The last drop of the day; None if nothing is to be roasted.

    The band is that of the latest of several machines, each a normal one of its own: later than that of any of them.
    """
    ends = [end for end in (each.end for each in days) if end is not None]
    if not ends:
        return None
    low_ms, high_ms = (_latest(ends, share) for share in ((1 - BAND) / 2, (1 + BAND) / 2))
    return Time(max(end.at_ms for end in ends), low_ms, high_ms)


def _latest(ends: Sequence[Time], share: float) -> int:
    """Instant that the latest of several ends is before, on this share of days."""
    normal = Expectation(0.0, 1.0, 0.0, inf, 0)
    unit = normal.at((1 + BAND) / 2)

    def on_time(at_ms: float) -> float:
        found = 1.0
        for end in ends:
            half_ms = end.high_ms - end.at_ms
            found *= normal.likelihood(unit * (at_ms - end.at_ms) / half_ms) if half_ms else float(at_ms >= end.at_ms)
        return found

    early = float(min(end.low_ms - 5 * (end.at_ms - end.low_ms) for end in ends)) - 1
    late = float(max(end.high_ms + 5 * (end.high_ms - end.at_ms) for end in ends)) + 1
    while late - early > 1:
        middle = (early + late) / 2
        early, late = (early, middle) if on_time(middle) >= share else (middle, late)
    return round(late)


def _done(machine: Machine, day: Day) -> list[Done]:
    return sorted((each for each in day.done if each.machine == machine.id), key=lambda each: each.charged_ms)


class _Spread:
    """Variance that has gathered since the first charge. [min²]"""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._routines = 0
        self._roasts: dict[str, tuple[Expectation, int]] = {}

    def routine(self) -> None:
        self._routines += 1

    def roast(self, product: str, length_s: Expectation) -> None:
        self._roasts[product] = (length_s, self._roasts.get(product, (length_s, 0))[1] + 1)

    def time(self, at_ms: float) -> Time:
        parts = [
            ((length_s.scale([1.0] * count) / 60) ** 2, length_s.degrees) for length_s, count in self._roasts.values()
        ]
        parts.append((self._routines * self._machine.between_spread_min**2, inf))
        variance = sum(part for part, _ in parts)
        inverse = sum(part**2 / degrees for part, degrees in parts) / variance**2 if variance else 0.0
        sum_of_all = Expectation(0.0, 1.0, 0.0, 1 / inverse if inverse else inf, 0)
        half_ms = sum_of_all.at((1 + BAND) / 2) * sqrt(variance) * MS_PER_MIN
        return Time(round(at_ms), round(at_ms - half_ms), round(at_ms + half_ms))
