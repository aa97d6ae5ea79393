"""The live view: all that a live page shows besides the numbers. Built once per flush of entries, for all pages."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import islice
from typing import Final

import numpy as np

from roastlog.curve.phases import phase_at, planned_drop_s
from roastlog.curve.turning_point import turning_point
from roastlog.journal.fold import Batch, Line
from roastlog.journal.kinds import corrects, shiftable
from roastlog.journal.kinds.roast import Opened
from roastlog.journal.vocabulary import MOMENT_LABELS, MOMENT_WORDS, called
from roastlog.journal.wording import FLAG_WORDS, tell
from roastlog.machine.model import Machine, bean_channel
from roastlog.machine.views import ChannelView, ControlView, MachineView, control_views
from roastlog.recording.advice import AdviceView
from roastlog.recording.readers import LinkState
from roastlog.roasts.chart import ChartOverlays, chart_overlays
from roastlog.units import clock_text

LOG_LINES: Final = 40
FOLDED: Final[Mapping[str, tuple[str, ...]]] = {  # fields of an entry that a page needs to fold it with its unsent ones
    "opened": (),
    "moment": ("moment",),
    "move": ("control", "setting"),
    "trier": ("stage",),
    "weighed": (),
    "released": ("decision",),
    "undo": ("entry",),
    "shift": ("entry", "by_s"),
}
ValueAt = Callable[[str, float], float | None]


@dataclass(frozen=True)
class MomentView:
    """A moment that counts; its time is None while there is no charge. [s from charge], [°C]"""

    moment: str
    label: str
    at_ms: int
    time_s: float | None
    temp_c: float | None
    entry: str
    by: str | None
    flags: tuple[str, ...]


@dataclass(frozen=True)
class TurnView:
    """The turning point, computed from the curve. [s from charge], [°C]"""

    time_s: float
    temp_c: float


@dataclass(frozen=True)
class PlanView:
    """The planned development and the drop time that reaches it; None without first crack or plan. [s from charge]"""

    development_s: float | None
    development_ratio: float | None
    drop_at_s: float | None


@dataclass(frozen=True)
class PhotoView:
    """The photo that a line names, and whether it has arrived; the tap is sent ahead of it."""

    name: str
    here: bool


@dataclass(frozen=True)
class LogLineView:
    """A line of the journal that counts: its wording and the corrections that pages offer."""

    entry: str
    kind: str
    time_s: float | None
    clock: str | None
    text: str
    temp_c: float | None
    by: str | None
    late: bool
    flags: tuple[str, ...]
    shiftable: bool
    photo: PhotoView | None


@dataclass(frozen=True)
class LineView:
    """An entry that a page folds with its unsent ones: amended, at its time before any shift."""

    id: str
    kind: str
    at_ms: int
    body: Mapping[str, object]


@dataclass(frozen=True)
class BatchView:
    """The current batch of a machine. Times from charge in s, other times UTC ms, masses in g."""

    code: str
    title: str
    intent: str | None
    green_g: float | None
    state: str
    opened_entry: str | None
    facts: Opened
    charged_at_ms: int | None
    dropped_at_ms: int | None
    moments: tuple[MomentView, ...]
    turning_point: TurnView | None
    settings: Mapping[str, float]
    expected: str | None
    stage: str | None
    phase: str
    plan: PlanView
    log: tuple[LogLineView, ...]
    lines: tuple[LineView, ...]
    chart: ChartOverlays


@dataclass(frozen=True)
class WaitingView:
    """A batch that was opened and waits for its charge."""

    code: str
    title: str


@dataclass(frozen=True)
class StateView:
    """States of a machine's links and any other recording trouble; the `state` event."""

    links: tuple[LinkState, ...]
    trouble: str


@dataclass(frozen=True)
class LiveView:
    """All that a live page shows besides the numbers. ``seq`` is the number of the last entry included."""

    seq: int
    now_ms: int
    machine: MachineView
    channels: tuple[ChannelView, ...]
    controls: tuple[ControlView, ...]
    batch: BatchView | None
    waiting: tuple[WaitingView, ...]
    links: tuple[LinkState, ...]
    trouble: str
    outlook: AdviceView


