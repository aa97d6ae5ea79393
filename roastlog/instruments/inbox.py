"""Thread-safe buffer for readings of a pushing source."""

import logging
import threading
from collections import deque
from collections.abc import Collection, Mapping
from typing import Final

from roastlog.clock import Clock
from roastlog.instruments.base import ReadFault, Reading
from roastlog.languages import _

MAX_READINGS: Final = 5000  # per channel; the recorder drains them four times a second
MOST_LATE_MS: Final = 100
FAULT_DELAY_S: Final = 2.0  # occasional invalid data is counted, but is no fault of the channel
log = logging.getLogger(__name__)


class Inbox:
    """Buffers readings and faults of some channels between threads.

    Parameters
    ----------
    name
        Name of the link, for the log.
    silent_s
        Timeout without readings by channel id; a longer silence is a fault. [s]
    clock
        Timestamps each reading on arrival.
    """

    def __init__(self, name: str, silent_s: Mapping[str, float], clock: Clock) -> None:
        self._name, self._silent_s, self._clock = name, dict(silent_s), clock
        self._lock = threading.Lock()
        self.rejected = 0  # number of invalid messages or lines
        self.reset()

    def reset(self) -> None:
        """Discard everything from a lost connection."""
        with self._lock:
            self._reset_ms = self._clock.now_ms()
            self._waiting: dict[str, deque[Reading]] = {name: deque(maxlen=MAX_READINGS) for name in self._silent_s}
            self._last_ms: dict[str, int] = {}
            self._drained_ms: dict[str, int] = {}
            self._faults: dict[str, ReadFault] = {}

    def put(self, name: str, value: float, raw: str) -> None:
        """Add a reading with the time at which it came."""
        with self._lock:
            self._last_ms[name] = self._clock.now_ms()
            self._faults.pop(name, None)
            self._waiting[name].append(Reading(self._last_ms[name], name, value, raw))

    def reject(self, name: str, reason: str, raw: str) -> None:
        """Count invalid data of a channel, and report it as a fault until a valid reading arrives."""
        with self._lock:
            self.rejected += 1
            if self.rejected in {10**power for power in range(7)}:
                log.info("%s: so far %d that came were no readings; the last: %s", self._name, self.rejected, reason)
            self._keep_fault(name, reason, raw)

    def fail(self, name: str, reason: str, raw: str = "") -> None:
        """Set a channel's fault until a reading arrives."""
        with self._lock:
            self._keep_fault(name, reason, raw)

    def take(self, ids: Collection[str]) -> list[Reading | ReadFault]:
        """Drain the readings of those channels in time order, followed by the faults of silent channels."""
        with self._lock:
            readings = sorted(reading for name in ids for reading in self._drain(name))
            with_reading = {reading.channel for reading in readings}
            faults = [fault for name in ids if name not in with_reading and (fault := self._fault(name)) is not None]
            return [*readings, *faults]

    def _drain(self, name: str) -> list[Reading]:
        """Take the waiting readings of a channel, in their order and each at a millisecond of its own.

        One for which no millisecond is left yet waits for the next poll, since no reading may lie ahead of the clock;
        one that would come to lie more than `MOST_LATE_MS` after its arrival is dropped.
        """
        taken: list[Reading] = []
        waiting, now_ms, last_ms = self._waiting[name], self._clock.now_ms(), self._drained_ms.get(name, 0)
        if last_ms > now_ms:
            last_ms = 0  # the clock was set back
        while waiting:
            came_ms = min(waiting[0].at_ms, now_ms)
            at_ms = max(came_ms, last_ms + 1)
            if at_ms > now_ms:
                break
            reading = waiting.popleft()
            if at_ms - came_ms <= MOST_LATE_MS:
                taken.append(reading._replace(at_ms=at_ms))
                last_ms = at_ms
        self._drained_ms[name] = last_ms
        return taken

    def _keep_fault(self, name: str, reason: str, raw: str) -> None:
        """Keep the first reason, so that it stays stable between polls, with the newest raw data."""
        known = self._faults.get(name)
        self._faults[name] = ReadFault(self._clock.now_ms(), name, reason if known is None else known.reason, raw)

    def _fault(self, name: str) -> ReadFault | None:
        now_ms = self._clock.now_ms()
        silent_s = (now_ms - self._last_ms.get(name, self._reset_ms)) / 1000 / self._clock.rate
        known = self._faults.get(name)
        if known is not None and (name not in self._last_ms or silent_s > FAULT_DELAY_S):
            return known._replace(at_ms=now_ms)
        if silent_s > self._silent_s[name]:
            return ReadFault(
                now_ms,
                name,
                _("No message for {name} for more than {silent_s:g} s.", name=name, silent_s=self._silent_s[name]),
            )
        return None
