"""Changes of the live view by a flush of entries, so that the stream need not send the whole view each time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Final

from roastlog.journal.entries import Entry
from roastlog.recording.live_view import BatchView, LineView, LiveView, LogLineView
from roastlog.roasts.chart import ChartOverlays

_SENT_APART: Final = frozenset(
    {"log", "lines", "chart"}
)  # parts of the batch whose changes are sent in their own fields


@dataclass(frozen=True)
class Differences:
    """Names of the fields, and ids of the log lines and folded lines, that differ between views of a machine."""

    view: frozenset[str] = frozenset()
    batch: frozenset[str] = frozenset()
    chart: frozenset[str] = frozenset()
    log: frozenset[str] = frozenset()
    lines: frozenset[str] = frozenset()

    def __or__(self, other: "Differences") -> "Differences":
        """The union of both."""
        return Differences(*(getattr(self, name) | getattr(other, name) for name in _names(Differences)))


@dataclass(frozen=True)
class LogChanges:
    """The changes of the log.

    Attributes
    ----------
    lines
        Lines that are new or changed, newest first.
    gone
        Ids of removed lines.
    order
        Ids of all lines, newest first; None where the new lines precede the old ones, which keep their order.
    """

    lines: tuple[LogLineView, ...]
    gone: tuple[str, ...]
    order: tuple[str, ...] | None


@dataclass(frozen=True)
class FlushEvent:
    """The `entry` event: the entries of a flush and the changes of the view.

    Attributes
    ----------
    entries
        The entries in the order of their numbers, each with its number as ``seq``.
    after, seq
        Number of the last entry in the view before and after the changes.
    view
        Changed fields of the view, including ``batch`` where it is another batch or none.
    batch
        Changed fields of the batch, where it is the same one.
    chart, log
        Changes of the batch's chart and log; None without any.
    lines
        New or changed lines that a page folds. None is ever removed.
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
    """The differences between two views of one machine."""
    names = _differing(old, new) - {"batch"}
    if old.batch is None or new.batch is None or old.batch.code != new.batch.code:
        return Differences(names if old.batch is new.batch else names | {"batch"})
    known = {line.entry: line for line in old.batch.log}
    here = {line.entry: line for line in new.batch.log}
    same = set(map(id, old.batch.lines))
    fresh = [line for line in new.batch.lines if id(line) not in same]
    folded = {line.id: line for line in old.batch.lines} if fresh else {}
    return Differences(
        names,
        _differing(old.batch, new.batch),
        _differing(_without_growing_ends(old.batch.chart), _without_growing_ends(new.batch.chart)),
        frozenset(entry for entry in known.keys() | here.keys() if known.get(entry) != here.get(entry)),
        frozenset(line.id for line in fresh if folded.get(line.id) != line),
    )


def flush_event(old: LiveView, new: LiveView, changes: Differences, entries: Sequence[tuple[int, Entry]]) -> FlushEvent:
    """The event of a flush.

    Parameters
    ----------
    old
        The view last published to watchers.
    new
        The view with the entries.
    changes
        Differences between the two, and between the old one and any view returned in between.
    entries
        The entries, each with its number.
    """
    numbered = tuple(entry.numbered(seq) for seq, entry in entries)
    view = {name: getattr(new, name) for name in _names(LiveView) if name in changes.view or name in {"seq", "now_ms"}}
    batch = new.batch
    if "batch" in changes.view or batch is None or old.batch is None:
        return FlushEvent(numbered, old.seq, new.seq, view)
    return FlushEvent(
        numbered,
        old.seq,
        new.seq,
        view,
        {name: getattr(batch, name) for name in _names(BatchView) if name in changes.batch - _SENT_APART} or None,
        {name: getattr(batch.chart, name) for name in _names(ChartOverlays) if name in changes.chart} or None,
        _log_changes(old.batch.log, batch.log, changes.log) if "log" in changes.batch else None,
        tuple(line for line in batch.lines if line.id in changes.lines),
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


def _without_growing_ends(chart: ChartOverlays) -> ChartOverlays:
    """A chart without the ends of growing bars, which pages extend by themselves."""
    ribbon = chart.ribbon
    right = [None if last else end_s for end_s, last in zip(ribbon["right"], ribbon["last"], strict=True)]
    return replace(chart, ribbon={**ribbon, "right": right})


def _differing(old: object, new: object) -> frozenset[str]:
    return frozenset(name for name in _names(type(new)) if getattr(old, name) != getattr(new, name))


def _names(kind: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))
