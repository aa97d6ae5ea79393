"""Batches for the numerics: curves made from readings, and a cache of a coffee's earlier batches."""

import math
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roastlog.curve.rate.rate_of_rise import FilteredCurve, filter_curve
from roastlog.curve.roast import Move, Roast
from roastlog.curve.series import Curve, bin_seconds
from roastlog.curve.smoothing import SmoothCurve, smooth_curve
from roastlog.journal.fold import LONGEST_ROAST_S, Batch
from roastlog.machine.model import BEAN_ROLES, Machine, bean_channel
from roastlog.roasts.kept_folds import KeptFolds
from roastlog.store import batches as lists
from roastlog.store.store import Store

MOST_EARLIER: Final = 20  # older batches tell less about this crop, and more of them hardly improve the outlook
KEPT: Final = 60  # batches in memory, some 100 KB each: enough for the outlooks of one or two coffees
LAST_READINGS_MS: Final = 60_000  # for this long after the drop, late readings of a batch may still come in

Rows = Sequence[tuple[int, Mapping[str, float]]]


def span_ms(batch: Batch, now_ms: int) -> tuple[int, int] | None:
    """Time span of a batch's readings, from charge to drop or to now; None without a charge. [ms UTC]"""
    charge = batch.moments.get("charge")
    if charge is None:
        return None
    return charge.at_ms - 1000, charge.at_ms + 1000 * (_end_s(batch, now_ms) + 1)


def curve_of(batch: Batch, rows: Rows, machine: Machine | None, now_ms: int) -> Curve:
    """The curve of a batch from charge to drop, a row a second.

    Parameters
    ----------
    batch
        The batch; without a charge the curve is empty.
    rows
        Readings of `span_ms`, in the order of their times. [°C]
    machine
        The machine by its present sheet; None if it was removed.
    now_ms
        Latest end of a curve without a drop. [ms UTC]
    """
    charge = batch.moments.get("charge")
    if charge is None:
        return Curve(np.empty(0), {})
    # First the channels of the machine's present sheet, then any others in the readings.
    channels = machine.channels if machine is not None else ()
    names = list(dict.fromkeys([*(channel.id for channel in channels), *(name for _, has in rows for name in has)]))
    if not rows and "drop" not in batch.moments:
        return Curve(np.empty(0), {name: np.empty(0) for name in names})
    end_s = _end_s(batch, now_ms)
    if "drop" not in batch.moments:  # time without readings at the end is not a gap yet
        end_s = max(0, min(end_s, math.ceil((rows[-1][0] - charge.at_ms) / 1000)))
    columns = {name: [values.get(name, math.nan) for _, values in rows] for name in names}
    points = {channel.id for channel in channels if channel.source == "hand"}
    at_ms = [at for at, _ in rows]
    return bin_seconds(at_ms, columns, origin_ms=charge.at_ms, start_s=0, end_s=end_s, points=points)


def _end_s(batch: Batch, now_ms: int) -> int:
    """The last second of a batch's curve. [s from charge]"""
    end_s = min(batch.moments_s.get("drop", batch.time_s(now_ms) or 0.0), LONGEST_ROAST_S)
    return max(0, math.ceil(end_s))


def bean_column(machine: Machine | None, curve: Curve) -> str | None:
    """The bean column: that of the machine's sheet, else one of a former sheet, preferably named ``bean_probe``."""
    bean, named = None, set[str]()
    if machine is not None:
        bean, named = bean_channel(machine), {channel.id for channel in machine.channels}
    once = sorted((name for name in curve.channels if name not in named), key=lambda name: name != "bean_probe")
    known = [name for name in (bean, *once) if name in curve.channels]
    return next((name for name in known if np.isfinite(curve.channels[name]).any()), next(iter(known), None))


def moves_of(batch: Batch) -> list[Move]:
    """All moves of a batch by time; empty without a charge. [s from charge]"""
    if "charge" not in batch.moments:
        return []
    return [
        Move(batch.time_s(line.at_ms) or 0.0, line.body["control"], line.body["setting"]) for line in batch.of("move")
    ]


def roast_of(
    batch: Batch,
    curve: Curve,
    bean: str | None,
    surface: str | None = None,
    rate_c_per_min: NDArray[np.float64] | None = None,
) -> Roast:
    """A batch for the numerics: the bean curve with its live rate, the moments, the moves."""
    gaps = np.full(curve.time_s.shape, math.nan)
    return Roast(
        time_s=curve.time_s,
        temp_c=curve.channels.get(bean or "", gaps),
        rate_c_per_min=gaps if rate_c_per_min is None else rate_c_per_min,
        moments_s=dict(batch.moments_s),
        moves=tuple(moves_of(batch)),
        green_g=batch.green_g,
        surface_c=curve.channels.get(surface) if surface is not None else None,
        name=batch.code or "",
    )


