"""Folding: a batch is what its journal entries add up to.

The fold is a pure function of the *set* of entries: neither their order nor their repetition matters. What was undone,
shifted and amended stays in sight (`Batch.lines`), and an entry that makes no sense is kept and flagged, never dropped.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final
from uuid import UUID

from roastlog.errors import EntryRefused
from roastlog.journal.entries import By, Entry, Opened, amended
from roastlog.journal.vocabulary import EXPECTED, MOMENTS, MomentName

LONGEST_ROAST_S: Final = 2 * 3600  # no roast is longer: a batch without a drop ends here
_DECISION_STATES: Final = {"release": "released", "hold": "held", "reject": "rejected"}


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


@dataclass(frozen=True)
class Batch:
    """A batch as its entries tell it. Times are UTC ms; `time_s` gives seconds from charge."""

    code: str | None
    machine: str | None
    state: str
    facts: Opened
    lines: tuple[Line, ...] = ()
    moments: Mapping[MomentName, Line] = field(default_factory=dict)

    def time_s(self, at_ms: int) -> float | None:
        """Seconds from charge; None while there is no charge."""
        charge = self.moments.get("charge")
        return None if charge is None else (at_ms - charge.at_ms) / 1000

    @property
    def moments_s(self) -> dict[str, float]:
        """Seconds from charge of each moment; empty while there is no charge."""
        times = {name: self.time_s(line.at_ms) for name, line in self.moments.items()}
        return {name: time_s for name, time_s in times.items() if time_s is not None}

    @property
    def opened(self) -> Line | None:
        """The entry that opened the batch."""
        return next((line for line in self.lines if line.kind == "opened"), None)

    def of(self, kind: str) -> list[Line]:
        """The lines of one kind that count, in their order."""
        return [line for line in self.lines if line.kind == kind and not line.undone]

    def last(self, kind: str) -> Line | None:
        """The newest line of one kind that counts."""
        lines = self.of(kind)
        return lines[-1] if lines else None

    @property
    def settings(self) -> dict[str, float]:
        """Where each control stands after all moves."""
        return {line.body["control"]: line.body["setting"] for line in self.of("move")}

    @property
    def expected(self) -> MomentName | None:
        """The moment that the pad waits for: the first in order after the last one that was marked."""
        if "drop" in self.moments:
            return None
        marked = [EXPECTED.index(name) for name in EXPECTED if name in self.moments]
        return EXPECTED[max(marked, default=-1) + 1]

    @property
    def stage(self) -> str | None:
        """The colour stage of the last trier check."""
        check = self.last("trier")
        return None if check is None else str(check.body["stage"])

    @property
    def photos(self) -> frozenset[str]:
        """Names of the photos of its trier checks, of those too that were taken back."""
        return frozenset(line.body["photo"] for line in self.lines if line.kind == "trier" and line.body.get("photo"))

    @property
    def green_g(self) -> float | None:
        """Green weight charged. [g]"""
        return self.facts.green_g

    @property
    def roasted_g(self) -> float | None:
        """Roasted weight as last weighed, before anything is sorted out. [g]"""
        weighed = self.last("weighed")
        return None if weighed is None else float(weighed.body["roasted_g"])

    @property
    def roast_loss(self) -> float | None:
        """Share of the green weight that was lost in the roast; None until both weights are known."""
        if self.green_g is None or self.roasted_g is None:
            return None
        return 1 - self.roasted_g / self.green_g


def fold(entries: Iterable[Entry], code: str | None = None) -> Batch:
    """The batch that the entries add up to.

    Parameters
    ----------
    entries
        Entries of one batch, in any order, any of them any number of times.
    code
        The batch's code where it has one; entries carry it or the id of their `opened` entry.

    Returns
    -------
    Batch
        The same for any order and any repetition.
    """
    unique = _unique(entries)
    undone = _undone(unique)
    changes = _changes(unique, undone)
    lines = [_line(entry, changes.get(entry.id, []), undone=entry.id in undone) for entry in unique.values()]
    lines.sort(key=lambda line: (line.at_ms, line.id))
    lines = _flagged(lines)
    opened = [line for line in lines if line.kind == "opened"]
    counted = next((line for line in opened if not line.undone), None)
    moments: dict[MomentName, Line] = {}
    for line in lines:
        if line.kind == "moment" and not line.undone:
            moments.setdefault(line.body["moment"], line)
    machine = min((entry.machine for entry in unique.values()), default=None)
    facts = Opened.model_validate(dict(counted.body)) if counted else Opened()
    discarded = bool(opened) and counted is None
    return Batch(code, machine, _state(lines, moments, discarded=discarded), facts, tuple(lines), moments)


def _unique(entries: Iterable[Entry]) -> dict[UUID, Entry]:
    # An id counts once. Should two entries ever share an id, which one counts must not depend on their order.
    unique: dict[UUID, Entry] = {}
    for entry in entries:
        known = unique.get(entry.id)
        if known is None or (known is not entry and entry.model_dump_json() < known.model_dump_json()):
            unique[entry.id] = entry
    return unique


def _target(entry: Entry) -> UUID:
    return UUID(str(entry.body["entry"]))


def _undone(entries: Mapping[UUID, Entry]) -> set[UUID]:
    """Ids of the entries that an undo takes back. An undo that is itself undone takes nothing back."""
    undos = {entry.id: _target(entry) for entry in entries.values() if entry.kind == "undo"}
    by_target: dict[UUID, list[UUID]] = {}
    for undo, target in undos.items():
        by_target.setdefault(target, []).append(undo)
    void = _on_cycles(undos)
    stands: dict[UUID, bool] = dict.fromkeys(void, False)  # undos that undo each other in a ring mean nothing

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
    """The shifts and amendments that stand, by what they are about, in their order."""
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


def _flagged(lines: list[Line]) -> list[Line]:
    """Mark what is late, doubled, out of order or about nothing; all of it is kept."""
    closed_ms = max((line.received_ms for line in lines if line.kind == "released" and not line.undone), default=None)
    ids = {line.id for line in lines}
    first: dict[MomentName, Line] = {}
    for line in lines:
        if line.kind == "moment" and not line.undone:
            first.setdefault(line.body["moment"], line)
    order = {name: line.at_ms for name, line in first.items()}
    flagged = []
    for line in lines:
        flags = list(line.flags)
        if closed_ms is not None and line.received_ms > closed_ms:
            flags.append("late")
        if line.kind == "moment" and not line.undone:
            name = line.body["moment"]
            if first[name] is not line:
                flags.append("doubled")
            elif _out_of_order(name, order):
                flags.append("out_of_order")
        if line.kind in {"undo", "shift", "amend"} and UUID(str(line.body["entry"])) not in ids:
            flags.append("about_nothing")
        flagged.append(line if not flags else replace(line, flags=tuple(flags)))
    return flagged


def _out_of_order(name: MomentName, at_ms: Mapping[MomentName, int]) -> bool:
    before = MOMENTS[: MOMENTS.index(name)]
    return any(at_ms[other] > at_ms[name] for other in before if other in at_ms)


def _state(lines: Iterable[Line], moments: Mapping[MomentName, Line], *, discarded: bool) -> str:
    if discarded:
        return "discarded"
    counted = [line for line in lines if not line.undone]
    decisions = [line for line in counted if line.kind == "released"]
    if decisions:
        return _DECISION_STATES[decisions[-1].body["decision"]]
    if any(line.kind == "weighed" for line in counted):
        return "weighed"
    if "drop" in moments:
        return "cooling"
    return "roasting" if "charge" in moments else "open"
