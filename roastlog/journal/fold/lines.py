"""Lines: the entries of any subject as they count after undo, shift and amend.

They are a pure function of the *set* of entries: neither order nor repetition matters. Undone, shifted and amended
entries stay visible, and an entry that makes no sense is kept and flagged, never dropped.
"""

from bisect import bisect_left, insort
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, TypeVar
from uuid import UUID

from roastlog.errors import EntryRefused
from roastlog.journal.entries import By, Entry, amended
from roastlog.journal.kinds import corrects
from roastlog.journal.kinds.base import Body, known_part

B = TypeVar("B", bound=Body)


@dataclass(frozen=True)
class Line:
    """One entry as it counts after undo, shift and amend."""

    id: UUID
    kind: str
    at_ms: int
    received_ms: int
    by: By
    body: Mapping[str, Any]
    undone: bool = False
    shifted_s: float = 0.0
    amended: bool = False
    flags: tuple[str, ...] = ()


class Lines:
    """Base of all folded subjects: their lines."""

    lines: tuple[Line, ...]

    @cached_property
    def by_kind(self) -> Mapping[str, Sequence[Line]]:
        """The lines of each kind, by time."""
        return grouped(self.lines)

    def of(self, kind: str) -> Sequence[Line]:
        """The lines of one kind that count, by time."""
        return [line for line in self.by_kind.get(kind, ()) if not line.undone]

    def last(self, kind: str) -> Line | None:
        """The newest line of one kind that counts; None if there is none."""
        lines = self.of(kind)
        return lines[-1] if lines else None


class LineFold:
    """The lines of one subject, made anew only where an added entry changes them.

    Attributes
    ----------
    lines
        The lines by time, each id once. A line that nothing changes stays the same object.
    by_kind
        The same of each kind.
    """

    def __init__(self) -> None:
        self.lines: list[Line] = []
        self.by_kind: dict[str, list[Line]] = {}
        self._entries: dict[UUID, Entry] = {}
        self._plain: dict[UUID, Line] = {}
        self._flagged: set[UUID] = set()
        self._undos: dict[UUID, UUID] = {}
        self._undone: set[UUID] = set()
        self._corrections: dict[UUID, list[Entry]] = {}

    def add(self, entries: Iterable[Entry]) -> list[Line]:
        """Add entries of the subject, in any order; one whose id is there already changes nothing.

        Returns
        -------
        list of Line
            The lines that are new or changed, as yet without flags by `flag`.
        """
        fresh = {ident: entry for ident, entry in unique(entries).items() if ident not in self._entries}
        self._entries |= fresh
        renewed = [self._renewed(ident) for ident in self._affected_by(fresh) if ident in self._entries]
        self._plain.update((line.id, line) for line in renewed)
        if len(renewed) > len(self.lines):
            self.lines = sorted([*self.lines, *renewed], key=_by_time)
            self.by_kind = grouped(self.lines)
        else:
            for line in renewed:
                insort(self.lines, line, key=_by_time)
                insort(self.by_kind.setdefault(line.kind, []), line, key=_by_time)
        return renewed

    def flag(self, line: Line, flags: tuple[str, ...]) -> None:
        """Have a line flagged, in place of flags that were given to it before."""
        if not flags and line.id not in self._flagged:
            return
        self._flagged.add(line.id)
        plain = self._plain[line.id]
        wanted = flagged(plain, *flags)
        for lines in (self.lines, self.by_kind[line.kind]):
            place = _place(lines, plain)
            if lines[place].flags != wanted.flags:
                lines[place] = wanted

    def _affected_by(self, fresh: Mapping[UUID, Entry]) -> set[UUID]:
        """Ids of the lines that new entries make or change."""
        affected = set(fresh)
        for entry in fresh.values():
            if corrects(entry.kind):
                target = _target(entry)
                affected.add(target)
                insort(self._corrections.setdefault(target, []), entry, key=_by_time)
                if entry.kind == "undo":
                    self._undos[entry.id] = target
            if entry.id in self._corrections:  # their target is here now
                affected.update(other.id for other in self._corrections[entry.id])
        if any(entry.kind == "undo" for entry in fresh.values()):
            undone = _undone(self._undos)
            affected |= undone ^ self._undone
            self._undone = undone
        known = [self._entries[ident] for ident in affected if ident in self._entries]
        return affected | {_target(entry) for entry in known if corrects(entry.kind)}

    def _renewed(self, ident: UUID) -> Line:
        """The line of an entry as it counts now; the earlier one is removed."""
        before = self._plain.get(ident)
        if before is not None:
            for lines in (self.lines, self.by_kind[before.kind]):
                del lines[_place(lines, before)]
        entry = self._entries[ident]
        line = _line(entry, self._changes_of(ident), undone=ident in self._undone)
        return flagged(line, "about_nothing") if corrects(line.kind) and _target(line) not in self._entries else line

    def _changes_of(self, ident: UUID) -> list[Entry]:
        """The shifts and amendments of an entry that are in effect, in order of time."""
        corrections = self._corrections.get(ident, ())
        return [one for one in corrections if one.kind in {"shift", "amend"} and one.id not in self._undone]


