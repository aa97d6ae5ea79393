"""What the numbers say of a batch beyond its marks: smoothed rates at the moments, and faults of its curve."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from roastlog.curve.faults import Fault, find_faults
from roastlog.curve.phases import value_at
from roastlog.live.history import bean_column
from roastlog.services.comparing import Comparisons
from roastlog.services.records import MomentRow, Record


@dataclass(frozen=True)
class Analysis:
    """What is told of a curve beside its values.

    Attributes
    ----------
    smoothed
        Whether the batch is over, so that the rates at its moments are the smoothed ones, with their errors.
    moments
        The moments with what the probe and its rate were.
    faults
        What is worth a look, by the thresholds as they are set now.
    """

    smoothed: bool
    moments: Sequence[MomentRow]
    faults: Sequence[Fault]


class Analyses(Comparisons):
    """Analyses within one data folder."""

    def analysis(self, record: Record) -> Analysis:
        """What the numbers say of a batch."""
        bean = bean_column(record.machine, record.curve)
        return Analysis(bool(record.smooth), _moments(record, bean), self._faults(record, bean))

    def _faults(self, record: Record, bean: str | None) -> list[Fault]:
        curve = record.curve
        gaps = np.full(curve.time_s.shape, np.nan)
        temps, rates = curve.channels.get(bean or "", gaps), curve.channels.get(f"rate_{bean}", gaps)
        return find_faults(curve.time_s, temps, rates, record.batch.moments_s, self.settings().thresholds)


def _moments(record: Record, bean: str | None) -> list[MomentRow]:
    """The moments with the smoothed rate and its error, where there is one."""
    smooth = record.smooth.get(bean or "")
    if smooth is None:
        return record.measures.moments
    times = record.curve.time_s
    return [
        row
        if row.moment == "turning_point"  # there it is zero by what it is
        else replace(
            row,
            rate_c_per_min=value_at(times, smooth.rate_c_per_min, row.time_s),
            rate_error_c_per_min=value_at(times, smooth.error_c_per_min, row.time_s),
        )
        for row in record.measures.moments
    ]
