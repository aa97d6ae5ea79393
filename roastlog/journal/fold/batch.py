"""A batch: its state, its facts, its moments, and each line with its flags."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from roastlog.journal.entries import Entry
from roastlog.journal.fold.lines import Line, Lines, body_as, flagged, lines_of
from roastlog.journal.kinds.roast import Opened
from roastlog.journal.vocabulary import EXPECTED, MOMENTS, MomentName

LONGEST_ROAST_S: Final = 2 * 3600  # no roast is longer: the curve of a batch without a drop ends here
_DECISION_STATES: Final = {"release": "released", "hold": "held", "reject": "rejected"}


@dataclass(frozen=True)
class Batch(Lines):
    """A batch folded from its entries. Times are UTC ms; `time_s` gives seconds from charge."""

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
        """The entry that opened the batch; it may be undone."""
        return _opening(self.lines)

    @property
    def settings(self) -> dict[str, float]:
        """Setting of each control after all moves."""
        return {line.body["control"]: line.body["setting"] for line in self.of("move")}

    @property
    def expected(self) -> MomentName | None:
        """The next moment that the pad offers: the first in order after the last one marked; None after the drop."""
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
        """Names of the photos of its trier checks, including undone ones."""
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
        """Share of the green weight lost in the roast; None until both weights are known."""
        if self.green_g is None or self.roasted_g is None:
            return None
        return 1 - self.roasted_g / self.green_g


def fold(entries: Iterable[Entry], code: str | None = None) -> Batch:
    """Fold entries into a batch.

    Parameters
    ----------
    entries
        Entries of one batch, in any order and with repetitions.
    code
        The batch's code, if it has one.

    Returns
    -------
    Batch
        The result depends neither on the order nor on repetitions.
    """
    known = list(entries)
    lines = _flagged(lines_of(known))
    opened = _opening(lines)
    discarded = opened is not None and opened.undone
    moments: dict[MomentName, Line] = {}
    for line in lines:
        if _is_moment(line):
            moments.setdefault(line.body["moment"], line)
    machine = min((entry.machine for entry in known if entry.machine is not None), default=None)
    facts = Opened() if opened is None or discarded else body_as(Opened, opened.body)
    return Batch(code, machine, _state(lines, moments, discarded=discarded), facts, tuple(lines), moments)


def _opening(lines: Iterable[Line]) -> Line | None:
    """The first `opened` line that counts, else the first one."""
    opened = [line for line in lines if line.kind == "opened"]
    return next((line for line in opened if not line.undone), opened[0] if opened else None)


def _is_moment(line: Line) -> bool:
    """Whether a line marks a moment that counts and is known to this version."""
    return line.kind == "moment" and not line.undone and line.body["moment"] in MOMENTS


def _flagged(lines: list[Line]) -> list[Line]:
    """Flag lines that are late, doubled or out of order."""
    closed_ms = max((line.received_ms for line in lines if line.kind == "released" and not line.undone), default=None)
    first: dict[MomentName, Line] = {}
    for line in lines:
        if _is_moment(line):
            first.setdefault(line.body["moment"], line)
    order = {name: line.at_ms for name, line in first.items()}
    return [flagged(line, *_flags(line, first, order, closed_ms)) for line in lines]


def _flags(
    line: Line, first: Mapping[MomentName, Line], order: Mapping[MomentName, int], closed_ms: int | None
) -> Iterable[str]:
    if closed_ms is not None and line.received_ms > closed_ms:
        yield "late"
    if _is_moment(line):
        name = line.body["moment"]
        if first[name] is not line:
            yield "doubled"
        elif _out_of_order(name, order):
            yield "out_of_order"


def _out_of_order(name: MomentName, at_ms: Mapping[MomentName, int]) -> bool:
    before = MOMENTS[: MOMENTS.index(name)]
    return any(at_ms[other] > at_ms[name] for other in before if other in at_ms)


def _state(lines: Iterable[Line], moments: Mapping[MomentName, Line], *, discarded: bool) -> str:
    if discarded:
        return "discarded"
    counted = [line for line in lines if not line.undone]
    decisions = [line.body["decision"] for line in counted if line.kind == "released"]
    decisions = [decision for decision in decisions if decision in _DECISION_STATES]
    if decisions:
        return _DECISION_STATES[decisions[-1]]
    if any(line.kind == "weighed" for line in counted):
        return "weighed"
    if "drop" in moments:
        return "cooling"
    return "roasting" if "charge" in moments else "open"
