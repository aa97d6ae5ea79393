"""A whole roast by a schedule: what the hand on the machine does, and what comes of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from roastlog.errors import PhysicsError
from roastlog.physics.design import CONTROLS, GreenCoffee, RoasterDesign
from roastlog.physics.roaster import Roaster
from roastlog.physics.sensors import CHANNELS, SensorDesign, Sensors

TRUTHS = ("bean_c", "surface_c", "moisture", "released", "drum_c", "air_c", "exhaust_c", "crack_activity")
MOMENTS = ("charge", "yellow", "first_crack", "second_crack", "drop")


@dataclass(frozen=True, slots=True)
class Step:
    """A move to make once: at a time, at a reading of the bean probe, or at a moment. Give one of the three.

    Parameters
    ----------
    control, setting
        What to set, and to what level 0 to 10.
    at_s
        Time from charge. [s]
    at_c
        Reading of the rising bean probe, after the turning point. [°C]
    at
        A moment: ``yellow`` or ``first_crack``.
    """

    control: str
    setting: float
    at_s: float | None = None
    at_c: float | None = None
    at: str | None = None

    def __post_init__(self) -> None:
        """Refuse a step that no one could follow."""
        if sum(given is not None for given in (self.at_s, self.at_c, self.at)) != 1:
            raise PhysicsError("A step of a schedule has a time, a temperature or a moment, and only one of them.")
        if self.at is not None and self.at not in MOMENTS:
            raise PhysicsError(f"A step can wait for {', '.join(MOMENTS)}, not for {self.at!r}.")


@dataclass(frozen=True, slots=True)
class Schedule:
    """How to roast a batch.

    Parameters
    ----------
    green_kg
        Mass of the charge. [kg]
    charge_c
        What the drum metal is warmed to before it. [°C]
    start
        Levels at charge by control.
    steps
        Moves to make on the way.
    development_s
        Drop this long after first crack. [s]
    drop_c
        Drop when the probe reads this, if that comes first. [°C]
    longest_s
        Drop at the latest after this time. [s]
    """

    green_kg: float = 4.0
    charge_c: float = 200.0
    start: dict[str, float] = field(default_factory=dict)
    steps: tuple[Step, ...] = ()
    development_s: float = 78.0
    drop_c: float = 245.0
    longest_s: float = 1500.0


@dataclass(frozen=True, slots=True)
class Made:
    """A move that was made: when, what, to what level."""

    time_s: float
    control: str
    setting: float


@dataclass(frozen=True, slots=True)
class RoastRun:
    """A roast from charge to drop, one row a second.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Time from charge. [s]
    channels : dict of ndarray
        Readings by channel. [°C]
    truth : dict of ndarray
        What the roaster truly was; the names are attributes of `Roaster`.
    stages : list of str
        Colour stage in each row.
    moves : list of Made
        All moves, the settings at charge first.
    moments : dict
        Time of each moment that came. [s]
    green_g, roasted_g : float
        Mass in and out. [g]
    """

    time_s: NDArray[np.float64]
    channels: dict[str, NDArray[np.float64]]
    truth: dict[str, NDArray[np.float64]]
    stages: list[str]
    moves: list[Made]
    moments: dict[str, float]
    green_g: float
    roasted_g: float

    @property
    def loss(self) -> float:
        """Share of the green mass that was lost."""
        return 1.0 - self.roasted_g / self.green_g


class Hand:
    """The hand on the machine: makes each step of a schedule when its time has come.

    Parameters
    ----------
    steps
        What to do.
    """

    def __init__(self, steps: Sequence[Step]) -> None:
        self._left = list(steps)

    def due(self, time_s: float, probe_c: float, moments: dict[str, float]) -> list[Step]:
        """Steps to make now, each given out once.

        Parameters
        ----------
        time_s
            Time from charge. [s]
        probe_c
            What the bean probe reads. [°C]
        moments
            The moments that have come.
        """
        rising = time_s > 90.0  # Before that a probe reads the heat of the empty drum.
        due = [
            step
            for step in self._left
            if (step.at_s is not None and time_s >= step.at_s)
            or (step.at_c is not None and rising and probe_c >= step.at_c)
            or (step.at is not None and step.at in moments)
        ]
        self._left = [step for step in self._left if step not in due]
        return due


def note_moments(roaster: Roaster, time_s: float, moments: dict[str, float]) -> None:
    """Add to ``moments`` those that the beans have come to since. [s]"""
    for moment in ("yellow", "first_crack", "second_crack"):
        if moment not in moments and getattr(roaster, moment):
            moments[moment] = time_s


def roast(
    schedule: Schedule,
    coffee: GreenCoffee | None = None,
    *,
    seed: int = 0,
    design: RoasterDesign | None = None,
    sensor_design: SensorDesign | None = None,
) -> RoastRun:
    """Roast one batch from charge to drop, in steps of 1 s.

    Parameters
    ----------
    schedule
        What the hand on the machine does.
    coffee
        What is roasted.
    seed
        Of the noise of the instruments. The same arguments give the same run.
    design, sensor_design
        The machine and its instruments.

    Raises
    ------
    PhysicsError
        For a charge, control or level that the machine does not take.
    """
    roaster = Roaster(design)
    for control, level in schedule.start.items():
        roaster.settings.put(control, level)
    roaster.warm_up(schedule.charge_c)
    sensors = Sensors(roaster, seed=seed, design=sensor_design)
    roaster.charge(schedule.green_kg, coffee)
    moves = [Made(0.0, control, roaster.settings.as_dict()[control]) for control in CONTROLS]
    moments = {"charge": 0.0}
    hand, stages = Hand(schedule.steps), [roaster.stage]
    readings, truths = [tuple(sensors.read().values())], [_truth(roaster)]
    time_s = 0.0
    while not _done(schedule, time_s, readings[-1][0], moments):
        for step in hand.due(time_s, readings[-1][0], moments):
            roaster.settings.put(step.control, step.setting)
            moves.append(Made(time_s, step.control, step.setting))
        roaster.step()
        sensors.step()
        time_s += 1.0
        note_moments(roaster, time_s, moments)
        readings.append(tuple(sensors.read().values()))
        truths.append(_truth(roaster))
        stages.append(roaster.stage)
    moments["drop"] = time_s
    read, true = np.array(readings), np.array(truths)
    return RoastRun(
        time_s=np.arange(len(readings), dtype=np.float64),
        channels={channel: read[:, index] for index, channel in enumerate(CHANNELS)},
        truth={name: true[:, index] for index, name in enumerate(TRUTHS)},
        stages=stages,
        moves=moves,
        moments=moments,
        green_g=schedule.green_kg * 1000.0,
        roasted_g=roaster.drop() * 1000.0,
    )


def _truth(roaster: Roaster) -> tuple[float, ...]:
    return tuple(getattr(roaster, name) for name in TRUTHS)


def _done(schedule: Schedule, time_s: float, probe_c: float, moments: dict[str, float]) -> bool:
    if time_s >= schedule.longest_s or (time_s > 90.0 and probe_c >= schedule.drop_c):
        return True
    return "first_crack" in moments and time_s - moments["first_crack"] >= schedule.development_s
