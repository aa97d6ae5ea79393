"""One machine's live readings: its newest numbers, its curve and its hub."""

import math
import threading
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from roastlog.clock import Clock
from roastlog.curve.phases import NEAR_S
from roastlog.errors import StoreError
from roastlog.instruments.base import Reading
from roastlog.journal.fold import LONGEST_ROAST_S, Batch
from roastlog.languages import _
from roastlog.machine.model import Machine
from roastlog.recording.hub import Hub, Row
from roastlog.recording.latest_values import LatestValues
from roastlog.recording.live_curve import LiveCurve, rounded
from roastlog.recording.turned_controls import TurnedControls
from roastlog.recording.unsaved_readings import UnsavedReadings
from roastlog.store import readings as stored
from roastlog.store.store import Store

SILENCE_MS: Final = 60_000


@dataclass(frozen=True)
class RateView:
    """A rate of rise and its error; None while it settles. [°C/min]"""

    rate: float | None
    error: float | None
    state: str


@dataclass(frozen=True)
class NumbersView:
    """The newest numbers of a machine, as the `reading` event carries them.

    Attributes
    ----------
    at_ms
        Time of the machine's last reading; None if never. [ms UTC]
    time_s
        The same from charge; None before it. [s]
    values
        Newest value by channel [°C], and by control that is read.
    heard_ms
        Time of the last reading by channel. [ms UTC]
    rates
        Rate of rise by bean channel.
    """

    at_ms: int | None
    time_s: float | None
    values: Mapping[str, float]
    heard_ms: Mapping[str, int]
    rates: Mapping[str, RateView]


