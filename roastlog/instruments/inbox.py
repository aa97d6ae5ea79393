"""Readings of a source that speaks by itself, kept from their arrival until they are asked for."""

import logging
import threading
from collections import deque
from collections.abc import Collection, Mapping
from typing import Final

from roastlog.clock import Clock
from roastlog.instruments.base import ReadFault, Reading
from roastlog.languages import _

MOST: Final = 5000  # of a channel; the recorder asks four times a second
PATIENCE_S: Final = 2.0  # a line that is garbled now and then is counted, and no fault of the channel
log = logging.getLogger(__name__)


class Inbox:
    """What came for some channels, told from any thread and taken by another.

    Parameters
    ----------
    name
        What the link is called, for the log.
    silent_s
        Ids of the channels, each with how long it may say nothing until that is a fault. [s]
    clock
        Stamps each reading at its arrival.
    """

    def __init__(self, name: str, silent_s: Mapping[str, float], clock: Clock) -> None:
        self._name, self._silent_s, self._clock = name, dict(silent_s), clock
        self._turn = threading.Lock()
        self.garbled = 0  # how much came that was no reading
        self.begin()

    def begin(self) -> None:
        """Forget what came over a connection that is gone."""
        with self._turn:
            self._begun_ms = self._clock.now_ms()
            self._waiting: dict[str, deque[Reading]] = {name: deque(maxlen=MOST) for name in self._silent_s}
            self._heard_ms: dict[str, int] = {}
            self._faults: dict[str, ReadFault] = {}

    def put(self, name: str, value: float, raw: str) -> None:
        """A reading came. No two of a channel have the same time: one of them would be lost."""
        with self._turn:
            at_ms = max(self._clock.now_ms(), self._heard_ms.get(name, 0) + 1)
            self._heard_ms[name] = at_ms
            self._faults.pop(name, None)
            self._waiting[name].append(Reading(at_ms, name, value, raw))

    def garble(self, name: str, reason: str, raw: str) -> None:
        """Something came that is no reading of this channel: counted, and a fault while no reading comes."""
        with self._turn:
            self.garbled += 1
            if self.garbled in {10**power for power in range(7)}:
                log.info("%s: so far %d that came were no readings; the last: %s", self._name, self.garbled, reason)
            self._hold(name, reason, raw)

    def fail(self, name: str, reason: str, raw: str = "") -> None:
        """Tell why a channel gives no readings; until one comes."""
        with self._turn:
            self._hold(name, reason, raw)

    def take(self, ids: Collection[str]) -> list[Reading | ReadFault]:
        """All that came for those since the last call, by time; then the fault of each that says nothing for long."""
        with self._turn:
            readings = [reading for name in ids for reading in self._waiting[name]]
            for name in ids:
                self._waiting[name].clear()
            readings.sort()
            heard = {reading.channel for reading in readings}
            faults = [fault for name in ids if name not in heard and (fault := self._fault(name)) is not None]
            return [*readings, *faults]

    def _hold(self, name: str, reason: str, raw: str) -> None:
        """Keep the first reason, which stays the same at each poll, with what came last."""
        known = self._faults.get(name)
        self._faults[name] = ReadFault(self._clock.now_ms(), name, reason if known is None else known.reason, raw)

    def _fault(self, name: str) -> ReadFault | None:
        now_ms = self._clock.now_ms()
        silent_s = (now_ms - self._heard_ms.get(name, self._begun_ms)) / 1000 / self._clock.rate
        known = self._faults.get(name)
        if known is not None and (name not in self._heard_ms or silent_s > PATIENCE_S):
            return known._replace(at_ms=now_ms)
        if silent_s > self._silent_s[name]:
            return ReadFault(
                now_ms,
                name,
                _("Nothing came for {name} for more than {silent_s:g} s.", name=name, silent_s=self._silent_s[name]),
            )
        return None
