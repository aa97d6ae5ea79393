"""Figures of the live page, of a record and of a comparison."""

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from roastlog.curve.comparison.alignment import Alignment
from roastlog.curve.series import Curve
from roastlog.errors import CodeError, NoSuchBatch
from roastlog.journal.vocabulary import MOMENT_WORDS
from roastlog.machine.model import Machine
from roastlog.plot import overlays
from roastlog.recording.live_view import machine_part
from roastlog.recording.runtime import Runtime
from roastlog.services.analysis import AnalysisService
from roastlog.services.batches import BatchService, value_of
from roastlog.services.comparison import ComparisonService

if TYPE_CHECKING:  # Bokeh takes a second to load
    from roastlog.plot.drawing import Drawing


class FigureService:
    """Draws figures of machines and batches."""

    def __init__(
        self, runtime: Runtime, *, batches: BatchService, analysis: AnalysisService, comparison: ComparisonService
    ) -> None:
        self._runtime, self._batches = runtime, batches
        self._analysis, self._comparison = analysis, comparison

    def live(self, view: Mapping[str, Any], *, temp_unit: str = "C") -> "Drawing":
        """The figure of a live view with the curve so far; its axes read in °C or °F."""
        from roastlog.plot.figures import live_figure  # noqa: PLC0415 - Bokeh takes a second to load

        live = self._runtime.live(view["machine"]["id"])
        drawn = dict(view["batch"]["chart"]) if view["batch"] else {}
        guide = view["batch"]["facts"].get("guide") if view["batch"] else None
        if guide is not None:
            drawn |= self._guide(guide)
        columns = {
            name: [math.nan if value is None else value for value in column] for name, column in live.columns().items()
        }
        return live_figure(view["channels"], view["controls"], columns, drawn, temp_unit=temp_unit)

    def _guide(self, code: str) -> dict[str, Any]:
        """The curve of an earlier batch to be held against; nothing where there is none of that code."""
        try:
            record = self._batches.record(code)
        except (CodeError, NoSuchBatch):
            return {}
        bean = record.bean
        if bean is None:
            return {}
        return {"guide": {"t_s": record.curve.time_s, "temp_c": record.curve.channels[bean]}}

    def record(self, text: str, *, temp_unit: str = "C") -> "Drawing":
        """The record's figure; its axes read in °C or °F."""
        from roastlog.plot.figures import record_figure  # noqa: PLC0415 - Bokeh takes a second to load

        record = self._batches.record(text)
        parts = _drawn(record.machine, record.curve)
        moments = [(MOMENT_WORDS[row.moment], row.time_s) for row in record.measures.moments]
        bean = record.bean
        trier = [(line.body["stage"], record.batch.time_s(line.at_ms)) for line in record.batch.of("trier")]
        moves = [
            (line.body["control"], record.batch.time_s(line.at_ms), line.body["setting"])
            for line in record.batch.of("move")
        ]
        end_s = record.batch.moments_s.get("drop", float(record.curve.time_s[-1]) if record.curve.time_s.size else 0.0)
        return record_figure(
            parts["channels"],
            parts["controls"],
            {"t_s": record.curve.time_s, **record.curve.channels, **record.rate_columns},
            {
                "marks": overlays.marks(moments),
                "checks": overlays.checks(
                    (stage, time_s, value_of(record.curve, bean, time_s))
                    for stage, time_s in trier
                    if time_s is not None
                ),
                "ribbon": overlays.ribbon(
                    ((control, time_s, setting) for control, time_s, setting in moves if time_s is not None),
                    parts["controls"],
                    end_s,
                ),
                "faults": overlays.faults(
                    (fault.start_s, fault.end_s) for fault in self._analysis.analyse(record).faults
                ),
            },
            smooth={"t_s": record.curve.time_s, **record.smooth_columns},
            temp_unit=temp_unit,
        )

    def comparison(
        self, typed: Sequence[str], align: Alignment, control: str = "", *, temp_unit: str = "C"
    ) -> "Drawing":
        """The figure of a comparison; its axes read in °C or °F."""
        from roastlog.plot.comparison import Drawn, comparison_figure  # noqa: PLC0415 - Bokeh takes a second to load

        beside = self._comparison.compare(typed, align)
        drawn = [
            Drawn(
                batch.letter,
                batch.roast,
                0.0 if batch.against is None else batch.against.shift_s,
                None if batch.against is None else batch.against.along,
            )
            for batch in beside.batches
        ]
        lane = next((known for known in beside.controls if known.id == control), None)
        return comparison_figure(drawn, align, None if lane is None else lane.model_dump(), temp_unit=temp_unit)


def _drawn(machine: Machine | None, curve: Curve) -> dict[str, Any]:
    if machine is not None:
        return machine_part(machine)
    return {
        "channels": [{"id": name, "name": name, "role": name, "short": name} for name in curve.channels],
        "controls": [],
    }
