"""Batches: their list, and the record of each, from its entries and its curve."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from roastlog.clock import Clock
from roastlog.curve.phases import Phase, development, phases, value_at
from roastlog.curve.roast import setting_at
from roastlog.curve.series import Curve
from roastlog.curve.turning_point import TurningPoint, turning_point
from roastlog.errors import NoSuchBatch
from roastlog.journal.fold import Batch, Line
from roastlog.journal.kinds import shiftable
from roastlog.journal.vocabulary import MOMENT_LABELS
from roastlog.journal.wording import tell
from roastlog.languages import _
from roastlog.machine.model import Machine
from roastlog.quality.loss import Band, LossAssessment, assess_loss, usual_band
from roastlog.roasts.history import History, Traced, moves_of
from roastlog.services.batch_detail import BatchDetail, EntryDetail, MetricsDetail, PhaseDetail
from roastlog.services.lots import Lot, LotService
from roastlog.services.machines import MachineService
from roastlog.services.settings import SettingsService
from roastlog.store import batches as lists
from roastlog.store.batches import BatchSummary, Page
from roastlog.store.store import Store
from roastlog.trace.codes import parse_code

__all__ = ["BatchService", "BatchSummary", "LogLine", "Measures", "MomentRow", "Page", "Record"]


ONE_DRUM_MS: Final = 300_000


@dataclass(frozen=True)
class LogLine:
    """One line of a batch's journal, in words."""

    entry: str
    kind: str
    time_s: float | None
    at_ms: int
    text: str
    by: str | None
    device: str | None
    late: bool
    undone: bool
    flags: tuple[str, ...]
    temp_c: float | None = None
    body: Mapping[str, Any] = field(default_factory=dict)

    @property
    def shiftable(self) -> bool:
        """Whether its time can be moved."""
        return shiftable(self.kind)


@dataclass(frozen=True)
class MomentRow:
    """A moment with temperature and rate, and their errors where known. [s from charge], [ms UTC], [°C], [°C/min]"""

    moment: str
    label: str
    time_s: float
    at_ms: int | None
    temp_c: float | None
    rate_c_per_min: float | None
    by: str | None
    flags: tuple[str, ...] = ()
    time_error_s: float | None = None
    rate_error_c_per_min: float | None = None


@dataclass(frozen=True)
class Measures:
    """Figures measured on the curve of a batch. [s from charge], [°C]"""

    moments: list[MomentRow]
    turning_point: TurningPoint | None
    phases: list[Phase]
    development_s: float | None
    development_ratio: float | None
    area_base_c: float


@dataclass(frozen=True)
class Record:
    """The record of one batch."""

    batch: Batch
    summary: BatchSummary
    traced: Traced
    measures: Measures
    lot: Lot | None
    loss: LossAssessment | None

    @property
    def machine(self) -> Machine | None:
        """The machine by its present sheet; None if it was removed."""
        return self.traced.machine

    @cached_property
    def log(self) -> list[LogLine]:
        """All lines of the journal about it."""
        return [_log_line(line, self.batch, self.machine, self.curve, self.bean) for line in self.batch.lines]

    @property
    def curve(self) -> Curve:
        """The readings from charge to drop, a row a second."""
        return self.traced.curve

    @property
    def bean(self) -> str | None:
        """Name of the bean column; None without one."""
        return self.traced.bean

    @property
    def practice(self) -> bool:
        """Whether it is a practice batch."""
        return self.machine is not None and self.machine.practice

    @property
    def rate_columns(self) -> dict[str, NDArray[np.float64]]:
        """The live rate of each bean channel: ``rate_…``. [°C/min]"""
        rates = {name: self.traced.rate(name) for name in self.traced.roles}
        return {f"rate_{name}": rate for name, rate in rates.items() if rate is not None}

    @property
    def smooth_columns(self) -> dict[str, NDArray[np.float64]]:
        """Each bean channel smoothed: ``smooth_…`` for its temperature, ``smooth_rate_…`` its rate. [°C], [°C/min]"""
        columns = {}
        for name in self.traced.roles:
            if (smooth := self.traced.smooth(name)) is not None:
                columns[f"smooth_{name}"], columns[f"smooth_rate_{name}"] = smooth.temp_c, smooth.rate_c_per_min
        return columns

    @property
    def setting_columns(self) -> dict[str, NDArray[np.float64]]:
        """The setting of each control in force at each second: ``setting_…``; NaN before its first move."""
        moves = moves_of(self.batch)
        sheet = self.machine.controls if self.machine is not None else ()
        controls = dict.fromkeys([*(control.id for control in sheet), *(move.control for move in moves)])
        return {f"setting_{control}": setting_at(moves, control, self.curve.time_s) for control in controls}

    @property
    def moment_column(self) -> list[str]:
        """The moments in each row of the curve, by their names in the API; the turning point is one of them."""
        rows = [""] * len(self.curve.time_s)
        for moment in self.measures.moments:
            row = math.floor(moment.time_s + 0.5)  # the row of second s has what was from s − 0.5 on
            if 0 <= row < len(rows):
                rows[row] = "; ".join(filter(None, (rows[row], moment.moment)))
        return rows


