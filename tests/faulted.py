"""Simulated roasts with and without injected faults, labelled with the true faults of their noise-free curves.

Faults of the curve are injected at their causes: heat cut or raised by the operator, steam that cools the beans and
reactions that heat them around first crack. Faults of the probe are added to its readings. The labels follow from the
definitions in `docs/faults.md`, implemented here separately and simply, row by row on the true rate, so that the
detector is not scored on its own labels.
"""

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from math import ceil

import numpy as np
from numpy.typing import NDArray

from roastlog.curve.faults.detection import CurveFault, find_faults
from roastlog.curve.rate.rate_of_rise import rate_of_rise
from roastlog.physics.design import GreenCoffee, RoasterDesign
from roastlog.physics.roaster import Roaster
from roastlog.physics.schedule import RoastRun, Schedule, ScheduledOperator, Step, record_reached_moments
from roastlog.physics.sensors import SensorDesign, Sensors
from tests.kept import kept
from tests.roast_corpus import Known, _varied, _way, batches, coffee, known, machine, read

PUT_IN = ("crash", "rebound", "stall", "fast_crack", "probe")
CRASH, REBOUND, STALL, FAST = 4.5, 2.0, 1.0, 12.0  # the defaults of the thresholds [°C/min]
MEAN_S, STALL_S = 30, 40  # rates are averaged over this many rows of one second
LONGEST_S, SHORTEST_S = 90, 60  # length of the trend line
NEAR_S = 45.0  # a detected fault is true if it starts within a true one of its kind, or this close to it


@dataclass(frozen=True)
class Pulse:
    """Heat that the beans gain or lose in addition, from ``after_s`` after a moment on. [s], [kW/kg dry]"""

    moment: str
    after_s: float
    lasts_s: float
    kw_per_kg: float


@dataclass(frozen=True)
class Later:
    """A move this long after a moment. [s]"""

    moment: str
    after_s: float
    control: str
    setting: float


@dataclass(frozen=True)
class Wrong:
    """A true fault. [s from charge]"""

    kind: str
    start_s: float
    end_s: float


@dataclass(frozen=True, eq=False)
class Labelled:
    """A roast as it was read, with its true faults."""

    roast: Known
    read_c: NDArray[np.float64]
    put_in: str
    wrong: Sequence[Wrong]


class Troubled(Roaster):
    """A roaster whose beans cool by steam or heat themselves during first crack."""

    def __init__(self, design: RoasterDesign) -> None:
        super().__init__(design)
        self.extra_kw_per_kg = 0.0

    def _heat_beans(self, into_kw: float, dt_s: float) -> None:
        super()._heat_beans(into_kw + self.extra_kw_per_kg * self.dry_kg, dt_s)


@dataclass(frozen=True)
class Plan:
    """A schedule with its injected faults."""

    schedule: Schedule
    pulses: Sequence[Pulse] = field(default=())
    later: Sequence[Later] = field(default=())


def roasted(
    plan: Plan, bean: GreenCoffee, design: RoasterDesign, sensed: SensorDesign, rng: np.random.Generator
) -> Known:
    """One batch from charge to drop."""
    schedule, moments, made, probe, surface = plan.schedule, {"charge": 0.0}, 0.0, [], []
    roaster = Troubled(design)
    for control, level in schedule.start.items():
        roaster.settings.put(control, level)
    roaster.warm_up(schedule.charge_c)
    sensors = Sensors(roaster, design=sensed)
    roaster.charge(schedule.green_kg, bean)
    hand, later = ScheduledOperator(schedule.steps), list(plan.later)
    while True:
        shown = sensors.read()
        probe.append(shown["bean_probe"])
        surface.append(shown["bean_surface"])
        if made >= schedule.longest_s or made >= moments.get("first_crack", np.inf) + schedule.development_s:
            break
        for step in hand.due(made, probe[-1], moments):
            roaster.settings.put(step.control, step.setting)
        for move in [move for move in later if made >= moments.get(move.moment, np.inf) + move.after_s]:
            roaster.settings.put(move.control, move.setting)
            later.remove(move)
        roaster.extra_kw_per_kg = sum(
            pulse.kw_per_kg
            for pulse in plan.pulses
            if 0.0 <= made - moments.get(pulse.moment, np.inf) - pulse.after_s < pulse.lasts_s
        )
        roaster.step()
        sensors.step()
        made += 1.0
        record_reached_moments(roaster, made, moments)
    moments["drop"] = made
    channels = {"bean_probe": np.array(probe), "bean_surface": np.array(surface)}
    time_s = np.arange(len(probe), dtype=np.float64)
    return known(
        RoastRun(time_s, channels, {}, [], [], moments, 1000.0 * schedule.green_kg, 0.0), schedule.charge_c, rng
    )


