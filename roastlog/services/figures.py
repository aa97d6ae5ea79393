"""Figures of the live page, of a record and of a comparison."""

import math
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from roastlog.curve.comparison.alignment import Alignment
from roastlog.curve.series import Curve
from roastlog.errors import CodeError, NoSuchBatch
from roastlog.journal.vocabulary import MOMENT_WORDS
from roastlog.languages import _
from roastlog.machine.model import Machine
from roastlog.machine.views import ChannelView, ControlView, channel_views, control_views
from roastlog.plot import overlays
from roastlog.plot.small import small_curve_svg
from roastlog.recording.live_view import LiveView
from roastlog.recording.runtime import Runtime
from roastlog.roasts.chart import chart_overlays
from roastlog.services.analysis import AnalysisService
from roastlog.services.batches import BatchService, value_of
from roastlog.services.comparison import ComparisonService

if TYPE_CHECKING:  # Bokeh takes a second to load
    from roastlog.plot.drawing import Columned, Drawing


class FigureService:
    """Draws figures of machines and batches."""

    def __init__(
        self, runtime: Runtime, *, batches: BatchService, analysis: AnalysisService, comparison: ComparisonService
    ) -> None:
        self._runtime, self._batches = runtime, batches
        self._analysis, self._comparison = analysis, comparison

    def make_ready(self, temp_unit: str) -> None:
        """Load Bokeh and make the panels of all machines in advance, so that no page waits for them."""
        from roastlog.plot.figures import live_figure  # noqa: PLC0415 - Bokeh takes a second to load

        for machine in self._runtime.machines():
            channels, controls = channel_views(machine.channels), control_views(machine.controls)
            live_figure(channels, controls, {"t_s": []}, temp_unit=temp_unit)

    def live(self, view: LiveView, *, temp_unit: str = "C") -> "Drawing":
        """The figure of a live view with the curve so far; its axes in °C or °F."""
        from roastlog.plot.figures import live_figure  # noqa: PLC0415 - Bokeh takes a second to load

        live = self._runtime.live(view.machine.id)
        drawn: dict[str, Columned] = {**vars(view.batch.chart)} if view.batch else {}
        guide = view.batch.facts.guide if view.batch else None
        if guide is not None:
            drawn |= self._guide(guide)
        columns = {
            name: [math.nan if value is None else value for value in column] for name, column in live.columns().items()
        }
        return live_figure(view.channels, view.controls, columns, drawn, temp_unit=temp_unit)

    def _guide(self, code: str) -> "dict[str, Columned]":
        """The curve of the guide; empty if there is no such batch."""
        try:
            record = self._batches.record(code)
        except (CodeError, NoSuchBatch):
            return {}
        bean = record.bean
        if bean is None:
            return {}
        return {"guide": {"t_s": record.curve.time_s, "temp_c": record.curve.channels[bean]}}

    def record(self, text: str, *, temp_unit: str = "C") -> "Drawing":
        """The figure of a record; its axes in °C or °F."""
        from roastlog.plot.figures import record_figure  # noqa: PLC0415 - Bokeh takes a second to load

        record = self._batches.record(text)
        channels, controls = _drawn(record.machine, record.curve)
        marked = [(MOMENT_WORDS[row.moment], row.time_s) for row in record.measures.moments]
        bean_at = partial(value_of, record.curve, record.bean)
        end_s = record.batch.moments_s.get("drop", float(record.curve.time_s[-1]) if record.curve.time_s.size else 0.0)
        return record_figure(
            channels,
            controls,
            {"t_s": record.curve.time_s, **record.curve.channels, **record.rate_columns},
            {
                **vars(chart_overlays(record.batch, marked, bean_at, controls, end_s)),
                "faults": overlays.faults(
                    (fault.start_s, fault.end_s) for fault in self._analysis.analyse(record).faults
                ),
            },
            smooth={"t_s": record.curve.time_s, **record.smooth_columns},
            temp_unit=temp_unit,
        )

    def small(self, text: str) -> str:
        """The bean curve of a batch as a small SVG for lists; an empty one without readings."""
        record = self._batches.record(text)
        bean = record.bean
        temps = np.full(record.curve.time_s.shape, math.nan) if bean is None else record.curve.channels[bean]
        words = _("Bean curve of {code}", code=record.summary.code)
        return small_curve_svg(record.curve.time_s, temps, {}, width=160, height=48, label=words)

    def comparison(
        self, typed: Sequence[str], align: Alignment, control: str = "", *, temp_unit: str = "C"
    ) -> "Drawing":
        """The figure of a comparison; its axes in °C or °F."""
        from roastlog.plot.comparison import Drawn, comparison_figure  # noqa: PLC0415 - Bokeh takes a second to load

        beside = self._comparison.compare(typed, align)
        drawn = [
            Drawn(
                batch.letter,
                batch.roast,
                0.0 if batch.against is None else batch.against.shift_s,
                None if batch.against is None else batch.against.differences,
            )
            for batch in beside.batches
        ]
        lane = next((known for known in beside.controls if known.id == control), None)
        return comparison_figure(drawn, align, None if lane is None else ControlView.of(lane), temp_unit=temp_unit)


def _drawn(machine: Machine | None, curve: Curve) -> tuple[Sequence[ChannelView], Sequence[ControlView]]:
    """Channels and controls of a machine by its present sheet; if it was removed, the columns alone."""
    if machine is None:
        return tuple(map(ChannelView.of_column, curve.channels)), ()
    return channel_views(machine.channels), control_views(machine.controls)
