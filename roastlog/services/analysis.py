"""Analysis of a batch: smoothed rates, curve faults, and the forecast errors of its outlook."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from roastlog.clock import Clock
from roastlog.curve.faults.detection import CurveFault, find_faults
from roastlog.curve.forecast.outlook import ForecastError, forecast_errors
from roastlog.curve.phases import value_at
from roastlog.curve.smoothing import SmoothCurve
from roastlog.recording.advice import outlook_of
from roastlog.roasts.history import History
from roastlog.services.batches import BatchService, MomentRow, Record
from roastlog.services.settings import SettingsService


@dataclass(frozen=True)
class Analysis:
    """The analysis of a curve.

    Attributes
    ----------
    smoothed
        Whether the batch is over, so that the rates at its moments are smoothed and have errors.
    moments
        The moments with temperature and rate.
    faults
        Curve faults, by the thresholds as set now.
    """

    smoothed: bool
    moments: Sequence[MomentRow]
    faults: Sequence[CurveFault]


@dataclass(frozen=True)
class ForecastReview:
    """The outlook of a batch compared with its course.

    Attributes
    ----------
    record
        The batch.
    basis_text
        The basis of the outlook, in words; empty without an outlook.
    forecast_errors
        Errors of the forecasts made at each minute.
    """

    record: Record
    basis_text: str
    forecast_errors: Sequence[ForecastError]


class AnalysisService:
    """Computes the faults of a curve, its smoothed rates and its forecast errors."""

    def __init__(self, clock: Clock, history: History, batches: BatchService, settings: SettingsService) -> None:
        self._clock, self._history, self._batches, self._settings = clock, history, batches, settings

    def forecast_review(self, text: str) -> ForecastReview:
        """Forecasts for a batch at each minute, from the data until then, and their errors.

        The outlook is recomputed from the moments and moves at their present times, and from the batches of this
        coffee on this machine that were charged before; raises MistypedCode, NotACode or NoSuchBatch.
        """
        record = self._batches.record(text)
        machine, moments = record.machine, record.batch.moments
        if machine is None or "charge" not in moments or "drop" not in moments:
            return ForecastReview(record, "", ())
        _, outlook = outlook_of(self._history, machine, record.batch, record.summary.coffee, self._clock.now_ms())
        return ForecastReview(record, outlook.basis_text, forecast_errors(record.traced.roast, outlook))

    def analyse(self, record: Record) -> Analysis:
        """The analysis of a batch."""
        roast = record.traced.roast
        faults = find_faults(
            roast.time_s, roast.temp_c, roast.rate_c_per_min, roast.moments_s, self._settings.current().thresholds
        )
        smooth = record.traced.smooth(record.bean)
        return Analysis(smooth is not None, _moments(record, smooth), faults)


def _moments(record: Record, smooth: SmoothCurve | None) -> list[MomentRow]:
    """The moments, with the smoothed rate and its error where there is one."""
    if smooth is None:
        return record.measures.moments
    times = record.curve.time_s
    return [
        row
        if row.moment == "turning_point"  # the rate there is zero by definition
        else replace(
            row,
            rate_c_per_min=value_at(times, smooth.rate_c_per_min, row.time_s),
            rate_error_c_per_min=value_at(times, smooth.error_c_per_min, row.time_s),
        )
        for row in record.measures.moments
    ]
