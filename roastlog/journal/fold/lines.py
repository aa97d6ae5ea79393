"""Lines: the entries of any subject as they count after undo, shift and amend.

They are a pure function of the *set* of entries: neither order nor repetition matters. Undone, shifted and amended
entries stay visible, and an entry that makes no sense is kept and flagged, never dropped.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
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

    def of(self, kind: str) -> list[Line]:
        """The lines of one kind that count, by time."""
        return [line for line in self.lines if line.kind == kind and not line.undone]

    def last(self, kind: str) -> Line | None:
        """The newest line of one kind that counts; None if there is none."""
        lines = self.of(kind)
        return lines[-1] if lines else None


def lines_of(entries: Iterable[Entry]) -> list[Line]:
    """The lines of one subject by time, each id once.

    Parameters
    ----------
    entries
        Entries of the subject, in any order and with repetitions.
    """
    known = unique(entries)
    undone = _undone(known)
    changes = _changes(known, undone)
    lines = [_line(entry, changes.get(entry.id, []), undone=entry.id in undone) for entry in known.values()]
    lines.sort(key=lambda line: (line.at_ms, line.id))
    return [
        flagged(line, "about_nothing") if corrects(line.kind) and _target(line) not in known else line for line in lines
    ]


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


def _target(entry: Entry | Line) -> UUID:
    return UUID(str(entry.body["entry"]))


def _undone(entries: Mapping[UUID, Entry]) -> set[UUID]:
    """Ids of the undone entries. An undo that is itself undone has no effect."""
    undos = {entry.id: _target(entry) for entry in entries.values() if entry.kind == "undo"}
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


def _changes(entries: Mapping[UUID, Entry], undone: set[UUID]) -> dict[UUID, list[Entry]]:
    """The shifts and amendments in effect, by the id of their target, in order of time."""
    changes: dict[UUID, list[Entry]] = {}
    for entry in sorted(entries.values(), key=lambda entry: (entry.at_ms, entry.id)):
        if entry.kind in {"shift", "amend"} and entry.id not in undone:
            changes.setdefault(_target(entry), []).append(entry)
    return changes


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