@dataclass(frozen=True, eq=False)
class Traced:
    """A batch with its curve and the results computed from it, each cached.

    Attributes
    ----------
    batch, machine
        The batch, and the machine by its present sheet; None if it was removed.
    curve
        As `curve_of` makes it.
    """

    batch: Batch
    machine: Machine | None
    curve: Curve
    _filtered: dict[str, FilteredCurve] = field(default_factory=dict)
    _smoothed: dict[str, SmoothCurve] = field(default_factory=dict)

    @cached_property
    def bean(self) -> str | None:
        """The bean column; None without one."""
        return bean_column(self.machine, self.curve)

    @cached_property
    def roles(self) -> Mapping[str, str]:
        """Roles of the bean channels in the curve."""
        channels = self.machine.channels if self.machine is not None else ()
        return {
            channel.id: channel.role
            for channel in channels
            if channel.role in BEAN_ROLES and channel.id in self.curve.channels
        }

    @cached_property
    def roast(self) -> Roast:
        """The batch for the numerics, with its live rate."""
        surface = next((name for name, role in self.roles.items() if role == "bean_surface"), None)
        return roast_of(self.batch, self.curve, self.bean, surface, self.rate(self.bean))

    def rate(self, column: str | None) -> NDArray[np.float64] | None:
        """The live rate of a bean channel, as shown during the roast; None for any other column. [°C/min]"""
        return None if column is None or column not in self.roles else self._filter(column).rate_c_per_min

    def smooth(self, column: str | None) -> SmoothCurve | None:
        """A smoothed column; None before the drop, and for an unknown column."""
        if "drop" not in self.batch.moments or column not in self.curve.channels:
            return None
        if column not in self._smoothed:
            filtered, role = self._filter(column), self._role(column)
            times, temps = self.curve.time_s, self.curve.channels[column]
            self._smoothed[column] = smooth_curve(times, temps, role=role, filtered=filtered)
        return self._smoothed[column]

    def _filter(self, column: str) -> FilteredCurve:
        if column not in self._filtered:
            times, temps = self.curve.time_s, self.curve.channels[column]
            self._filtered[column] = filter_curve(times, temps, role=self._role(column))
        return self._filtered[column]

    def _role(self, column: str) -> str:
        return self.roles.get(column, "bean_probe")


class History:
    """Batches with their curves. Finished ones are cached until they get another entry.

    Parameters
    ----------
    store
        Source of the batches.
    rows_between
        Returns readings of a machine in a time span, including those not yet on disk. [ms UTC]
    """

    def __init__(self, store: Store, rows_between: Callable[[str, int, int], Rows]) -> None:
        self._store, self._rows_between = store, rows_between
        self._folds = KeptFolds()
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, tuple[object, Traced]] = OrderedDict()

    def batch(self, code: str) -> Batch:
        """A batch with all entries on the disk; without any if there is no such batch."""
        return self._folds.read(self._store.read, code)

    def earlier(
        self, machine: Machine, coffee: str | None, *, now_ms: int, before_ms: int | None = None
    ) -> list[Roast]:
        """The newest roasts of a coffee on a machine, oldest first, only those charged before ``before_ms`` if given.

        Discarded batches, and those without a charge or a drop, are left out. [ms UTC]
        """
        if coffee is None:
            return []
        codes = lists.roasted(self._store.read, machine.id, coffee, before_ms=before_ms, limit=MOST_EARLIER)
        return [self.roast(code, machine, now_ms) for code in reversed(codes)]

    def roast(self, code: str, machine: Machine, now_ms: int) -> Roast:
        """One batch for the numerics; its curve is empty if another machine roasted it. [ms UTC]"""
        batch = self.batch(code)
        if batch.machine != machine.id:
            return roast_of(batch, Curve(np.empty(0), {}), None)
        return self.traced(batch, machine, now_ms).roast

    def traced(self, batch: Batch, machine: Machine | None, now_ms: int) -> Traced:
        """A batch with its curve, up to now if it has no drop. [ms UTC]"""
        key, code = (len(batch.lines), machine), batch.code or ""
        with self._lock:
            known = self._kept.get(code)
            if known is not None and known[0] == key:
                self._kept.move_to_end(code)
                return known[1]
        span = span_ms(batch, now_ms)
        rows = self._rows_between(batch.machine, *span) if span is not None and batch.machine is not None else ()
        traced = Traced(batch, machine, curve_of(batch, rows, machine, now_ms))
        drop = batch.moments.get("drop")
        if drop is not None and now_ms - drop.at_ms > LAST_READINGS_MS:
            with self._lock:
                self._kept[code] = key, traced
                while len(self._kept) > KEPT:
                    self._kept.popitem(last=False)
        return traced

    def forget(self) -> None:
        """Clear the cache: late readings came in, which may belong to cached curves."""
        with self._lock:
            self._kept.clear()
