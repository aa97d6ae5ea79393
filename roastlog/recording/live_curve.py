"""The live curve of one machine: a row a second from charge, with the rate of each bean channel."""

import math
from collections.abc import Iterable, Mapping

import numpy as np

from roastlog.curve.phases import NEAR_S, value_at
from roastlog.curve.rate.rate_of_rise import LiveRate, RateEstimate
from roastlog.curve.series import SecondBins, SecondRow
from roastlog.journal.fold import LONGEST_ROAST_S
from roastlog.machine.model import BEAN_ROLES, Machine
from roastlog.recording.hub import Row


class LiveCurve:
    """The curve so far. Not thread-safe: the caller holds a lock.

    Before charge no row is kept, but the rate filters run, so that they have settled by then.

    Parameters
    ----------
    machine
        The machine; the curve has its channels.
    now_ms
        The time. [ms UTC]
    """

    def __init__(self, machine: Machine, now_ms: int) -> None:
        self._channels = [channel.id for channel in machine.channels]
        self._by_hand = {channel.id for channel in machine.channels if channel.source == "hand"}
        self._roles = {channel.id: channel.role for channel in machine.channels if channel.role in BEAN_ROLES}
        self.begin(now_ms, charged=False)

    @property
    def charged_ms(self) -> int | None:
        """Time of the charge, the zero of the curve; None before it. [ms UTC]"""
        return self._origin_ms if self._charged else None

    @property
    def rows(self) -> int:
        """Number of rows, one a second from charge."""
        return len(self._columns["t_s"])

    @property
    def rates(self) -> Mapping[str, RateEstimate]:
        """The newest rate of each bean channel."""
        return self._rates

    def begin(self, origin_ms: int, *, charged: bool) -> None:
        """Restart at a charge or, without one, at any time. [ms UTC]"""
        self._origin_ms, self._charged = origin_ms, charged
        self._columns: dict[str, list[float | None]] = {
            name: [] for name in ("t_s", *self._channels, *(f"rate_{channel}" for channel in self._roles))
        }
        self._begin_at(0)

    def put(self, at_ms: int, channel: str, value: float) -> None:
        """Add one reading; it finishes no row by itself. [ms UTC], [°C]"""
        self._bins.put(self._time_s(at_ms), channel, value)

    def finish(self, now_ms: int) -> list[Row]:
        """The rows that end by a time and were not returned yet, oldest first; none before charge. [ms UTC]"""
        rows = [self._finished(row) for row in self._bins.upto(self._time_s(now_ms))]
        return rows if self._charged else []

    def catch_up(self, rows: Iterable[tuple[int, Mapping[str, float]]]) -> None:
        """Add past readings, in the order of their times."""
        for at_ms, values in rows:
            for channel, value in values.items():
                if channel in self._channels:
                    self.put(at_ms, channel, value)
                    self.finish(at_ms)

    def end(self, last_s: int, now_ms: int) -> None:
        """Finish the rows up to ``last_s`` and resume at ``now_ms``, with none in between. [s from charge], [ms UTC]"""
        for row in self._bins.upto(last_s + 1):
            self._finished(row)
        self._begin_at((now_ms - self._origin_ms) // 1000)

    def columns(self, last_s: int) -> dict[str, list[float | None]]:
        """The curve up to a second, as the columns of a `Row`. [s from charge]"""
        return {name: column[: last_s + 1] for name, column in self._columns.items()}

    def value_at(self, channel: str, time_s: float) -> float | None:
        """A channel's value at a time, computed from its rows as the record computes it from the stored curve.

        None in a gap. [s from charge], [°C]
        """
        near = slice(max(0, math.floor(time_s - NEAR_S)), max(0, math.ceil(time_s + NEAR_S) + 1))
        times, values = (np.array(self._columns[name][near], np.float64) for name in ("t_s", channel))
        return value_at(times, values, time_s)

    def _time_s(self, at_ms: int) -> float:
        return (at_ms - self._origin_ms) / 1000

    def _begin_at(self, start_s: int) -> None:
        self._bins = SecondBins(self._channels, start_s=start_s, points=self._by_hand)
        self._live_rates = {channel: LiveRate(role) for channel, role in self._roles.items()}
        self._rates: dict[str, RateEstimate] = {}
        if self._charged:
            for rate in self._live_rates.values():
                rate.charged(0.0)

    def _finished(self, row: SecondRow) -> Row:
        finished: Row = {"t_s": row.time_s}
        for channel, value in row.values.items():
            finished[channel] = None if math.isnan(value) else round(value, 2)
        for channel, rate in self._live_rates.items():
            self._rates[channel] = estimate = rate.add(row.time_s, row.values[channel])
            finished[f"rate_{channel}"] = rounded(estimate.rate_c_per_min)
        # The row of second s has index s.
        if self._charged and row.time_s == self.rows <= LONGEST_ROAST_S:
            for name, column in self._columns.items():
                column.append(finished[name])
        return finished


def rounded(value: float) -> float | None:
    """A value rounded to the precision that pages show; None for NaN."""
    return None if math.isnan(value) else round(value, 2)