class LiveMachine:
    """One machine's live readings. `take` adds them, from any thread; `follow` sets the batch that it roasts."""

    def __init__(self, machine: Machine, store: Store, clock: Clock) -> None:
        self.machine = machine
        self.hub = Hub()
        self.controls = TurnedControls()
        self.batch: Batch | None = None
        self.since_ms = clock.now_ms()  # earlier readings may have had the offsets of another sheet
        self._clock = clock
        self._lock = threading.RLock()
        self._closed = False
        self._store = store
        self._unsaved = UnsavedReadings(machine.id, store)
        self._unsaved_late = UnsavedReadings(machine.id, store, bulk=True)
        self._latest = LatestValues()
        self._curve = LiveCurve(machine, clock.now_ms())
        self._offsets_c = {channel.id: channel.offset_c for channel in machine.channels}
        self._by_hand = {channel.id for channel in machine.channels if channel.source == "hand"}

    @property
    def last_reading_ms(self) -> int | None:
        """Time of the machine's last reading; None if never. [ms UTC]"""
        return self._latest.last_ms

    @property
    def _last_row(self) -> int:
        """The second of the drop, where the curve ends; `LONGEST_ROAST_S` while there is none."""
        drop_s = None if self.batch is None else self.batch.moments_s.get("drop")
        return LONGEST_ROAST_S if drop_s is None else math.ceil(drop_s)

    def read_ms(self, channel: str) -> int:
        """Time of a channel's last reading; 0 if never. [ms UTC]"""
        with self._lock:
            return self._latest.read_ms.get(channel, 0)

    def take(self, readings: Iterable[Reading]) -> None:
        """Add readings, in the order of their times.

        Raises
        ------
        StoreError
            If the machine was closed, so that the sender knows that the readings were not kept.
        """
        rows: list[Row] = []
        with self._lock:
            self._start_anew_after_silence()
            now_ms = self._clock.now_ms()
            for reading in readings:
                if reading.channel not in self._offsets_c:
                    self.controls.put(reading.channel, reading.value, reading.at_ms)
                    continue
                value = self._value_to_keep(reading)
                self._unsaved.put(reading.at_ms, reading.channel, value)
                self._latest.put(reading.channel, value, reading.at_ms)
                self._curve.put(reading.at_ms, reading.channel, value)
                # A sender whose clock is ahead must not finish a row before the other channels' readings are in.
                rows += self._curve.finish(min(reading.at_ms, now_ms))
            rows = [row for row in rows if (row["t_s"] or 0) <= self._last_row]
            self.hub.reading(self._numbers(), rows)

    def take_late(self, readings: Iterable[Reading]) -> None:
        """Keep readings that came too late for their rows: only the record has them.

        They are on disk when this returns, so a sender of many waits for the disk; where the disk refuses them, `save`
        tries again. Readings by hand are added to the live curve all the same, since typing them takes seconds.

        Raises
        ------
        StoreError
            As in `take`.
        """
        typed = False
        with self._lock:
            for reading in readings:
                value = self._value_to_keep(reading)
                if not self._unsaved.put_beside(reading.at_ms, reading.channel, value):  # the later value must win
                    self._unsaved_late.put(reading.at_ms, reading.channel, value)
                if reading.channel in self._by_hand:
                    typed = True
                    self._latest.put(reading.channel, value, reading.at_ms)
            if typed:
                self._rebuild_curve()
        with suppress(StoreError):  # the store reports it
            self._unsaved_late.save()

    def reread(self) -> None:
        """Rebuild the curve from all readings since the charge, those on disk from elsewhere too."""
        with self._lock:
            self._rebuild_curve()

    def close(self) -> None:
        """Refuse further readings and disconnect all watchers; readings taken before must still be saved."""
        with self._lock:
            self._closed = True
        self.hub.close()

    def save(self) -> None:
        """Write the unsaved readings to disk; on StoreError they are kept for the next call."""
        self.save_fresh()
        self.save_late()

    def save_fresh(self) -> None:
        """As `save`, without the readings that came late, which may be many and let others go first."""
        self._unsaved.save()

    def save_late(self) -> None:
        """As `save`, the readings that came late alone."""
        self._unsaved_late.save()

    def rows_between(self, start_ms: int, end_ms: int) -> list[tuple[int, Mapping[str, float]]]:
        """Readings of a time span by time, including those not yet on disk. [ms UTC]"""
        held = [one.between(start_ms, end_ms) for one in (self._unsaved, self._unsaved_late)]
        # The disk is read afterwards: a reading saved in between is in both, and none is missed.
        merged = dict(stored.rows_between(self._store.read, self.machine.id, start_ms, end_ms))
        for rows in held:
            for at_ms, values in rows.items():
                merged[at_ms] = {**merged.get(at_ms, {}), **values}
        return sorted(merged.items())

    def follow(self, batch: Batch | None, now_ms: int) -> None:
        """Set the current batch. A charge that is new or was shifted rebuilds the curve from the readings. [ms UTC]"""
        charge = None if batch is None else batch.moments.get("charge")
        with self._lock:
            self.batch = batch
            if (None if charge is None else charge.at_ms) == self._curve.charged_ms:
                return
            self._curve.begin(now_ms if charge is None else charge.at_ms, charged=charge is not None)
            self._catch_up(now_ms)
            self.hub.forget_rows()

    def columns(self) -> dict[str, list[float | None]]:
        """The curve so far, a row a second from charge to drop: ``t_s``, the channels, the bean channels' rates."""
        with self._lock:
            return self._curve.columns(self._last_row)

    def value_at(self, channel: str, time_s: float) -> float | None:
        """A channel's value at a time; the newest one where that second has no row yet. [s from charge], [°C]"""
        with self._lock:
            if -NEAR_S <= time_s <= self._curve.rows - 1:
                return self._curve.value_at(channel, time_s)
            charged_ms = self._curve.charged_ms
            if charged_ms is None:
                return None
            newest_s = (self._latest.read_ms.get(channel, 0) - charged_ms) / 1000
            return self._latest.values.get(channel) if abs(newest_s - time_s) <= NEAR_S else None

    def numbers(self) -> NumbersView:
        """The newest values and rates."""
        with self._lock:
            return self._numbers()

    def _value_to_keep(self, reading: Reading) -> float:
        """The value of a reading with the channel's offset; raises StoreError if the machine was closed."""
        if self._closed:
            raise StoreError(
                _("{name} is not being recorded right now. Send its readings again.", name=self.machine.name)
            )
        return round(reading.value + self._offsets_c[reading.channel], 4)

    def _start_anew_after_silence(self) -> None:
        # Between batches the rows are not needed, and stepping through a night's silence would take long.
        now_ms, charged_ms = self._clock.now_ms(), self._curve.charged_ms
        if now_ms - (self._latest.last_ms or now_ms) <= SILENCE_MS:
            return
        if charged_ms is None:
            self._curve.begin(now_ms, charged=False)
        elif (now_ms - charged_ms) / 1000 > self._last_row + 1:
            self._curve.end(self._last_row, now_ms)

    def _rebuild_curve(self) -> None:
        """Rebuild the curve after a change in rows already sent, and tell watchers. The lock is held."""
        charged_ms = self._curve.charged_ms
        if charged_ms is not None:
            self._curve.begin(charged_ms, charged=True)
            self._catch_up(self._clock.now_ms())
            self.hub.forget_rows()
            self.hub.tell("curve", {})
        self.hub.reading(self._numbers(), [])

    def _catch_up(self, now_ms: int) -> None:
        """Make the rows of the readings since charge."""
        charged_ms = self._curve.charged_ms
        if charged_ms is not None:
            end_ms = min(now_ms, charged_ms + 1000 * LONGEST_ROAST_S)
            self._curve.catch_up(self.rows_between(charged_ms - 1000, end_ms))

    def _numbers(self) -> NumbersView:
        charged_ms, last_ms = self._curve.charged_ms, self._latest.last_ms
        values = {name: round(value, 2) for name, value in (self._latest.values | self.controls.settings).items()}
        return NumbersView(
            at_ms=last_ms,
            time_s=None if charged_ms is None or last_ms is None else round((last_ms - charged_ms) / 1000, 2),
            values=values,
            heard_ms=dict(self._latest.read_ms),
            rates={
                channel: RateView(rounded(rate.rate_c_per_min), rounded(rate.error_c_per_min), rate.state)
                for channel, rate in self._curve.rates.items()
            },
        )