def lines_of(entries: Iterable[Entry]) -> list[Line]:
    """The lines of one subject by time, each id once.

    Parameters
    ----------
    entries
        Entries of the subject, in any order and with repetitions.
    """
    fold = LineFold()
    fold.add(entries)
    return fold.lines


def with_first(entries: Iterable[Entry], kind: str) -> tuple[Line | None, tuple[Line, ...]]:
    """The first line of a kind that can count only once, and all lines with further ones flagged as doubled."""
    lines = lines_of(entries)
    first = next((line for line in lines if line.kind == kind and not line.undone), None)
    doubled = [
        flagged(line, "doubled") if line.kind == kind and not line.undone and line is not first else line
        for line in lines
    ]
    return first, tuple(doubled)


def grouped(lines: Iterable[Line]) -> dict[str, list[Line]]:
    """The lines of each kind, in their order."""
    found: dict[str, list[Line]] = {}
    for line in lines:
        found.setdefault(line.kind, []).append(line)
    return found


def flagged(line: Line, *flags: str) -> Line:
    """A line with further flags."""
    return replace(line, flags=(*line.flags, *flags)) if flags else line


def body_as(model: type[B], body: Mapping[str, Any]) -> B:
    """A body as its model, without fields of a newer version."""
    return model.model_validate(known_part(model, body))


def unique(entries: Iterable[Entry]) -> dict[UUID, Entry]:
    """The entries by id; of entries that share an id, one counts."""
    # Which one counts must not depend on their order.
    unique: dict[UUID, Entry] = {}
    for entry in entries:
        known = unique.get(entry.id)
        if known is None or (known is not entry and entry.model_dump_json() < known.model_dump_json()):
            unique[entry.id] = entry
    return unique


def _by_time(entry: Entry | Line) -> tuple[int, UUID]:
    return entry.at_ms, entry.id


def _place(lines: Sequence[Line], line: Line) -> int:
    """The index of a line among lines by time."""
    return bisect_left(lines, _by_time(line), key=_by_time)


def _target(entry: Entry | Line) -> UUID:
    return UUID(str(entry.body["entry"]))


def _undone(undos: Mapping[UUID, UUID]) -> set[UUID]:
    """Ids of the undone entries, by each undo's target. An undo that is itself undone has no effect."""
    by_target: dict[UUID, list[UUID]] = {}
    for undo, target in undos.items():
        by_target.setdefault(target, []).append(undo)
    void = _on_cycles(undos)
    stands: dict[UUID, bool] = dict.fromkeys(void, False)  # undos that undo each other in a cycle have no effect

    def decide(first: UUID) -> bool:
        stack = [first]
        while stack:
            undo = stack[-1]
            waiting = [other for other in by_target.get(undo, ()) if other not in stands]
            if waiting:
                stack.extend(waiting)
                continue
            stands.setdefault(undo, not any(stands[other] for other in by_target.get(undo, ())))
            stack.pop()
        return stands[first]

    return {target for undo, target in undos.items() if decide(undo)}


def _on_cycles(undos: Mapping[UUID, UUID]) -> set[UUID]:
    on_cycle: set[UUID] = set()
    seen: set[UUID] = set()
    for start in undos:
        path: list[UUID] = []
        node = start
        while node in undos and node not in seen:
            seen.add(node)
            path.append(node)
            node = undos[node]
        if node in path:
            on_cycle.update(path[path.index(node) :])
    return on_cycle


def _line(entry: Entry, changes: list[Entry], *, undone: bool) -> Line:
    shifted_s = sum(float(change.body["by_s"]) for change in changes if change.kind == "shift")
    amendments = [change for change in changes if change.kind == "amend"]
    body, flags = dict(entry.body), []
    for amendment in amendments:
        try:
            body = amended(entry.kind, body, amendment.body["body"])
        except EntryRefused:
            flags.append("amend_unfit")
    return Line(
        id=entry.id,
        kind=entry.kind,
        at_ms=entry.at_ms + round(shifted_s * 1000),
        received_ms=entry.received_ms,
        by=entry.by,
        body=body,
        undone=undone,
        shifted_s=shifted_s,
        amended=len(amendments) > len(flags),
        flags=tuple(flags),
    )
