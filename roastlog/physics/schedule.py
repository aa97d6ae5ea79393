"""Simulation of a whole roast by a schedule of moves."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from roastlog.errors import PhysicsError
from roastlog.physics.design import CONTROLS, GreenCoffee, RoasterDesign
from roastlog.physics.roaster import Roaster
from roastlog.physics.sensors import CHANNELS, SensorDesign, Sensors

TRUE_VALUES = ("bean_c", "surface_c", "moisture", "released", "drum_c", "air_c", "exhaust_c", "crack_activity")
_true_values: Callable[[Roaster], tuple[float, ...]] = attrgetter(*TRUE_VALUES)
MOMENTS = ("charge", "yellow", "first_crack", "second_crack", "drop")


@dataclass(frozen=True, slots=True)
class Step:
    """A move to make once, at a time, at a bean probe reading or at a moment: give exactly one of them.

    Parameters
    ----------
    control, setting
        The control and its new level, 0 to 10.
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
        """Reject a step without exactly one trigger."""
        if sum(given is not None for given in (self.at_s, self.at_c, self.at)) != 1:
            raise PhysicsError("A step needs exactly one of a time, a temperature and a moment.")
        if self.at is not None and self.at not in MOMENTS:
            raise PhysicsError(f"A step can wait for {', '.join(MOMENTS)}, not for {self.at!r}.")


@dataclass(frozen=True, slots=True)
class Schedule:
    """Schedule of a batch.

    Parameters
    ----------
    green_kg
        Mass of the charge. [kg]
    charge_c
        Temperature of the drum metal at charge. [°C]
    start
        Levels at charge by control.
    steps
        Moves during the roast.
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
    """A move that was made: time, control and level."""

    time_s: float
    control: str
    setting: float


@dataclass(frozen=True, slots=True)
class RoastRun:
    """A simulated roast from charge to drop, one row a second.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Time from charge. [s]
    channels : dict of ndarray
        Readings by channel. [°C]
    truth : dict of ndarray
        True state of the roaster, named after the attributes of `Roaster`.
    stages : list of str
        Colour stage in each row.
    moves : list of Made
        All moves, the settings at charge first.
    moments : dict
        Time of each moment that occurred. [s]
    green_g, roasted_g : float
        Green and roasted mass. [g]
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


class ScheduledOperator:
    """Executes the steps of a schedule when they are due.

    Parameters
    ----------
    steps
        Steps of the schedule.
    """

    def __init__(self, steps: Sequence[Step]) -> None:
        self._left = list(steps)

    def due(self, time_s: float, probe_c: float, moments: dict[str, float]) -> list[Step]:
        """Steps that are due now; each is returned once.

        Parameters
        ----------
        time_s
            Time from charge. [s]
        probe_c
            Bean probe reading. [°C]
        moments
            The moments that have occurred.
        """
        rising = time_s > 90.0  # before that the probe reads the empty drum
        due = [
            step
            for step in self._left
            if (step.at_s is not None and time_s >= step.at_s)
            or (step.at_c is not None and rising and probe_c >= step.at_c)
            or (step.at is not None and step.at in moments)
        ]
        self._left = [step for step in self._left if step not in due]
        return due


def record_reached_moments(roaster: Roaster, time_s: float, moments: dict[str, float]) -> None:
    """Add the moments that the beans have newly reached to ``moments``. [s]"""
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
        The schedule to follow.
    coffee
        The green coffee.
    seed
        Seed of the sensor noise. The same arguments give the same run.
    design, sensor_design
        The machine and its instruments.

    Raises
    ------
    PhysicsError
        For a charge, control or level that the machine rejects.
    """
    roaster = Roaster(design)
    for control, level in schedule.start.items():
        roaster.settings.put(control, level)
    roaster.warm_up(schedule.charge_c)
    sensors = Sensors(roaster, seed=seed, design=sensor_design)
    roaster.charge(schedule.green_kg, coffee)
    moves = [Made(0.0, control, roaster.settings.as_dict()[control]) for control in CONTROLS]
    moments = {"charge": 0.0}
    operator, stages = ScheduledOperator(schedule.steps), [roaster.stage]
    readings, true_values = [tuple(sensors.read().values())], [_true_values(roaster)]
    time_s = 0.0
    while not _done(schedule, time_s, readings[-1][0], moments):
        for step in operator.due(time_s, readings[-1][0], moments):
            roaster.settings.put(step.control, step.setting)
            moves.append(Made(time_s, step.control, step.setting))
        roaster.step()
        sensors.step()
        time_s += 1.0
        record_reached_moments(roaster, time_s, moments)
        readings.append(tuple(sensors.read().values()))
        true_values.append(_true_values(roaster))
        stages.append(roaster.stage)
    moments["drop"] = time_s
    read, true = np.array(readings), np.array(true_values)
    return RoastRun(
        time_s=np.arange(len(readings), dtype=np.float64),
        channels={channel: read[:, index] for index, channel in enumerate(CHANNELS)},
        truth={name: true[:, index] for index, name in enumerate(TRUE_VALUES)},
        stages=stages,
        moves=moves,
        moments=moments,
        green_g=schedule.green_kg * 1000.0,
        roasted_g=roaster.drop() * 1000.0,
    )


def _done(schedule: Schedule, time_s: float, probe_c: float, moments: dict[str, float]) -> bool:
    if time_s >= schedule.longest_s or (time_s > 90.0 and probe_c >= schedule.drop_c):
        return True
    return "first_crack" in moments and time_s - moments["first_crack"] >= schedule.development_s
