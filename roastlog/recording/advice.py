"""What the server says of the batch in the drum besides what was measured: outlook, heads-ups, suggestions.

All of it is advice, made anew each second from what is known by then, whether anyone watches or not.
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

SHOWN_S: Final = 20.0  # a heads-up stays this long after what it is about has passed
TURNED_S: Final = 150.0  # until then the probe reads more of the hot drum than of the beans
LOOK_BACK_S: Final = 240  # how far back a charge that nobody marked is looked for


@dataclass(frozen=True)
class AheadView(MomentForecast):
    """A moment that is still to come, with its label; its numbers are rounded."""

    label: str


@dataclass(frozen=True)
class HeadsUpView:
    """A fault of the curve that is under way or hardly over. [s from charge]"""

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
        What those rest on.
    heads_up
        Faults under way or hardly over, the newest first.
    suggestions
        That the probe is where the next moment was marked, or fell as it does at a charge.
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
        Whose batches they are.
    history
        Where the earlier batches of a coffee are read.
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
            The curve so far as the live page has it: ``t_s``, the channels, the rates; None is a gap.
        thresholds
            From when on a fault is told.
        now_ms
            The time. [ms UTC]
        temp_unit
            ``C`` or ``F``: what the words are in. Numbers stay in °C.
        """
        sofar = self._roast(batch, columns)
        if not sofar.time_s.size:
            return NO_ADVICE
        with self._lock:
            earlier, outlook = self._learn(batch, coffee, now_ms)
        now_s = float(sofar.time_s[-1])
        ahead = outlook.forecast(sofar)
        faults = find_faults(sofar.time_s, sofar.temp_c, sofar.rate_c_per_min, sofar.moments_s, thresholds)
        fresh = sorted(
            (fault for fault in faults if fault.end_s > now_s - SHOWN_S), key=attrgetter("start_s"), reverse=True
        )
        return AdviceView(
            ahead=tuple(map(_ahead, ahead)),
            says=outlook.basis_text if ahead else "",
            heads_up=tuple(_heads_up(fault, temp_unit) for fault in fresh),
            suggestions=_likely(earlier, batch.expected, sofar, temp_unit),
        )

    def waiting(self, rows: Rows, origin_ms: int) -> AdviceView:
        """The advice on a batch that waits for its charge: whether the probe fell as it does at one.

        Parameters
        ----------
        rows
            Readings of the last minutes, in the order of their times. [°C]
        origin_ms
            Any time near them. [ms UTC]
        """
        temps = [(at_ms, values[self._bean]) for at_ms, values in rows if self._bean in values]
        time_s = np.array([(at_ms - origin_ms) / 1000 for at_ms, _ in temps])
        seen_s = detect_charge(time_s, np.array([temp_c for _, temp_c in temps]))
        if seen_s is None:
            return NO_ADVICE
        at_ms = origin_ms + round(1000 * seen_s)
        text = _("The probe fell as it does at a charge.")
        return AdviceView(suggestions=(SuggestionView("charge", MOMENT_LABELS["charge"], at_ms, text),))

    def _roast(self, batch: Batch, columns: Mapping[str, Sequence[float | None]]) -> Roast:
        names = {"t_s", self._bean, f"rate_{self._bean}", *([self._surface] if self._surface else [])}
        arrays = {name: np.array(columns[name], dtype=np.float64) for name in names if name in columns}
        times, rate = arrays.pop("t_s"), arrays.pop(f"rate_{self._bean}", None)
        return roast_of(batch, Curve(times, arrays), self._bean, self._surface, rate)

    def _learn(self, batch: Batch, coffee: str | None, now_ms: int) -> tuple[list[Roast], Outlook]:
        """The earlier batches and the outlook; anew when charge, coffee, guide or plan changed. The lock is held."""
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
    """What an outlook on a batch may learn from, the batches of its coffee charged before it, and the outlook."""
    charge, guide, plan = batch.moments.get("charge"), batch.facts.guide, batch.facts.plan
    earlier = history.earlier(machine, coffee, now_ms=now_ms, before_ms=None if charge is None else charge.at_ms)
    outlook = Outlook(
        earlier,
        None if guide is None else history.roast(guide, machine, now_ms),
        development_s=plan.development_s if plan else None,
        development_ratio=plan.development_ratio if plan else None,
    )
    return earlier, outlook


def _ahead(found: MomentForecast) -> AheadView:
    return AheadView(
        moment=found.moment,
        time_s=round(found.time_s, 1),
        low_s=_tenths(found.low_s),
        high_s=_tenths(found.high_s),
        temp_c=round(found.temp_c, 1),
        temp_low_c=_tenths(found.temp_low_c),
        temp_high_c=_tenths(found.temp_high_c),
        rate_c_per_min=round(found.rate_c_per_min, 1),
        rate_low_c_per_min=_tenths(found.rate_low_c_per_min),
        rate_high_c_per_min=_tenths(found.rate_high_c_per_min),
        basis=found.basis,
        label=MOMENT_LABELS[found.moment],
    )


def _tenths(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _heads_up(fault: CurveFault, temp_unit: str) -> HeadsUpView:
    return HeadsUpView(fault.kind, round(fault.start_s, 1), describe_fault(fault, unit=temp_unit))


def _likely(earlier: Sequence[Roast], moment: str | None, sofar: Roast, temp_unit: str) -> tuple[SuggestionView, ...]:
    """That the probe is where the next moment was marked before; it is for the person to see whether it is."""
    known = sofar.temp_c[np.isfinite(sofar.temp_c)]
    if moment not in {"yellow", "first_crack"} or not known.size or sofar.time_s[-1] < TURNED_S:
        return ()
    found = usual_moment(earlier, moment)
    if found is None or found.place(float(known[-1])) == "ahead":
        return ()
    text = describe_likely(found, float(known[-1]), temp_unit)
    return (SuggestionView(moment, MOMENT_LABELS[moment], None, text),)
