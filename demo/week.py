"""The week before: batches of Quillwater Roasters, each roasted by the physics and tapped by the demo's operator."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID, uuid5

import numpy as np
from numpy.typing import NDArray

from roastlog.physics.sensors import CHANNELS

from .drum import Drum
from .operating import TAPPED, Job, Json, Operator, varied
from .scenario import ALDER, HEATHER, INES, LOW_TIDE, MACHINE, NIGHT_FERRY, ROOK, TOMAS, WREN, Coffee

NAMESPACE: Final = UUID("6d1f0c52-2f5e-5f0b-9a53-0f6b7a1c9e44")
BEFORE_S, AFTER_S = 40, 90  # readings around the roast, so that a moved charge still has its curve
DAY_START: Final = timedelta(hours=7, minutes=40)
APART: Final = timedelta(minutes=21)
SUNDAY = 6

# Three batches on each of six days, then two on the day of the demo.
DAYS: Final = (
    (ALDER, NIGHT_FERRY, HEATHER),
    (NIGHT_FERRY, ROOK, LOW_TIDE),
    (ALDER, ROOK, NIGHT_FERRY),
    (HEATHER, LOW_TIDE, ALDER),
    (NIGHT_FERRY, ALDER, ROOK),
    (LOW_TIDE, ALDER, NIGHT_FERRY),
)
TODAY: Final = ((ROOK, timedelta(minutes=76)), (ALDER, timedelta(minutes=34)))
NOTES: Final = {
    2: "Chaff tray emptied before this one.",
    5: "Smelt done ten seconds before the plan said so.",
    8: "Probe wiped with a dry brush while the drum was cold.",
    12: "New bag of this lot opened.",
    16: "Room was cold this morning; the first minute ran slow.",
}
LATE_ONE: Final = 9  # the bell rang: dropped late, and held for a taste
SHIFTED_ONE: Final = 6  # first crack was tapped late and moved


@dataclass(frozen=True, slots=True)
class PastBatch:
    """A batch of the week.

    Attributes
    ----------
    entries : list of dict
        Its journal entries in the order of their times, the opening one first.
    at_ms : ndarray of int64, shape (n,)
        Time of each row of readings, one a second. [ms UTC]
    channels : dict of ndarray, each of shape (n,)
        Readings by channel. [°C]
    green_g, roasted_g : float
        Mass in, and the true mass out. [g]
    """

    entries: list[Json]
    at_ms: NDArray[np.int64]
    channels: dict[str, NDArray[np.float64]]
    green_g: float
    roasted_g: float


def week(now_ms: int, *, seed: int = 2026) -> Iterator[PastBatch]:
    """Batches of the week before ``now_ms``, oldest first; the last one is not weighed yet.

    Deterministic: the same moment, time zone and seed give the same week, ids included.
    """
    for number, (opened_ms, coffee) in enumerate(_plan(now_ms)):
        yield _roast(number, opened_ms, coffee, np.random.default_rng([seed, number]))


def batch_count(now_ms: int) -> int:
    """Number of batches of `week`, for a progress bar."""
    return len(_plan(now_ms))


def _plan(now_ms: int) -> list[tuple[int, Coffee]]:
    now = datetime.fromtimestamp(now_ms / 1000).astimezone()
    midnight = now.replace(hour=0, minute=0, second=0, microsecond=0)
    days = [midnight - timedelta(days=back) for back in range(7, 0, -1)]
    planned = [
        (day + DAY_START + index * APART, coffee)
        for day, coffees in zip((day for day in days if day.weekday() != SUNDAY), DAYS, strict=False)
        for index, coffee in enumerate(coffees)
    ]
    planned += [(now - ago, coffee) for coffee, ago in TODAY]
    return [(int(when.timestamp()) * 1000, coffee) for when, coffee in planned]


def _roast(number: int, opened_ms: int, coffee: Coffee, rng: np.random.Generator) -> PastBatch:
    last = number == sum(map(len, DAYS)) + len(TODAY) - 1
    today = varied(coffee, rng)
    if number == LATE_ONE:
        late_s = today.schedule.development_s + 50.0
        today = replace(today, schedule=replace(today.schedule, development_s=late_s))
    opened_ms += int(rng.uniform(0, 240)) * 1000
    job = Job(
        today,
        (TOMAS, WREN, INES)[number % 3],
        coffee.green_g,
        facts={"plan": {"development_s": coffee.schedule.development_s}},
        seed=number,
        weigh=not last,
        removed_g=float(round(rng.uniform(4, 22))) if "natural" in coffee.lot.process else 0.0,
    )
    entries, at_ms, rows, roasted_g = _at_the_machine(job, number, opened_ms, charge_after_s=rng.uniform(25.0, 60.0))
    entries += _afterwards(number, job, entries, rng)
    entries.sort(key=lambda entry: entry["at_ms"])
    columns = np.array(rows)
    channels = {channel: columns[:, index] for index, channel in enumerate(CHANNELS)}
    return PastBatch(entries, np.array(at_ms, dtype=np.int64), channels, job.green_g, roasted_g)


def _at_the_machine(
    job: Job, number: int, opened_ms: int, *, charge_after_s: float
) -> tuple[list[Json], list[int], list[tuple[float, ...]], float]:
    """Roast the job second by second; returns entries, times and rows of readings, and the true roasted mass."""
    drum = Drum(seed=number)
    new_id = _ids(number, opened_ms)
    operator = Operator(drum, job, new_id=new_id, device="phone at the drum")
    now_ms = opened_ms - BEFORE_S * 1000
    operator.prepare(now_ms)
    operator.turns.clear()
    entries: list[Json] = []
    at_ms: list[int] = []
    rows: list[tuple[float, ...]] = []
    left_s = AFTER_S
    while left_s or not operator.done:
        if now_ms == opened_ms:
            entries += operator.begin(now_ms, charge_after_s=charge_after_s)
            read = {control: level for control, level in drum.levels().items() if control not in TAPPED}
            entries += [_move(new_id(), entries[0], now_ms, *knob) for knob in read.items()]
        entries += operator.tick(now_ms)
        if operator.roasted_g is None or left_s:
            at_ms.append(now_ms)
            rows.append(tuple(drum.readings().values()))
            left_s -= operator.roasted_g is not None
        drum.advance(1.0)
        now_ms += 1000
    dropped_ms = _drop_ms(entries)
    entries = [entry for entry in entries if entry["kind"] != "move" or entry["at_ms"] < dropped_ms]
    turned = [turn for turn in operator.turns if turn.at_ms < dropped_ms and turn.control not in TAPPED]
    entries += [_move(new_id(), entries[0], turn.at_ms, turn.control, turn.setting) for turn in turned]
    return entries, at_ms, rows, operator.roasted_g or 0.0


def _afterwards(number: int, job: Job, entries: list[Json], rng: np.random.Generator) -> list[Json]:
    """What is said once the beans are cool: a colour, a note, a decision; nothing of a batch not yet weighed."""
    new_id = _ids(number, -1)
    dropped_ms = _drop_ms(entries)

    def later(minutes: float, kind: str, body: dict[str, Any], person: str = job.person) -> Json:
        by = {"person": person, "device": "bench tablet"}
        about = {"id": new_id(), "machine": MACHINE, "batch": entries[0]["id"], "kind": kind}
        return {**about, "at_ms": dropped_ms + round(minutes * 60_000), "by": by, "body": body}

    said = [later(1.5, "note", {"text": NOTES[number]})] if number in NOTES else []
    if number == SHIFTED_ONE:
        crack = next(entry for entry in entries if entry["body"].get("moment") == "first_crack")
        said.append(later(-0.4, "shift", {"entry": crack["id"], "by_s": -5.0}))
    if not job.weigh:
        return said
    late = number == LATE_ONE
    value = round(job.coffee.ground_colour - (7.0 if late else 0.0) + rng.normal(0.0, 0.8), 1)
    said.append(later(11.0, "colour", {"value": value, "scale": "house meter, higher is lighter", "sample": "ground"}))
    if late:
        said.append(later(2.0, "note", {"text": "Door bell at first crack: dropped fifty seconds late."}))
        reason = "Darker than this coffee should be. Cup it before anyone gets it."
        return [*said, later(16.0, "released", {"decision": "hold", "reason": reason}, INES)]
    return [*said, later(rng.uniform(14.0, 20.0), "released", {"decision": "release"}, INES)]


def _drop_ms(entries: list[Json]) -> int:
    return int(next(entry["at_ms"] for entry in entries if entry["body"].get("moment") == "drop"))


def _move(ident: str, opened: Json, at_ms: int, control: str, setting: float) -> Json:
    """A move as Drumside reads it off the machine."""
    body = {"control": control, "setting": setting}
    by = {"person": None, "device": MACHINE}
    about = {"id": ident, "machine": MACHINE, "batch": opened["id"], "kind": "move", "at_ms": at_ms}
    return {**about, "by": by, "body": body}


def _ids(number: int, salt: int) -> Callable[[], str]:
    count = iter(range(1_000_000))
    return lambda: str(uuid5(NAMESPACE, f"{number} {salt} {next(count)}"))
