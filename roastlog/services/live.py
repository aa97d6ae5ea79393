"""Running machines: their present numbers, pushed readings, and the health of recording."""

from collections.abc import Mapping
from dataclasses import dataclass

from roastlog.clock import Clock
from roastlog.curve.phases import NEAR_S
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.trial import Trial, try_channel
from roastlog.journal.vocabulary import AT_MACHINE, COOLED_MS
from roastlog.languages import _
from roastlog.machine.model import Machine, bean_channel
from roastlog.recording.hub import Hub
from roastlog.recording.live_view import LiveView
from roastlog.recording.push import Pushed, take_push
from roastlog.recording.runtime import Runtime
from roastlog.store import batches as lists
from roastlog.store.store import Store

__all__ = ["Hub", "LiveService", "MachineNow", "Pushed", "ReadFault", "Reading", "Trial"]


@dataclass(frozen=True)
class MachineNow:
    """A machine on the page Today."""

    id: str
    name: str
    state: str
    batch_code: str | None
    batch_title: str | None
    time_s: float | None
    temp_c: float | None
    rate_c_per_min: float | None
    practice: bool = False


@dataclass(frozen=True)
class MachineHealth:
    """State of a machine's links, and the time of its last reading; None if never. [ms UTC]"""

    id: str
    state: str
    last_reading_at_ms: int | None


@dataclass(frozen=True)
class Health:
    """Whether the server can record, ``ok`` or ``failing`` with the reason, and the health of each machine."""

    status: str
    machines: tuple[MachineHealth, ...]
    reason: str | None = None


class LiveService:
    """Reads the state of running machines, and accepts readings that are pushed or typed."""

    def __init__(self, store: Store, clock: Clock, runtime: Runtime) -> None:
        self._store, self._clock, self._runtime = store, clock, runtime

    def now(self, machine_id: str) -> MachineNow:
        """The present numbers of one machine."""
        live = self._runtime.live(machine_id)
        now, batch = live.numbers(), live.batch
        bean = bean_channel(live.machine)
        rate = now.rates.get(bean)
        summary = None if batch is None or batch.code is None else lists.summary(self._store.read, batch.code)
        drop = None if batch is None else batch.moments.get("drop")
        cooled = drop is not None and self._clock.now_ms() - drop.at_ms > COOLED_MS
        busy = batch is not None and batch.state in AT_MACHINE and not cooled
        quiet_s = (self._clock.now_ms() - (now.at_ms or 0)) / 1000
        state = batch.state if batch is not None and busy else "idle"
        heard = quiet_s < NEAR_S * 2 * self._clock.rate
        return MachineNow(
            id=machine_id,
            name=live.machine.name,
            state=state if heard else _("no readings"),
            batch_code=summary.code if summary and busy else None,
            batch_title=summary.title if summary and busy else None,
            time_s=now.time_s if state == "roasting" else None,
            temp_c=now.values.get(bean) if heard else None,
            rate_c_per_min=rate.rate if heard and rate is not None else None,
            practice=live.machine.practice,
        )

    def view(self, machine_id: str) -> LiveView:
        """The live view of a machine: all that its page shows besides the numbers."""
        return self._runtime.view(machine_id)

    def hub(self, machine_id: str) -> Hub:
        """The hub that streams a machine's events."""
        return self._runtime.live(machine_id).hub

    def heard(self, machine_id: str) -> dict[str, Reading | ReadFault]:
        """Last reading or fault of each channel and control, before the offset, including pushed readings."""
        live, heard = self._runtime.live(machine_id), self._runtime.last_read(machine_id)
        now = live.numbers()
        for channel in live.machine.channels:
            if channel.id not in heard and channel.id in now.values:
                value = round(now.values[channel.id] - channel.offset_c, 4)
                heard[channel.id] = Reading(live.read_ms(channel.id), channel.id, value)
        return heard

    def try_part(self, machine: Machine, name: str) -> Trial:
        """Read one channel or control once, as ``machine`` describes it; see `roastlog.instruments.trial`.

        Where the recorder already reads it in the same way, its last result is returned: a serial port allows only
        one reader.
        """
        running = next((known for known in self._runtime.machines() if known.id == machine.id), None)
        if running is not None:
            part, known = machine.part(name), running.part(name)
            heard = self.heard(machine.id).get(name)
            if heard is not None and part is not None and known is not None and part.reads_like(known):
                return Trial.of(part, heard)
        return try_channel(machine, name, self._clock)

    def at_rest(self, machine_id: str, channel_id: str, *, for_s: float = 10.0) -> list[float]:
        """Readings of a channel in the last seconds, without its offset, to check its probe. [°C]"""
        live, now_ms = self._runtime.live(machine_id), self._clock.now_ms()
        offset_c = next((channel.offset_c for channel in live.machine.channels if channel.id == channel_id), 0.0)
        start_ms = max(now_ms - round(for_s * 1000 * self._clock.rate), live.since_ms)
        rows = live.rows_between(start_ms, now_ms)
        return [round(values[channel_id] - offset_c, 4) for _, values in rows if channel_id in values]

    def rows_since(self, machine_id: str, start_ms: int) -> list[tuple[int, Mapping[str, float]]]:
        """Readings of a machine from a time on, oldest first. [ms UTC]"""
        return self._runtime.live(machine_id).rows_between(start_ms, self._clock.now_ms())

    def accept_readings(self, machine_id: str, payload: object) -> Pushed:
        """Accept pushed readings; see `roastlog.recording.push.take_push`."""
        pushed = take_push(self._runtime.live(machine_id), payload, self._clock)
        if pushed.late:
            self._runtime.history.forget()
        return pushed

    def health(self) -> Health:
        """The health of recording and of each machine."""
        machines = []
        for machine in self._runtime.machines():
            live, links = self._runtime.live(machine.id), self._runtime.links(machine.id)
            states = [link.state for link in links]
            state = "lost" if "lost" in states else "starting" if "starting" in states else "ok"
            machines.append(MachineHealth(machine.id, state, live.last_reading_ms))
        trouble = self._store.trouble()
        if trouble is not None:
            reason = str(trouble).partition("\n")[0]  # folders and commands are not public
            return Health("failing", tuple(machines), reason)
        return Health("ok", tuple(machines))