# Injected faults


def crash(schedule: Schedule, rng: np.random.Generator) -> Plan:
    """Heat cut sharply at or shortly before first crack, and steam that cools."""
    share = float(rng.uniform(0.0, 0.6))
    cuts = [
        Step(control, share * level, at="first_crack")
        for control, level in schedule.start.items()
        if control in {"hot_air", "radiant"}
    ]
    steam = Pulse("first_crack", float(rng.uniform(0.0, 20.0)), float(rng.uniform(25.0, 50.0)), -rng.uniform(0.05, 0.3))
    steps = (*(step for step in schedule.steps if step.at is None), *cuts)
    return Plan(replace(schedule, steps=steps, development_s=max(80.0, schedule.development_s)), [steam])


def rebound(schedule: Schedule, rng: np.random.Generator) -> Plan:
    """Heat cut at first crack, then raised again while the beans heat themselves."""
    after_s = float(rng.uniform(20.0, 40.0))
    share = float(rng.uniform(0.8, 1.2))
    up = [
        Later("first_crack", after_s, control, min(10.0, share * schedule.start[control]))
        for control in ("hot_air", "radiant")
    ]
    warming = Pulse("first_crack", after_s, 70.0, float(rng.uniform(0.01, 0.08)))
    steam = Pulse("first_crack", 0.0, after_s, -float(rng.uniform(0.0, 0.12)))
    return Plan(replace(schedule, development_s=after_s + float(rng.uniform(50.0, 75.0))), [warming, steam], up)


def stall(schedule: Schedule, rng: np.random.Generator) -> Plan:
    """Much too little heat in browning, for a while."""
    after_s, lasts_s = float(rng.uniform(40.0, 150.0)), float(rng.uniform(100.0, 200.0))
    share = float(rng.uniform(0.1, 0.45))
    heat = {control: level for control, level in schedule.start.items() if control != "stir"}
    later = [Later("yellow", after_s, control, share * level) for control, level in heat.items()]
    later += [Later("yellow", after_s + lasts_s, control, level) for control, level in heat.items()]
    return Plan(replace(schedule, steps=(), longest_s=1200.0), later=later)


def fast_crack(schedule: Schedule, rng: np.random.Generator) -> Plan:
    """Too much heat from yellow on."""
    level = float(rng.uniform(4.5, 7.5))
    later = [Later("yellow", float(rng.uniform(0.0, 60.0)), control, level) for control in ("hot_air", "radiant")]
    later.append(Later("yellow", 30.0, "drum_heat", level))
    return Plan(replace(schedule, steps=()), later=later)


RECIPES = {"crash": crash, "rebound": rebound, "stall": stall, "fast_crack": fast_crack}


