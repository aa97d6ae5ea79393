"""Advice on the batch in the drum: outlook, heads-ups, suggestions.

It is computed each second from the data so far, whether or not anyone watches.
"""

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Final

import numpy as np

from roastlog.curve.faults.detection import CurveFault, Thresholds, describe_fault, find_faults
from roastlog.curve.forecast.outlook import MomentForecast, Outlook
from roastlog.curve.forecast.suggestions import describe_likely, detect_charge, usual_moment
from roastlog.curve.roast import Roast
from roastlog.curve.series import Curve
from roastlog.journal.fold import Batch
from roastlog.journal.vocabulary import MOMENT_LABELS
from roastlog.languages import _
from roastlog.machine.model import Machine, bean_channel
from roastlog.roasts.history import History, Rows, roast_of

SHOWN_S: Final = 20.0  # a heads-up stays this long after its fault has ended
TURNED_S: Final = 150.0  # until then the probe reads more of the hot drum than of the beans
LOOK_BACK_S: Final = 240  # an unmarked charge is searched for this far back


@dataclass(frozen=True)
class AheadView(MomentForecast):
    """A moment that is still to come, with its label; its numbers are rounded."""

    label: str


@dataclass(frozen=True)
class HeadsUpView:
    """A curve fault that is under way or has just ended. [s from charge]"""

    kind: str
    start_s: float
    text: str


@dataclass(frozen=True)
class SuggestionView:
    """A moment that may have come, for a person to mark; ``at_ms`` where the time is known. [ms UTC]"""

    moment: str
    label: str
    at_ms: int | None
    text: str


@dataclass(frozen=True)
class AdviceView:
    """The advice on a batch; the `outlook` event.

    Attributes
    ----------
    ahead
        Moments to come, with their bands.
    says
        The basis of those forecasts, in words.
    heads_up
        Faults under way or just ended, newest first.
    suggestions
        Hints that the next moment may have come: the probe is where it was marked before, or fell as at a charge.
    """

    ahead: tuple[AheadView, ...] = ()
    says: str = ""
    heads_up: tuple[HeadsUpView, ...] = ()
    suggestions: tuple[SuggestionView, ...] = ()


NO_ADVICE: Final = AdviceView()


class Advisor:
    """The advice on one machine's batch.

    Parameters
    ----------
    machine
        The machine that roasts them.
    history
        Source of the coffee's earlier batches.
    """

    def __init__(self, machine: Machine, history: History) -> None:
        self._machine, self._history = machine, history
        self._lock = threading.Lock()
        self._learned: tuple[object, list[Roast], Outlook] | None = None
        self._bean = bean_channel(machine)
        self._surface = next((channel.id for channel in machine.channels if channel.role == "bean_surface"), None)

    def roasting(
        self,
        batch: Batch,
        coffee: str | None,
        columns: Mapping[str, Sequence[float | None]],
        *,
        thresholds: Thresholds,
        now_ms: int,
        temp_unit: str = "C",
    ) -> AdviceView:
        """The advice on a batch between charge and drop.

        Parameters
        ----------
        columns
            The curve so far, as on the live page: ``t_s``, the channels, the rates; None is a gap.
        thresholds
            Limits beyond which a fault is reported.
        now_ms
            The time. [ms UTC]
        temp_unit
            Unit of the texts, ``C`` or ``F``. Numbers stay in °C.
        """
        so_far = self._roast(batch, columns)
        if not so_far.time_s.size:
            return NO_ADVICE
        with self._lock:
            earlier, outlook = self._learn(batch, coffee, now_ms)
        now_s = float(so_far.time_s[-1])
        ahead = outlook.forecast(so_far)
        faults = find_faults(so_far.time_s, so_far.temp_c, so_far.rate_c_per_min, so_far.moments_s, thresholds)
        recent = sorted(
            (fault for fault in faults if fault.end_s > now_s - SHOWN_S), key=attrgetter("start_s"), reverse=True
        )
        return AdviceView(
            ahead=tuple(map(_ahead, ahead)),
            says=outlook.basis_text if ahead else "",
            heads_up=tuple(_heads_up(fault, temp_unit) for fault in recent),
            suggestions=_likely(earlier, batch.expected, so_far, temp_unit),
        )

    def waiting(self, rows: Rows, origin_ms: int) -> AdviceView:
        """The advice on a batch that waits for its charge: a suggestion where the probe fell as at a charge.

        Parameters
        ----------
        rows
            Readings of the last minutes, in the order of their times. [°C]
        origin_ms
            Any time near them. [ms UTC]
        """
        temps = [(at_ms, values[self._bean]) for at_ms, values in rows if self._bean in values]
        time_s = np.array([(at_ms - origin_ms) / 1000 for at_ms, _ in temps])
        charge_s = detect_charge(time_s, np.array([temp_c for _, temp_c in temps]))
        if charge_s is None:
            return NO_ADVICE
        at_ms = origin_ms + round(1000 * charge_s)
        text = _("The probe fell as at a charge.")
        return AdviceView(suggestions=(SuggestionView("charge", MOMENT_LABELS["charge"], at_ms, text),))

    def _roast(self, batch: Batch, columns: Mapping[str, Sequence[float | None]]) -> Roast:
        names = {"t_s", self._bean, f"rate_{self._bean}", *([self._surface] if self._surface else [])}
        arrays = {name: np.array(columns[name], dtype=np.float64) for name in names if name in columns}
        times, rate = arrays.pop("t_s"), arrays.pop(f"rate_{self._bean}", None)
        return roast_of(batch, Curve(times, arrays), self._bean, self._surface, rate)

    def _learn(self, batch: Batch, coffee: str | None, now_ms: int) -> tuple[list[Roast], Outlook]:
        """The earlier batches and the outlook, cached until charge, coffee, guide or plan changes; lock held."""
        charge, plan = batch.moments.get("charge"), batch.facts.plan
        before_ms = None if charge is None else charge.at_ms
        key = (batch.code, before_ms, coffee, batch.facts.guide, plan)
        if self._learned is None or self._learned[0] != key:
            earlier, outlook = outlook_of(self._history, self._machine, batch, coffee, now_ms)
            self._learned = key, earlier, outlook
        return self._learned[1:]


