"""What a flush of entries changed of the live view, so that the stream need not carry the whole of it each time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Final

from roastlog.journal.entries import Entry
from roastlog.recording.live_view import BatchView, LineView, LiveView, LogLineView
from roastlog.roasts.chart import ChartOverlays

_APART: Final = frozenset({"log", "lines", "chart"})  # parts of the batch that are told by their own changes


@dataclass(frozen=True)
class Differences:
    """Names of the fields that differ between views of a machine, and ids of lines that do, of the log and folded."""

    view: frozenset[str] = frozenset()
    batch: frozenset[str] = frozenset()
    chart: frozenset[str] = frozenset()
    log: frozenset[str] = frozenset()
    lines: frozenset[str] = frozenset()

    def __or__(self, other: "Differences") -> "Differences":
        """Those of both."""
        return Differences(*(getattr(self, name) | getattr(other, name) for name in _names(Differences)))


@dataclass(frozen=True)
class LogChanges:
    """How the log came to be another one.

    Attributes
    ----------
    lines
        Lines that are new or read otherwise now, newest first.
    gone
        Ids of lines that stand in it no more.
    order
        Ids of all its lines, newest first; None where the new lines stand above the old ones, which keep their order.
    """

    lines: tuple[LogLineView, ...]
    gone: tuple[str, ...]
    order: tuple[str, ...] | None


@dataclass(frozen=True)
class FlushEvent:
    """The `entry` event: the entries of a flush, and what they changed of the view.

    Attributes
    ----------
    entries
        The entries in the order of their numbers, each with its own as ``seq``.
    after, seq
        Number of the last entry in the view that the changes are laid on, and in the view that it becomes.
    view
        The fields of the view that are others now; its batch among them where it is another batch, or none.
    batch
        The fields of the batch that are others now, where it is the same one.
    chart, log
        The same for the batch's chart and its log; None where nothing of them changed.
    lines
        Lines that a page folds and that are new or others now. None ever goes.
    """

    entries: tuple[Mapping[str, object], ...]
    after: int
    seq: int
    view: Mapping[str, object]
    batch: Mapping[str, object] | None = None
    chart: Mapping[str, object] | None = None
    log: LogChanges | None = None
    lines: tuple[LineView, ...] = ()


def differences(old: LiveView, new: LiveView) -> Differences:
    """What differs between two views of one machine."""
    names = _differing(old, new) - {"batch"}
    if old.batch is None or new.batch is None or old.batch.code != new.batch.code:
        return Differences(names if old.batch is new.batch else names | {"batch"})
    known = {line.entry: line for line in old.batch.log}
    here = {line.entry: line for line in new.batch.log}
    folded = {line.id: line for line in old.batch.lines}
    return Differences(
        names,
        _differing(old.batch, new.batch),
        _differing(_settled(old.batch.chart), _settled(new.batch.chart)),
        frozenset(entry for entry in known.keys() | here.keys() if known.get(entry) != here.get(entry)),
        frozenset(line.id for line in new.batch.lines if folded.get(line.id) != line),
    )


def flush_event(told: LiveView, new: LiveView, found: Differences, entries: Sequence[tuple[int, Entry]]) -> FlushEvent:
    """The event of a flush.

    Parameters
    ----------
    told
        The view as watchers know it.
    new
        The view with the entries.
    found
        What differs between the two, and what differed of any view that was given out in between.
    entries
        The entries, each with its number.
    """
    said = tuple(entry.numbered(seq) for seq, entry in entries)
    view = {name: getattr(new, name) for name in _names(LiveView) if name in found.view or name in {"seq", "now_ms"}}
    batch = new.batch
    if "batch" in found.view or batch is None or told.batch is None:
        return FlushEvent(said, told.seq, new.seq, view)
    return FlushEvent(
        said,
        told.seq,
        new.seq,
        view,
        {name: getattr(batch, name) for name in _names(BatchView) if name in found.batch - _APART} or None,
        {name: getattr(batch.chart, name) for name in _names(ChartOverlays) if name in found.chart} or None,
        _log_changes(told.batch.log, batch.log, found.log) if "log" in found.batch else None,
        tuple(line for line in batch.lines if line.id in found.lines),
    )


def _log_changes(old: Sequence[LogLineView], new: Sequence[LogLineView], differing: frozenset[str]) -> LogChanges:
    known, here = [line.entry for line in old], [line.entry for line in new]
    fresh = [entry for entry in here if entry not in set(known)]
    stayed = [entry for entry in known if entry in set(here)]
    return LogChanges(
        lines=tuple(line for line in new if line.entry in differing),
        gone=tuple(entry for entry in differing if entry not in set(here)),
        order=None if here == fresh + stayed else tuple(here),
    )


def _settled(chart: ChartOverlays) -> ChartOverlays:
    """A chart without the ends of the bars that still grow: a page lets those grow by itself."""
    ribbon = chart.ribbon
    right = [None if last else end_s for end_s, last in zip(ribbon["right"], ribbon["last"], strict=True)]
    return replace(chart, ribbon={**ribbon, "right": right})


def _differing(old: object, new: object) -> frozenset[str]:
    return frozenset(name for name in _names(type(new)) if getattr(old, name) != getattr(new, name))


def _names(kind: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))