def probe_trouble(read_c: NDArray[np.float64], rng: np.random.Generator) -> tuple[NDArray[np.float64], Wrong]:
    """Readings with a probe that sticks, jumps, comes loose, breaks or goes silent, and the time of it."""
    out, sort = read_c.copy(), int(rng.integers(5))
    start = int(rng.integers(60, read_c.size - 150))
    end = start + int(rng.integers(60, 140))
    if sort == 0:
        out[start:end] = out[start]
    elif sort == 1:
        end = start + int(rng.integers(1, 12))
        out[start:end] += float(rng.choice([-60.0, -25.0, -10.0, 15.0, 400.0]))
    elif sort == 2:
        out[start:end] -= np.where(rng.random(end - start) < 0.3, rng.uniform(12.0, 60.0), 0.0)
        out[start] -= 20.0
    elif sort == 3:
        out[start:end] = float(rng.choice([-3276.8, 0.0, 850.0, 1372.0])) + (rng.normal(0.0, 0.2) - 0.7)
    else:
        out[start:end] = np.nan
    return out, Wrong("probe", float(start), float(end))


def harmless(read_c: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """Readings with gaps of some seconds, as in every network."""
    out = read_c.copy()
    for start in range(30, read_c.size - 120, 120):  # well apart, since two that meet are one long gap
        first = start + int(rng.integers(100))
        out[first : first + int(rng.integers(1, 6))] = np.nan
    return out


# True faults


def truly_wrong(roast: Known) -> list[Wrong]:
    """Faults of the noise-free curve by the definitions, with default thresholds."""
    said = [("crash", crashes, CRASH), ("stall", stalls, -STALL), ("rebound", rebounds, REBOUND)]
    wrong = [_span(kind, list(rows(roast)), least) for kind, rows, least in said]
    crack = _row_of(roast, "first_crack")
    if crack < roast.time_s.size and _mean(roast, crack, MEAN_S) >= FAST:
        wrong.append(Wrong("fast_crack", crack, crack))
    return [fault for fault in wrong if fault is not None]


def _span(kind: str, rows: list[tuple[float, float]], least: float) -> Wrong | None:
    over = [time_s for time_s, size in rows if size >= least]
    return Wrong(kind, over[0] - 30.0, over[-1]) if over else None


def _row_of(roast: Known, moment: str) -> int:
    """First row at or after a moment, in rows of one second; the row after the last if there is none."""
    return ceil(roast.moments_s.get(moment, roast.time_s.size))


def _mean(roast: Known, row: int, over_s: int) -> float:
    """True rate over the time up to a row: slope of the line through the noise-free curve."""
    x = np.arange(over_s + 1) - over_s / 2
    return 60.0 * float(x @ roast.probe_c[row - over_s : row + 1]) / float(x @ x)


def crashes(roast: Known) -> Iterator[tuple[float, float]]:
    """Distance of the rate below its own trend line that ended 30 s ago; from yellow on."""
    first = _row_of(roast, "yellow") + MEAN_S
    rates = {row: _mean(roast, row, MEAN_S) for row in range(first, roast.time_s.size)}
    for row in range(first + 30 + SHORTEST_S, roast.time_s.size):
        y = np.array([rates[before] for before in range(max(first, row - 30 - LONGEST_S), row - 29)])
        x = np.arange(y.size) - (y.size - 1) / 2
        slope = min(0.0, (x * y).sum() / (x * x).sum())
        yield row, y.mean() + slope * (x[-1] + 30) - rates[row]


def stalls(roast: Known) -> Iterator[tuple[float, float]]:
    """The negated mean rate; from yellow on."""
    for row in range(_row_of(roast, "yellow") + STALL_S, roast.time_s.size):
        yield row, -_mean(roast, row, STALL_S)


def rebounds(roast: Known) -> Iterator[tuple[float, float]]:
    """Rise of the mean rate above its minimum since first crack."""
    low = np.inf
    for row in range(_row_of(roast, "first_crack") + MEAN_S, roast.time_s.size):
        rate = _mean(roast, row, MEAN_S)
        low = min(low, rate)
        yield row, rate - low


# The roasts


def plain(seed: int, count: int) -> list[Labelled]:
    """Batches of one coffee by one operator without injected faults; every second one has network gaps."""
    made = []
    for number, roast in enumerate(batches(seed, count)):
        rng = np.random.default_rng([5, seed, number])
        read_c = read(roast.probe_c, rng)
        made.append(Labelled(roast, harmless(read_c, rng) if number % 2 else read_c, "", truly_wrong(roast)))
    return made


def faulted(seed: int, kind: str) -> Labelled:
    """A batch of that coffee with one kind of injected fault."""
    rng = np.random.default_rng([6, seed, PUT_IN.index(kind)])
    if kind == "probe":
        roast = batches(seed, 1)[0]
        read_c, wrong = probe_trouble(read(roast.probe_c, rng), rng)
        return Labelled(roast, read_c, kind, [*truly_wrong(roast), wrong])
    design, sensors = machine(seed)
    roast = roasted(RECIPES[kind](_varied(_way(seed), rng), rng), coffee(seed), design, sensors, rng)
    return Labelled(roast, read(roast.probe_c, rng), kind, truly_wrong(roast))


@kept
def corpus(first_seed: int, coffees: int) -> list[Labelled]:
    """Ten roasts of each coffee: five without an injected fault, and one with each kind of fault."""
    made: list[Labelled] = []
    for seed in range(first_seed, first_seed + 2 * coffees):
        try:
            batches(seed, 1)
        except AssertionError:  # a machine that cannot roast this coffee
            continue
        made += plain(seed, 5) + [faulted(seed, kind) for kind in PUT_IN]
        if len(made) == 10 * coffees:
            return made
    raise AssertionError(f"There are not {coffees} coffees from seed {first_seed} on.")


# The score


@dataclass(frozen=True)
class Score:
    """Numbers of true faults found and missed, and of false ones."""

    found: int
    missed: int
    false: int

    @property
    def precision(self) -> float:
        """Share of found faults that are true."""
        return self.found / (self.found + self.false)

    @property
    def recall(self) -> float:
        """Share of true faults that were found."""
        return self.found / (self.found + self.missed)


def score(kind: str, roasts: Sequence[Labelled], answers: Sequence[Sequence[CurveFault]]) -> Score:
    """Score of one kind over all roasts; a found fault is matched with a true one at the same time."""
    found = missed = false = 0
    for labelled, faults in zip(roasts, answers, strict=True):
        wrong = [true for true in labelled.wrong if true.kind == kind]
        said = [fault for fault in faults if fault.kind == kind]
        hits = sum(any(_meets(fault, true) for fault in said) for true in wrong)
        found, missed = found + hits, missed + len(wrong) - hits
        false += sum(not any(_meets(fault, true) for true in wrong) for fault in said)
    return Score(found, missed, false)


def _meets(fault: CurveFault, true: Wrong) -> bool:
    return true.start_s - NEAR_S <= fault.start_s <= true.end_s + NEAR_S


def false_on_clean(roasts: Sequence[Labelled], answers: Sequence[Sequence[CurveFault]]) -> tuple[int, int]:
    """Number of roasts without a true fault that got any heads-up, and number of all such roasts."""
    clean = [bool(faults) for labelled, faults in zip(roasts, answers, strict=True) if not labelled.wrong]
    return sum(clean), len(clean)


def asked(labelled: Labelled) -> list[CurveFault]:
    """Faults that the app finds by its own live rate of the readings."""
    roast, read_c = labelled.roast, labelled.read_c
    return find_faults(roast.time_s, read_c, rate_of_rise(roast.time_s, read_c), roast.moments_s)


def main(first_seed: int, coffees: int) -> None:
    """Print the counts: `python -m tests.faulted 90000 25` gives those of `docs/faults.md`."""
    roasts = corpus(first_seed, coffees)
    answers = [asked(labelled) for labelled in roasts]
    print(f"{len(roasts)} roasts")
    for kind in PUT_IN:
        got = score(kind, roasts, answers)
        print(f"{kind:<11} {got}  precision {got.precision:.3f}  recall {got.recall:.3f}")
    print("clean roasts with a heads-up: {} of {}".format(*false_on_clean(roasts, answers)))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