class BatchService:
    """Lists batches and makes the record of each."""

    def __init__(
        self,
        store: Store,
        clock: Clock,
        history: History,
        *,
        machines: MachineService,
        lots: LotService,
        settings: SettingsService,
    ) -> None:
        self._store, self._clock, self._history = store, clock, history
        self._machines, self._lots, self._settings = machines, lots, settings

    def page(
        self,
        page: int = 1,
        query: str = "",
        coffee: str = "",
        machine: str = "",
        state: str = "",
        size: int = 50,
        *,
        practice: bool = False,
    ) -> Page:
        """A page of batches, newest first; practice batches only with ``practice`` or by naming their machine."""
        without = () if practice or machine else self._machines.practice_ids()
        return lists.page_of(
            self._store.read,
            page=page,
            size=size,
            query=query,
            coffee=coffee,
            machine=machine,
            state=state,
            without=without,
        )

    def summary(self, text: str) -> BatchSummary:
        """A batch by its code as typed; raises MistypedCode, NotACode or NoSuchBatch."""
        code = parse_code(text).code
        found = lists.summary(self._store.read, code)
        if found is None:
            raise NoSuchBatch(_("The code {code} is valid, but no batch here has it.", code=code))
        return found

    def folded(self, code: str) -> Batch:
        """A batch folded from its entries; without any if there is no such batch."""
        return self._history.batch(code)

    def charged_with(self, batch: BatchSummary) -> list[BatchSummary]:
        """Other batches of its machine that were charged within minutes of it: one drum holds no two of them."""
        if batch.charged_ms is None:
            return []
        return lists.charged_within(self._store.read, batch, ONE_DRUM_MS)

    def record(self, text: str) -> Record:
        """The record of a batch by its code as typed; raises MistypedCode, NotACode or NoSuchBatch."""
        summary = self.summary(text)
        batch = self._history.batch(summary.code)
        machine = next((machine for machine in self._machines.all() if machine.id == summary.machine), None)
        traced = self._history.traced(batch, machine, self._clock.now_ms())
        measures = measure(traced, self._clock.now_ms(), self._settings.current().area_base_c)
        loss = None
        if batch.roast_loss is not None and 0 <= batch.roast_loss < 1:
            loss = assess_loss(batch.roast_loss, self.usual_loss(summary.coffee, but=summary.code))
        lot = None if batch.facts.lot is None else self._lots.find(batch.facts.lot)
        return Record(batch, summary, traced, measures, lot, loss)

    def losses(self, coffee: str | None, but: str = "") -> list[float]:
        """Roast losses of the earlier batches of a coffee."""
        return (
            []
            if coffee is None
            else lists.losses(self._store.read, coffee, but=but, without=self._machines.practice_ids())
        )

    def usual_loss(self, coffee: str | None, but: str = "") -> Band | None:
        """The usual band of roast loss for a coffee; None while too few batches are known."""
        return usual_band(self.losses(coffee, but))

    def detail(self, text: str) -> BatchDetail:
        """A batch as the API gives it; raises MistypedCode, NotACode or NoSuchBatch."""
        record = self.record(text)
        summary, measures = record.summary, record.measures
        return BatchDetail(
            code=summary.code,
            machine=summary.machine,
            state=summary.state,
            coffee=summary.coffee,
            opened=record.batch.facts,
            opened_ms=summary.opened_ms,
            charged_ms=summary.charged_ms,
            dropped_ms=summary.dropped_ms,
            moments={row.moment: round(row.time_s, 3) for row in measures.moments},
            phases=tuple(PhaseDetail(*phase) for phase in measures.phases),
            metrics=MetricsDetail(
                duration_s=summary.duration_s,
                development_s=measures.development_s,
                development_ratio=measures.development_ratio,
                turning_point_error_s=measures.turning_point.error_s if measures.turning_point else None,
                area_base_c=measures.area_base_c,
                green_g=summary.green_g,
                roasted_g=summary.roasted_g,
                roast_loss=summary.roast_loss,
            ),
            entries=tuple(map(EntryDetail.of, record.batch.lines)),
        )


