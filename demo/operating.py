"""The demo's simulated operator: sets the controls, taps moments, and yields to real users.

It has no clock and no connection: `tick` takes the time and returns the entries to send, `hear` takes the entries of
others. So the same code roasts the demo's live batch and the week before it.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from roastlog.physics.design import CONTROLS, IDLE, GreenCoffee
from roastlog.physics.schedule import Schedule, ScheduledOperator

from .drum import Drum
from .scenario import MACHINE, Coffee

Json = dict[str, Any]
DEVICE: Final = "demo-operator"
TAPPED: Final = ("hot_air", "radiant", "drum_heat")  # controls without a register; that of the stirrer is read
HELLO_MS: Final = 6000
STALE_MS: Final = 180_000  # What was said longer ago than this changes nothing at the machine any more.
WEIGHED_AFTER_S: Final = 240.0
IDLE_AFTER_S: Final = 25.0
TOO_HOT_C: Final = 236.0
USUAL_G: Final = 4000.0


@dataclass(frozen=True, slots=True)
class Job:
    """One batch to roast.

    Parameters
    ----------
    coffee
        What, and how.
    person
        Who stands at the machine.
    green_g
        Charge. [g]
    facts
        More of the body of the `opened` entry.
    seed
        Of how late each tap is.
    weigh
        Whether it is weighed in the end.
    removed_g
        What is sorted out then. [g]
    hello, goodbye
        Notes for whoever looks on: as it begins, and as someone takes the batch over. Empty: none.
    """

    coffee: Coffee
    person: str
    green_g: float
    facts: Mapping[str, Any] = field(default_factory=dict)
    seed: int = 0
    weigh: bool = True
    removed_g: float = 0.0
    hello: str = ""
    goodbye: str = ""

    @property
    def opened(self) -> Json:
        """Body of the `opened` entry."""
        lot = self.coffee.lot
        body = {"lot": lot.code, "coffee": lot.coffee, "green_g": self.green_g, "intent": self.coffee.intent}
        plan = {"development_s": self.coffee.schedule.development_s}
        return {**body, "plan": plan, **self.facts}


@dataclass(frozen=True, slots=True)
class Turn:
    """A change of a control."""

    at_ms: int
    control: str
    setting: float


class Operator:
    """The simulated operator and its own batch.

    Parameters
    ----------
    drum
        The machine.
    job
        Its own batch.
    new_id
        Gives the id of the next entry.
    bean_of
        Gives the bean of a batch that someone else opened, by the body of its `opened` entry.
    device
        What its entries come from.
    """

    def __init__(
        self,
        drum: Drum,
        job: Job,
        *,
        new_id: Callable[[], str],
        bean_of: Callable[[Mapping[str, Any]], GreenCoffee] = lambda _: GreenCoffee(),
        device: str = DEVICE,
    ) -> None:
        self._drum, self._job, self._new_id, self._bean_of, self._device = drum, job, new_id, bean_of, device
        self._late = np.random.default_rng(job.seed)
        self._names: set[str] = set()  # of its own batch: the opening entry's id, and its code once known
        self._opened: dict[str, Json] = {}
        self._pending: list[tuple[int, Json]] = []
        self._seen: set[str] = set()
        self._touched: set[str] = set()
        self._hand: ScheduledOperator | None = None
        self._charged_ms: int | None = None  # of whatever is in the drum
        self._idle_ms: int | None = None
        self._drop_ms: int | None = None
        self._in_drum: str | None = None  # the batch in it; its own is "own"
        self.tapping = False
        self.turns: list[Turn] = []
        self.roasted_g: float | None = None

    @property
    def done(self) -> bool:
        """Whether it has nothing left to do."""
        return bool(self._names) and not self._pending and not self._drum.roaster.loaded and self._idle_ms is None

    # -- its own batch ----------------------------------------------------------------------------------------

    def prepare(self, at_ms: int) -> None:
        """Set the controls to their levels at charge."""
        with self._drum.lock:
            self._turn_all(at_ms, self._job.coffee.schedule.start)

    def begin(self, at_ms: int, *, charge_after_s: float = 1.0) -> list[Json]:
        """Open its batch; the charge follows. Returns the entries to send, none if the drum holds another batch."""
        if self._in_drum is not None:
            return []
        ident = self._new_id()
        self._names = {ident}
        self.tapping = True
        self._pending.append((at_ms + round(charge_after_s * 1000), self._entry("moment", {"moment": "charge"})))
        for control in TAPPED:
            level = {"control": control, "setting": self._drum.levels()[control]}
            self._pending.append((at_ms + 200, self._entry("move", level)))
        if self._job.hello:
            self._pending.append((at_ms + HELLO_MS, self._entry("note", {"text": self._job.hello})))
        opened = {**self._entry("opened", self._job.opened), "id": ident, "at_ms": at_ms}
        del opened["batch"]
        return [opened]

    def tick(self, at_ms: int) -> list[Json]:
        """Observe, set controls and tap. Call it about once a second; returns the entries to send."""
        with self._drum.lock:
            self._work_knobs(at_ms)
            if self.tapping:
                self._watch(at_ms)
            due = sorted((item for item in self._pending if item[0] <= at_ms), key=lambda item: item[0])
            self._pending = [item for item in self._pending if item[0] > at_ms]
            for due_ms, entry in due:
                entry["at_ms"] = due_ms
                if entry["body"].get("moment") == "charge":
                    self._charge(self._job.green_g, self._job.coffee.bean, due_ms, "own")
            return [entry for _, entry in due]

    def _watch(self, at_ms: int) -> None:
        """Tap each moment with a short reaction time."""
        roaster, coffee = self._drum.roaster, self._job.coffee
        if self._in_drum == "own":
            if self._first("stage", roaster.stage) and roaster.stage != "green":
                self._tap(at_ms, "trier", {"stage": roaster.stage}, 3.0, 9.0)
                words = coffee.smells.get(roaster.stage)
                if words:
                    self._tap(at_ms, "aroma", {"words": list(words)}, 10.0, 18.0)
            if roaster.yellow and self._first("yellow"):
                self._tap(at_ms, "moment", {"moment": "yellow"}, 1.0, 4.0)
            if roaster.first_crack and self._first("first_crack"):
                crack_ms = self._tap(at_ms, "moment", {"moment": "first_crack"}, 1.0, 3.5)
                self._drop_ms = crack_ms + round(coffee.schedule.development_s * 1000)
            if roaster.crack_activity > 0.8 and self._first("crack"):
                self._tap(at_ms, "crack", {"vigour": coffee.vigour}, 2.0, 6.0)
            if self._drop_ms is not None and at_ms >= self._drop_ms:
                self._drop_own(at_ms)

    def _drop_own(self, at_ms: int) -> None:
        self._tap(at_ms, "moment", {"moment": "drop"}, 0.0, 0.4)
        roasted_g = self._drop(at_ms)
        if self._job.weigh and roasted_g is not None:
            weighed = {"roasted_g": 5.0 * round(roasted_g / 5.0)}  # the scale shows steps of 5 g
            if self._job.removed_g:
                weighed["removed_g"] = self._job.removed_g
            self._tap(at_ms, "weighed", weighed, WEIGHED_AFTER_S, WEIGHED_AFTER_S + 60.0)

    def _first(self, *what: str) -> bool:
        key = " ".join(what)
        if key in self._seen:
            return False
        self._seen.add(key)
        return True

    def _tap(self, at_ms: int, kind: str, body: Json, soonest_s: float, latest_s: float) -> int:
        due_ms = at_ms + round(1000 * self._late.uniform(soonest_s, latest_s))
        self._pending.append((due_ms, self._entry(kind, body)))
        return due_ms

    def _entry(self, kind: str, body: Json) -> Json:
        by = {"person": self._job.person, "device": self._device}
        batch = min(self._names, key=len, default=None)  # the code, once it is known
        return {"id": self._new_id(), "machine": MACHINE, "batch": batch, "kind": kind, "by": by, "body": body}

    # -- the machine ------------------------------------------------------------------------------------------

    def _work_knobs(self, at_ms: int) -> None:
        """Follow the schedule with the controls that nobody else has set in this batch."""
        roaster = self._drum.roaster
        if self._idle_ms is not None and at_ms >= self._idle_ms:
            self._idle_ms = None
            self._turn_all(at_ms, IDLE)
        if self._hand is None or self._charged_ms is None:
            return
        if roaster.bean_c >= TOO_HOT_C:
            # No one dropped them. Beans that go on from here catch fire.
            self._hand = None
            self._turn_all(at_ms, {"hot_air": 0.0, "radiant": 0.0, "drum_heat": 0.0})
            return
        time_s = (at_ms - self._charged_ms) / 1000.0
        moments = {name: time_s for name in ("yellow", "first_crack") if getattr(roaster, name)}
        for step in self._hand.due(time_s, self._drum.probe_c(), moments):
            self._turn_all(at_ms, {step.control: step.setting})

    def _turn_all(self, at_ms: int, levels: Mapping[str, float]) -> None:
        for control, level in levels.items():
            if control not in self._touched and self._drum.turn(control, level):
                self.turns.append(Turn(at_ms, control, level))
                if control in TAPPED and self._in_drum is not None:
                    self._say_move(at_ms, control, level)

    def _say_move(self, at_ms: int, control: str, level: float) -> None:
        """Tap a move that no register tells, whoever the batch in the drum belongs to."""
        move = self._entry("move", {"control": control, "setting": level})
        if self._in_drum != "own":
            move["batch"] = self._in_drum
        self._pending.append((at_ms + 400, move))

    def _charge(self, green_g: float, bean: GreenCoffee, at_ms: int, batch: str) -> None:
        schedule: Schedule = self._job.coffee.schedule
        self._idle_ms = None
        self._drum.charge(green_g, bean)
        self._hand, self._charged_ms, self._in_drum = ScheduledOperator(schedule.steps), at_ms, batch
        self._turn_all(at_ms, schedule.start)

    def _drop(self, at_ms: int) -> float | None:
        mass_g = self._drum.empty()
        if self._in_drum == "own":
            self.roasted_g = mass_g
        self._hand, self._charged_ms, self._drop_ms, self._in_drum = None, None, None, None
        self._idle_ms = at_ms + round(IDLE_AFTER_S * 1000)
        return mass_g

    # -- the others -------------------------------------------------------------------------------------------

    def hear(self, entries: Iterable[Mapping[str, Any]], now_ms: int) -> list[Json]:
        """Process entries for this machine in order; returns the entries to send.

        Any entry about the operator's batch takes it over, and the operator stops tapping for it. Moves, charges and
        drops of others are applied to the machine.
        """
        with self._drum.lock:
            return [entry for heard in entries for entry in self._hear(heard, now_ms)]

    def _hear(self, entry: Mapping[str, Any], now_ms: int) -> list[Json]:
        batch, kind, body = str(entry.get("batch") or entry["id"]), entry["kind"], entry["body"]
        if str(entry["id"]) in self._names:
            self._names.add(batch)
        device = (entry.get("by") or {}).get("device")
        if device in {self._device, MACHINE}:  # its own taps, and moves that were read off the registers
            return []
        if batch in self._names and self._names:
            self._give_way(now_ms)
        if kind == "opened":
            self._opened[batch] = self._opened[str(entry["id"])] = dict(body)
        if now_ms - int(entry["at_ms"]) > STALE_MS:
            return []
        name = "own" if batch in self._names else batch
        if kind == "move" and body.get("control") in CONTROLS:
            self._touched.add(str(body["control"]))
            self._drum.turn(str(body["control"]), min(max(float(body["setting"]), 0.0), 10.0))
        elif kind == "moment" and body.get("moment") == "charge" and name != self._in_drum:
            return self._charge_for(name, batch, int(entry["at_ms"]))
        elif kind == "moment" and body.get("moment") == "drop" and name == self._in_drum:
            self._drop(now_ms)
            self._touched = set()
        return []

    def _give_way(self, now_ms: int) -> None:
        """Stop tapping. A pending charge still happens, so that the drum is not left empty."""
        says_so = bool(self._job.goodbye) and self.tapping and self._in_drum == "own"
        self.tapping = False
        self._pending = [
            item for item in self._pending if item[1]["kind"] == "move" or item[1]["body"].get("moment") == "charge"
        ]
        if says_so:
            self._pending.append((now_ms, self._entry("note", {"text": self._job.goodbye})))

    def _charge_for(self, name: str, batch: str, at_ms: int) -> list[Json]:
        """Apply someone else's charge; drops the current beans, and sends the drop if it was the operator's batch."""
        said: list[Json] = []
        if self.tapping and self._in_drum == "own":
            said = [{**self._entry("moment", {"moment": "drop"}), "at_ms": at_ms - 1000}]
        self._pending = [item for item in self._pending if item[1]["body"].get("moment") != "charge"]
        self.tapping = False
        self._drop(at_ms)
        facts = self._opened.get(batch) or (self._job.opened if name == "own" else {})
        self._charge(float(facts.get("green_g") or USUAL_G), self._bean_of(facts), at_ms, name)
        return said


def varied(coffee: Coffee, rng: np.random.Generator) -> Coffee:
    """The coffee with day-to-day variation of moisture and move times."""
    bean = replace(
        coffee.bean,
        moisture_wet=coffee.bean.moisture_wet + rng.normal(0.0, 0.002),
        first_crack_c=coffee.bean.first_crack_c + rng.normal(0.0, 0.7),
        drying_factor=coffee.bean.drying_factor * (1.0 + rng.normal(0.0, 0.02)),
    )
    steps = tuple(
        replace(step, at_s=step.at_s + rng.normal(0.0, 4.0)) if step.at_s is not None else step
        for step in coffee.schedule.steps
    )
    development_s = coffee.schedule.development_s + rng.normal(0.0, 3.0)
    return replace(coffee, bean=bean, schedule=replace(coffee.schedule, steps=steps, development_s=development_s))