def batch_view(
    machine: Machine,
    batch: Batch,
    title: str,
    columns: Mapping[str, Sequence[float | None]],
    value_at: ValueAt,
    now_ms: int,
    photos: Collection[str] = (),
    line_views: "LineViews | None" = None,
) -> BatchView:
    """The batch as the live page shows it.

    Parameters
    ----------
    columns
        The curve so far: ``t_s`` and one column a channel, None for gaps.
    value_at
        Value of a channel at a time from charge, None where it is not known.
    photos
        Names of the photos that have arrived.
    line_views
        Views of lines made before.
    """
    bean_at = partial(value_at, bean_channel(machine))
    moments, now_s = batch.moments_s, batch.time_s(now_ms)
    charge, drop, plan = batch.moments.get("charge"), batch.moments.get("drop"), batch.facts.plan
    end_s = moments.get("drop", now_s or 0.0)
    times, temps = (np.asarray(columns[name], float) for name in ("t_s", bean_channel(machine)))
    turn = turning_point(times, temps)
    marked = [(MOMENT_WORDS[name], time_s) for name, time_s in moments.items()]
    if turn is not None and turn.time_s < end_s:
        marked.append((MOMENT_WORDS["turning_point"], turn.time_s))
    return BatchView(
        code=batch.code or "",
        title=title,
        intent=batch.facts.intent,
        green_g=batch.green_g,
        state=batch.state,
        opened_entry=str(batch.opened.id) if batch.opened else None,
        facts=batch.facts,
        charged_at_ms=charge.at_ms if charge else None,
        dropped_at_ms=drop.at_ms if drop else None,
        moments=tuple(_moment(name, line, batch, bean_at) for name, line in batch.moments.items()),
        turning_point=None if turn is None else TurnView(round(turn.time_s, 1), round(turn.temp_c, 1)),
        settings=batch.settings,
        expected=batch.expected,
        stage=batch.stage,
        phase=called(phase_at(moments, now_s) if now_s is not None else "before charge"),
        plan=PlanView(
            development_s=plan.development_s if plan else None,
            development_ratio=plan.development_ratio if plan else None,
            drop_at_s=planned_drop(batch),
        ),
        log=log_view(machine, batch, bean_at, photos),
        lines=(line_views or LineViews()).of(batch),
        chart=chart_overlays(batch, marked, bean_at, control_views(machine.controls), end_s, growing=drop is None),
    )


def planned_drop(batch: Batch) -> float | None:
    """Drop time that reaches the planned development; None without first crack or plan. [s from charge]"""
    crack_s, plan = batch.moments_s.get("first_crack"), batch.facts.plan
    if crack_s is None or plan is None:
        return None
    return planned_drop_s(crack_s, plan.development_s, plan.development_ratio)


class LineViews:
    """The views of a batch's lines; that of a line that stays the same object is made once."""

    def __init__(self) -> None:
        self._made: dict[int, tuple[Line, LineView]] = {}

    def of(self, batch: Batch) -> tuple[LineView, ...]:
        """The lines that a page folds, by time."""
        lines = [line for kind in FOLDED for line in batch.by_kind.get(kind, ())]
        made = {id(line): self._made.get(id(line)) or (line, _line(line)) for line in lines}
        self._made = made  # it holds the lines, so that no other object gets their ids
        return tuple(sorted((view for _, view in made.values()), key=lambda view: (view.at_ms, view.id)))


def _line(line: Line) -> LineView:
    body = {name: line.body[name] for name in FOLDED[line.kind]}
    return LineView(str(line.id), line.kind, line.at_ms - round(line.shifted_s * 1000), body)


def log_view(
    machine: Machine, batch: Batch, bean_at: Callable[[float], float | None], photos: Collection[str] = ()
) -> tuple[LogLineView, ...]:
    """The newest lines that count, newest first."""
    controls = {control.id: control.name for control in machine.controls}
    counting = (line for line in reversed(batch.lines) if not line.undone and not corrects(line.kind))
    return tuple(_log_line(line, batch, controls, bean_at, photos) for line in islice(counting, LOG_LINES))


def _log_line(
    line: Line,
    batch: Batch,
    controls: Mapping[str, str],
    bean_at: Callable[[float], float | None],
    photos: Collection[str],
) -> LogLineView:
    time_s, photo = batch.time_s(line.at_ms), line.body.get("photo")
    return LogLineView(
        entry=str(line.id),
        kind=line.kind,
        time_s=time_s,
        clock=None if time_s is None else clock_text(time_s).replace("-", "−"),
        text=tell(line, batch, controls),
        temp_c=bean_at(time_s) if time_s is not None and line.kind == "moment" else None,
        by=line.by.person or line.by.device,
        late="late" in line.flags,
        flags=tuple(FLAG_WORDS[flag] for flag in line.flags),
        shiftable=shiftable(line.kind),
        photo=None if photo is None else PhotoView(photo, photo in photos),
    )


def _moment(name: str, line: Line, batch: Batch, bean_at: Callable[[float], float | None]) -> MomentView:
    time_s = batch.time_s(line.at_ms)
    return MomentView(
        moment=name,
        label=MOMENT_LABELS[name],
        at_ms=line.at_ms,
        time_s=time_s,
        temp_c=None if time_s is None else bean_at(time_s),
        entry=str(line.id),
        by=line.by.person or line.by.device,
        flags=line.flags,
    )