def measure(traced: Traced, now_ms: int, area_base_c: float) -> Measures:
    """Measure a batch's curve: turning point, moments with their values, phases, development.

    The areas of the phases are those above ``area_base_c``. [°C], [ms UTC]
    """
    batch, curve, bean = traced.batch, traced.curve, traced.bean
    times, rate = batch.moments_s, traced.rate(bean)
    temps = curve.channels[bean] if bean else np.full(curve.time_s.shape, np.nan)
    turn = turning_point(curve.time_s, temps)
    rows = [
        MomentRow(
            moment=name,
            label=MOMENT_LABELS[name],
            time_s=time_s,
            at_ms=batch.moments[name].at_ms,
            temp_c=value_of(curve, bean, time_s),
            rate_c_per_min=None if rate is None else value_at(curve.time_s, rate, time_s),
            by=batch.moments[name].by.person or batch.moments[name].by.device,
            flags=batch.moments[name].flags,
        )
        for name, time_s in ((name, times[name]) for name in batch.moments if name in times)
    ]
    if turn is not None and turn.time_s < times.get("drop", math.inf):
        label = MOMENT_LABELS["turning_point"]
        rows.append(MomentRow("turning_point", label, turn.time_s, None, turn.temp_c, 0.0, None, (), turn.error_s))
    rows.sort(key=lambda row: row.time_s)
    now_s = batch.time_s(now_ms)
    grown = development(times, times.get("drop", now_s or 0.0))
    return Measures(
        moments=rows,
        turning_point=turn,
        phases=phases(times, curve.time_s, temps, area_base_c=area_base_c),
        development_s=grown.time_s if grown else None,
        development_ratio=grown.ratio if grown else None,
        area_base_c=area_base_c,
    )


def value_of(curve: Curve, column: str | None, time_s: float) -> float | None:
    """Value of a column at a time; None where it is not known. [s from charge]"""
    if column is None or column not in curve.channels:
        return None
    return value_at(curve.time_s, curve.channels[column], time_s)


def _log_line(line: Line, batch: Batch, machine: Machine | None, curve: Curve, bean: str | None) -> LogLine:
    controls = {control.id: control.name for control in machine.controls} if machine else {}
    time_s = batch.time_s(line.at_ms)
    return LogLine(
        entry=str(line.id),
        kind=line.kind,
        time_s=time_s,
        at_ms=line.at_ms,
        text=tell(line, batch, controls),
        by=line.by.person,
        device=line.by.device,
        late="late" in line.flags,
        undone=line.undone,
        flags=line.flags,
        temp_c=None if time_s is None else value_of(curve, bean, time_s),
        body=line.body,
    )
