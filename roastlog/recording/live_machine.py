"""What is known of one machine at this moment: its numbers, its batch, its curve so far."""

import math
import threading
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from roastlog.clock import Clock
from roastlog.curve.rate.rate_of_rise import LiveRate, RateEstimate
from roastlog.curve.series import SecondBins, SecondRow
from roastlog.errors import StoreError
from roastlog.instruments.base import Reading
from roastlog.journal.fold import LONGEST_ROAST_S, Batch
from roastlog.languages import _
from roastlog.machine.model import BEAN_ROLES, Machine
from roastlog.recording.hub import Hub
from roastlog.store import readings as stored
from roastlog.store.store import Store

NEAR_S: Final = 3.0
SILENCE_MS: Final = 60_000
KEPT_UNSAVED: Final = 200_000  # instants held in memory when the disk does not take them


class Turn(NamedTuple):
    """A control that was seen to change on the machine."""

    control: str
    setting: float
    at_ms: int


class LiveMachine:
    """One machine while it runs. Readings come in by `take`, from any thread; `follow` tells which batch it roasts."""

    def __init__(self, machine: Machine, store: Store, clock: Clock) -> None:
        self.machine = machine
        self.hub = Hub()
        self._store, self._clock = store, clock
        self._lock = threading.RLock()
        self._saving = threading.Lock()
        self._unsaved: dict[int, dict[str, float]] = {}
        self._in_hand: dict[int, dict[str, float]] = {}
        self._values: dict[str, float] = {}
        self._heard_ms: dict[str, int] = {}
        self._closed = False
        self._knobs: dict[str, float] = {}
        self._turns: list[Turn] = []
        self._channels = [channel.id for channel in machine.channels]
        self._offsets_c = {channel.id: channel.offset_c for channel in machine.channels}
        self._by_hand = {channel.id for channel in machine.channels if channel.source == "hand"}
        self._roles = {channel.id: channel.role for channel in machine.channels if channel.role in BEAN_ROLES}
        self._rates: dict[str, RateEstimate] = {}
        self._last_ms: int | None = None
        self.batch: Batch | None = None
        self.since_ms = clock.now_ms()  # what was read before had the offsets of another sheet
        self._origin_ms = clock.now_ms()
        self._charged_ms: int | None = None
        self._begin(self._origin_ms, None)

    @property
    def last_reading_ms(self) -> int | None:
        """When the machine was last heard. [ms UTC]"""
        return self._last_ms

    @property
    def _last_row(self) -> int:
        """The second of the drop, where the curve ends; far away while there is none."""
        drop_s = None if self.batch is None else self.batch.moments_s.get("drop")
        return LONGEST_ROAST_S if drop_s is None else math.ceil(drop_s)

    @property
    def knobs(self) -> dict[str, float]:
        """Settings as read off the machine's own registers."""
        with self._lock:
            return dict(self._knobs)

    def heard_ms(self, channel: str) -> int:
        """When a channel was last heard; 0 if never. [ms UTC]"""
        with self._lock:
            return self._heard_ms.get(channel, 0)

    def take(self, readings: Iterable[Reading]) -> None:
        """Take in readings in the order of their times.

        Raises
        ------
        StoreError
            If the machine is no longer at the desk: what is not kept must not look as if it were.
        """
        rows: list[dict[str, float | None]] = []
        with self._lock:
            self._start_anew_after_silence()
            now_s = (self._clock.now_ms() - self._origin_ms) / 1000
            for reading in readings:
                if reading.channel not in self._offsets_c:
                    self._note_knob(reading)
                    continue
                value = self._keep(reading)
                if reading.at_ms >= self._heard_ms.get(reading.channel, 0):
                    self._values[reading.channel], self._heard_ms[reading.channel] = value, reading.at_ms
                self._last_ms = max(reading.at_ms, self._last_ms or 0)
                time_s = (reading.at_ms - self._origin_ms) / 1000
                self._bins.put(time_s, reading.channel, value)
                # A sender whose clock is a little ahead must not end a second before the others have spoken.
                rows += [self._rated(row) for row in self._bins.upto(min(time_s, now_s))]
            if self._charged_ms is None:
                rows = []
            rows = [row for row in rows if (row["t_s"] or 0) <= self._last_row]
            self.hub.reading(self._now(), rows)

    def back_dated(self, readings: Iterable[Reading]) -> None:
        """Keep readings that came too late for their rows. The record has them.

        Those of a person count live all the same: whoever reads a thermometer needs seconds to type what it says.
        """
        typed = False
        with self._lock:
            for reading in readings:
                value = self._keep(reading)
                if reading.channel in self._by_hand:
                    typed = True
                    if reading.at_ms >= self._heard_ms.get(reading.channel, 0):
                        self._values[reading.channel], self._heard_ms[reading.channel] = value, reading.at_ms
                        self._last_ms = max(reading.at_ms, self._last_ms or 0)
            if typed:
                self._draw_anew()

    def close(self) -> None:
        """Take no more readings, and let all watchers go; what was taken is still to be saved."""
        with self._lock:
            self._closed = True
        self.hub.close()

    def turns(self) -> list[Turn]:
        """Changes of controls that were seen since the last call."""
        with self._lock:
            turns, self._turns = self._turns, []
            return turns

    def note_again(self, turns: Sequence[Turn]) -> None:
        """Give back changes of controls that could not be kept yet."""
        with self._lock:
            self._turns[:0] = turns

    def turn_anew(self, at_ms: int) -> None:
        """Count all controls as turned to where they stand."""
        with self._lock:
            self._turns += [Turn(control, setting, at_ms) for control, setting in self._knobs.items()]

    def save(self) -> None:
        """Put the readings of the last second on the disk; what the disk refuses is kept for the next time."""
        with self._saving:
            with self._lock:
                self._in_hand, self._unsaved = self._unsaved, {}
            if not self._in_hand:
                return
            rows = list(self._in_hand.items())
            saved = False
            try:
                self._store.write(lambda db: stored.add_rows(db, self.machine.id, rows))
                saved = True
            finally:
                with self._lock:
                    if not saved:
                        for at_ms, values in self._unsaved.items():
                            self._in_hand.setdefault(at_ms, {}).update(values)
                        self._unsaved = self._in_hand
                    self._in_hand = {}

    def rows_between(self, start_ms: int, end_ms: int) -> list[tuple[int, Mapping[str, float]]]:
        """Readings of a time span, those not yet on the disk included."""
        with self._lock:
            fresh: dict[int, dict[str, float]] = {}
            for part in (self._in_hand, self._unsaved):
                for at_ms, values in part.items():
                    if start_ms <= at_ms <= end_ms:
                        fresh.setdefault(at_ms, {}).update(values)
        # Read after it and without the lock: what was saved in between is in both, and nothing is in neither.
        rows = stored.rows_between(self._store.read, self.machine.id, start_ms, end_ms)
        merged: dict[int, Mapping[str, float]] = dict(rows)
        for at_ms, values in fresh.items():
            merged[at_ms] = {**merged.get(at_ms, {}), **values}
        return sorted(merged.items())

    def follow(self, batch: Batch | None, now_ms: int) -> None:
        """Roast this batch from now on. A charge that is new or was moved starts the curve anew from the readings."""
        charge = None if batch is None else batch.moments.get("charge")
        charged_ms = None if charge is None else charge.at_ms
        with self._lock:
            self.batch = batch
            if charged_ms == self._charged_ms:
                return
            self._begin(charged_ms if charged_ms is not None else now_ms, charged_ms)
            self._catch_up(now_ms)
            self.hub.forget_rows()

    def columns(self) -> dict[str, list[float | None]]:
        """The curve so far, a row a second from charge to drop: ``t_s``, the channels, a rate for each bean channel."""
        with self._lock:
            rows = self._rows[: self._last_row + 1]
        names = ["t_s", *self._channels, *(f"rate_{channel}" for channel in self._roles)]
        return {name: [row[name] for row in rows] for name in names}

    def value_at(self, channel: str, time_s: float) -> float | None:
        """A channel's value at a time from charge; the newest one where its second is not over. [s], [°C]"""
        with self._lock:
            second = round(time_s)
            if 0 <= second < len(self._rows):
                return self._rows[second][channel]
            newest_s = (self._heard_ms.get(channel, 0) - self._origin_ms) / 1000
            return self._values.get(channel) if self._charged_ms and abs(newest_s - time_s) <= NEAR_S else None

    def now(self) -> dict[str, Any]:
        """The newest values and rates, as the `reading` event carries them."""
        with self._lock:
            return self._now()

    def _keep(self, reading: Reading) -> float:
        """Put a reading with those to be saved; its value with the channel's offset. The lock is held."""
        if self._closed:
            raise StoreError(
                _("{name} is not being recorded just now. Send its readings again.", name=self.machine.name)
            )
        value = round(reading.value + self._offsets_c[reading.channel], 4)
        self._unsaved.setdefault(reading.at_ms, {})[reading.channel] = value
        if len(self._unsaved) > KEPT_UNSAVED:
            del self._unsaved[next(iter(self._unsaved))]
        return value

    def _start_anew_after_silence(self) -> None:
        # Between batches nothing hangs on the rows, and a night's silence is not worth stepping through.
        now_ms = self._clock.now_ms()
        if now_ms - (self._last_ms or now_ms) <= SILENCE_MS:
            return
        if self._charged_ms is None:
            self._begin(now_ms, None)
        elif (now_ms - self._charged_ms) / 1000 > self._last_row + 1:
            for row in self._bins.upto(self._last_row + 1):
                self._rated(row)
            self._begin_bins((now_ms - self._charged_ms) // 1000)

    def _begin(self, origin_ms: int, charged_ms: int | None) -> None:
        self._origin_ms, self._charged_ms = origin_ms, charged_ms
        self._rows: list[dict[str, float | None]] = []
        self._begin_bins(0)

    def _begin_bins(self, start_s: int) -> None:
        self._bins = SecondBins(self._channels, start_s=start_s, points=self._by_hand)
        self._live_rates = {channel: LiveRate(role) for channel, role in self._roles.items()}
        self._rates = {}
        if self._charged_ms is not None:
            for rate in self._live_rates.values():
                rate.charged(0.0)

    def _draw_anew(self) -> None:
        """Something came into the rows that were told. The lock is held."""
        if self._charged_ms is not None:
            self._begin(self._origin_ms, self._charged_ms)
            self._catch_up(self._clock.now_ms())
            self.hub.forget_rows()
            self.hub.tell("curve", {})
        self.hub.reading(self._now(), [])

    def _catch_up(self, now_ms: int) -> None:
        """Make the rows of what was read since charge."""
        charged_ms = self._charged_ms
        if charged_ms is None:
            return
        for at_ms, values in self.rows_between(charged_ms - 1000, min(now_ms, charged_ms + 1000 * LONGEST_ROAST_S)):
            for channel, value in values.items():
                if channel in self._offsets_c:
                    for row in self._bins.add((at_ms - self._origin_ms) / 1000, channel, value):
                        self._rated(row)

    def _rated(self, row: SecondRow) -> dict[str, float | None]:
        told: dict[str, float | None] = {"t_s": row.time_s}
        for channel, value in row.values.items():
            told[channel] = None if math.isnan(value) else round(value, 2)
        for channel, rate in self._live_rates.items():
            self._rates[channel] = estimate = rate.add(row.time_s, row.values[channel])
            known = estimate.rate_c_per_min
            told[f"rate_{channel}"] = None if math.isnan(known) else round(known, 2)
        if self._charged_ms is not None and row.time_s == len(self._rows) <= LONGEST_ROAST_S:
            self._rows.append(told)  # the row of second s stands at place s
        return told

    def _note_knob(self, reading: Reading) -> None:
        known = self._knobs.get(reading.channel)
        self._knobs[reading.channel] = reading.value
        if known != reading.value:  # the first time as well: it may have been turned while nobody read it
            self._turns.append(Turn(reading.channel, reading.value, reading.at_ms))

    def _now(self) -> dict[str, Any]:
        rates = {
            channel: {
                "rate": None if math.isnan(rate.rate_c_per_min) else round(rate.rate_c_per_min, 2),
                "error": None if math.isnan(rate.error_c_per_min) else round(rate.error_c_per_min, 2),
                "state": rate.state,
            }
            for channel, rate in self._rates.items()
        }
        time_s = None
        if self._charged_ms is not None and self._last_ms is not None:
            time_s = round((self._last_ms - self._charged_ms) / 1000, 2)
        values = {name: round(value, 2) for name, value in (self._values | self._knobs).items()}
        heard = dict(self._heard_ms)
        return {"at_ms": self._last_ms, "time_s": time_s, "values": values, "heard_ms": heard, "rates": rates}
