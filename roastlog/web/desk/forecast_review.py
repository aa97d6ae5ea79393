"""The forecast errors of a batch, as its record shows them: a row per minute, a column per moment."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from roastlog.curve.forecast.outlook import BAND, ForecastError
from roastlog.journal.vocabulary import MOMENT_LABELS
from roastlog.languages import _
from roastlog.services import ForecastReview
from roastlog.web.http.formatting import HARD_SPACE, number

FORETOLD: Final = ("yellow", "first_crack", "drop")


class ErrorCell(NamedTuple):
    """A forecast of one moment at one minute: its error, its band relative to the true time, whether it was inside."""

    off: str
    band: str
    inside: bool | None


class MinuteRow(NamedTuple):
    """The forecasts made at one minute. [s from charge]"""

    asked_s: float
    cells: Sequence[ErrorCell | None]


@dataclass(frozen=True)
class ForecastReviewPage:
    """Context of `desk/records/_outlook.html` and `desk/records/outlook.html`."""

    told: ForecastReview
    moments: Sequence[str]
    rows: Sequence[MinuteRow]
    sentences: Sequence[str]
    planned: bool
    band: str = f"{BAND:.0%}".replace("%", f"{HARD_SPACE}%")


def forecast_review_page(told: ForecastReview) -> ForecastReviewPage:
    """The table of forecast errors, and a summary sentence per moment."""
    by_moment = {name: [miss for miss in told.forecast_errors if miss.moment == name] for name in FORETOLD}
    known = {name: found for name, found in by_moment.items() if found}
    at = {(miss.asked_s, miss.moment): miss for miss in told.forecast_errors}
    came_s = told.record.batch.moments_s
    rows = [
        MinuteRow(
            asked_s, [_cell(at[asked_s, name], came_s[name]) if (asked_s, name) in at else None for name in known]
        )
        for asked_s in sorted({miss.asked_s for miss in told.forecast_errors})
    ]
    sentences = [_summary(MOMENT_LABELS[name], found) for name, found in known.items()]
    planned = "drop" in known and told.record.batch.facts.plan is not None
    return ForecastReviewPage(told, [MOMENT_LABELS[name] for name in known], rows, sentences, planned)


def _cell(miss: ForecastError, came_s: float) -> ErrorCell:
    band = ""
    if miss.low_s is not None and miss.high_s is not None:
        band = _("{low} to {high}", low=_by(miss.low_s - came_s), high=_by(miss.high_s - came_s))
    return ErrorCell(_by(miss.error_s), band, miss.inside)


def _by(time_s: float) -> str:
    """Seconds with a sign: plus for too late, minus for too early."""
    text = number(time_s)
    return text if text.startswith("−") or text == "0" else f"+{text}"


def _summary(label: str, found: Sequence[ForecastError]) -> str:
    off_s = float(np.mean([abs(miss.error_s) for miss in found]))
    banded = [miss.inside for miss in found if miss.inside is not None]
    off = f"{number(off_s)}{HARD_SPACE}s"
    if not banded:
        return _("{moment}: off by {off} on average; no range given.", moment=label, off=off)
    return _(
        "{moment}: off by {off} on average; {held} of {bands} in range.",
        moment=label,
        off=off,
        held=sum(banded),
        bands=len(banded),
    )
