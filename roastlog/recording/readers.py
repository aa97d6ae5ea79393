"""Readers poll the instruments: one thread per link, each channel on its own schedule.

They run with no page open. A lost link is retried with growing pauses and delays no other; its loss is logged once,
and so is its return.
"""

import logging
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol, runtime_checkable

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import Instrument, ReadFault, Reading
from roastlog.instruments.build import build_instruments
from roastlog.journal.entries import Entry
from roastlog.languages import N_
from roastlog.recording.live_machine import LiveMachine
from roastlog.threads import Worker

FIRST_PAUSE_S: Final = 0.5
LONGEST_PAUSE_S: Final = 10.0
OWN_FAULT: Final = N_("Drumside failed while reading; see the server's log.")
log = logging.getLogger(__name__)


@runtime_checkable
class Follower(Protocol):
    """A simulated instrument, which has no controls of its own and follows the entries."""

    def follow(self, kind: str, body: Mapping[str, Any]) -> None:
        """Act as a person at the machine would have for such an entry."""


@dataclass(frozen=True)
class LinkState:
    """State of a link to an instrument: starting, ok or lost, the reason, and since when. [ms UTC]"""

    name: str
    state: str
    reason: str
    since_ms: int


class LinkReader(Worker):
    """One link of one machine, read until it is stopped."""

    def __init__(
        self,
        live: LiveMachine,
        instrument: Instrument,
        poll_s: Mapping[str, float],
        clock: Clock,
        *,
        changed: Callable[[], None],
    ) -> None:
        super().__init__(instrument.name)
        self._live, self._instrument, self._poll_s, self._clock = live, instrument, dict(poll_s), clock
        self._changed = changed
        self._faults: dict[str, str] = {}
        self._last: dict[str, Reading | ReadFault] = {}
        self.link = LinkState(instrument.name, "starting", "", clock.now_ms())

    @property
    def instrument(self) -> Instrument:
        """The instrument that is read."""
        return self._instrument

    def last_read(self) -> Mapping[str, Reading | ReadFault]:
        """Last result by channel and control: the reading as received, or the fault."""
        return self._last

    def _run(self) -> None:
        pause_s, logged = FIRST_PAUSE_S, ""
        while not self.stopping.is_set():
            try:
                self._instrument.open()
                self._read_on()
            except InstrumentError as error:
                reason = str(error)
            except Exception as error:
                if repr(error) != logged:
                    log.exception("%s: a fault of our own in reading", self.link.name)
                reason, logged = str(OWN_FAULT), repr(error)
            else:
                return
            finally:
                self._instrument.close()
            if self.link.state == "ok":
                pause_s = FIRST_PAUSE_S
            now_ms = self._clock.now_ms()
            self._last = {name: ReadFault(now_ms, name, reason) for name in self._poll_s}
            self._note("lost", reason)
            # Links that were lost together must not all reconnect at once.
            self.stopping.wait(pause_s * random.uniform(0.8, 1.2))  # noqa: S311 - no secret
            pause_s = min(pause_s * 2, LONGEST_PAUSE_S)

    def _read_on(self) -> None:
        due_ms = dict.fromkeys(self._poll_s, self._clock.now_ms())
        while not self.stopping.is_set():
            now_ms = self._clock.now_ms()
            ids = [ident for ident, at_ms in due_ms.items() if at_ms <= now_ms]
            if ids:
                self._hand_on(self._instrument.read(ids))
                for ident in ids:
                    step_ms = round(self._poll_s[ident] * 1000)
                    # Missed polls are skipped, not made up for.
                    due_ms[ident] += step_ms * max(1, -(-(self._clock.now_ms() - due_ms[ident]) // step_ms))
            self._clock.wait(self.stopping, (min(due_ms.values()) - self._clock.now_ms()) / 1000)

    def _hand_on(self, got: Sequence[Reading | ReadFault]) -> None:
        readings = [item for item in got if isinstance(item, Reading)]
        faults = {item.channel: item.reason for item in got if isinstance(item, ReadFault)}
        if readings:
            self._live.take(readings)
        self._last = self._last | {item.channel: item for item in got}
        for channel in {reading.channel for reading in readings} & set(self._faults):
            log.info("%s: %s is back", self.link.name, channel)
            del self._faults[channel]
        for channel, reason in faults.items():
            if channel not in self._faults:
                log.warning("%s: %s", self.link.name, reason)
        self._faults.update(faults)
        # A single poll does not decide: it may have asked for a bad channel alone, or the good ones had nothing new.
        lost = self._faults.keys() >= self._poll_s.keys()
        self._note("lost" if lost else "ok", " ".join(self._faults.values()))

    def _note(self, state: str, reason: str) -> None:
        if (state, reason) == (self.link.state, self.link.reason):
            return
        if state != self.link.state:
            log.log(logging.WARNING if state == "lost" else logging.INFO, "%s: %s %s", self.link.name, state, reason)
        self.link = LinkState(self.link.name, state, reason, self._clock.now_ms())
        self._changed()


class MachineReaders:
    """All links of one machine.

    Parameters
    ----------
    live
        The machine that takes their readings.
    clock
        The server's clock.
    changed
        Called whenever the state of a link has changed.
    """

    def __init__(self, live: LiveMachine, clock: Clock, *, changed: Callable[[], None]) -> None:
        self._live, self._clock, self._changed = live, clock, changed
        self._readers: list[LinkReader] = []

    def start(self) -> None:
        """Start reading each link, in a thread of its own."""
        for instrument, poll_s in build_instruments(self._live.machine, self._clock):
            reader = LinkReader(self._live, instrument, poll_s, self._clock, changed=self._changed)
            self._readers.append(reader)
            reader.start()

    def stop(self) -> None:
        """Stop reading and wait for the threads to end."""
        for reader in self._readers:
            reader.stop()

    @property
    def links(self) -> tuple[LinkState, ...]:
        """The state of each link."""
        return tuple(reader.link for reader in self._readers)

    def last_read(self) -> dict[str, Reading | ReadFault]:
        """Last result by channel and control, before the channel's offset."""
        return {name: item for reader in self._readers for name, item in reader.last_read().items()}

    def follow(self, entries: Sequence[Entry]) -> None:
        """Pass the entries to simulated instruments."""
        for reader in self._readers:
            if isinstance(reader.instrument, Follower):
                for entry in entries:
                    reader.instrument.follow(entry.kind, entry.body)
