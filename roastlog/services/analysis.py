"""What the numbers say of a batch beyond its marks: smoothed rates, faults, and how wrong its outlook was."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from roastlog.curve.faults import Fault, find_faults
from roastlog.curve.outlook import Miss, Outlook, misses
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


@dataclass(frozen=True)
class Hindsight:
    """How wrong the outlook of a batch was.

    Attributes
    ----------
    record
        The batch.
    says
        What the outlook rested on; empty where there was none to make.
    misses
        What it said at each minute against what came.
    """

    record: Record
    says: str
    misses: Sequence[Miss]


class Analyses(Comparisons):
    """Analyses within one data folder."""

    def hindsight(self, text: str) -> Hindsight:
        """What the outlook said of a batch at each minute, from what was known then and no later.

        It is made anew, with the marks and the moves at the times that they have now, and with the batches of this
        coffee on this machine that were charged before; raises MistypedCode, NotACode or NoSuchBatch.
        """
        record = self.record(text)
        charge, plan = record.batch.moments.get("charge"), record.batch.facts.plan
        if record.machine is None or charge is None or "drop" not in record.batch.moments:
            return Hindsight(record, "", ())
        history, guide = self.desk.history, record.batch.facts.guide
        outlook = Outlook(
            history.earlier(record.machine, record.summary.coffee, before_ms=charge.at_ms),
            None if guide is None else history.roast(guide, record.machine),
            development_s=plan.development_s if plan else None,
            development_ratio=plan.development_ratio if plan else None,
        )
        return Hindsight(record, outlook.says, misses(history.roast(record.summary.code, record.machine), outlook))

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