def outlook_of(
    history: History, machine: Machine, batch: Batch, coffee: str | None, now_ms: int
) -> tuple[list[Roast], Outlook]:
    """The earlier batches of a batch's coffee, charged before it, and the outlook that learns from them."""
    charge, guide, plan = batch.moments.get("charge"), batch.facts.guide, batch.facts.plan
    earlier = history.earlier(machine, coffee, now_ms=now_ms, before_ms=None if charge is None else charge.at_ms)
    outlook = Outlook(
        earlier,
        None if guide is None else history.roast(guide, machine, now_ms),
        development_s=plan.development_s if plan else None,
        development_ratio=plan.development_ratio if plan else None,
    )
    return earlier, outlook


def _ahead(forecast: MomentForecast) -> AheadView:
    return AheadView(
        moment=forecast.moment,
        time_s=round(forecast.time_s, 1),
        low_s=_tenths(forecast.low_s),
        high_s=_tenths(forecast.high_s),
        temp_c=round(forecast.temp_c, 1),
        temp_low_c=_tenths(forecast.temp_low_c),
        temp_high_c=_tenths(forecast.temp_high_c),
        rate_c_per_min=round(forecast.rate_c_per_min, 1),
        rate_low_c_per_min=_tenths(forecast.rate_low_c_per_min),
        rate_high_c_per_min=_tenths(forecast.rate_high_c_per_min),
        basis=forecast.basis,
        label=MOMENT_LABELS[forecast.moment],
    )


def _tenths(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _heads_up(fault: CurveFault, temp_unit: str) -> HeadsUpView:
    return HeadsUpView(fault.kind, round(fault.start_s, 1), describe_fault(fault, unit=temp_unit))


def _likely(earlier: Sequence[Roast], moment: str | None, so_far: Roast, temp_unit: str) -> tuple[SuggestionView, ...]:
    """A suggestion where the probe has reached the temperature at which the next moment was marked before."""
    known = so_far.temp_c[np.isfinite(so_far.temp_c)]
    if moment not in {"yellow", "first_crack"} or not known.size or so_far.time_s[-1] < TURNED_S:
        return ()
    usual = usual_moment(earlier, moment)
    if usual is None or usual.place(float(known[-1])) == "ahead":
        return ()
    text = describe_likely(usual, float(known[-1]), temp_unit)
    return (SuggestionView(moment, MOMENT_LABELS[moment], None, text),)
