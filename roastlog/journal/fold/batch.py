"""A batch: its state, its facts, its moments, and each line with its flags."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

from roastlog.journal.entries import Entry
from roastlog.journal.fold.lines import Line, LineFold, Lines, body_as
from roastlog.journal.kinds.roast import Opened
from roastlog.journal.vocabulary import EXPECTED, MOMENTS, MomentName

LONGEST_ROAST_S: Final = 2 * 3600  # no roast is longer: the curve of a batch without a drop ends here
# Shorter times from one moment to another are slips of a finger: the quickest roasts, in hot air alone, take about
# three minutes [common practice, from memory].
LEAST_S: Final[Mapping[tuple[MomentName, MomentName], float]] = {
    ("charge", "yellow"): 45,
    ("charge", "first_crack"): 120,
    ("yellow", "first_crack"): 20,
    ("first_crack", "second_crack"): 15,
    ("charge", "drop"): 90,
}
_DECISION_STATES: Final = {"release": "released", "hold": "held", "reject": "rejected"}


@dataclass(frozen=True)
class Batch(Lines):
    """A batch folded from its entries. Times are UTC ms; `time_s` gives seconds from charge."""

    code: str | None
    machine: str | None
    lines: tuple[Line, ...] = ()
    by_kind: Mapping[str, Sequence[Line]] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def moments(self) -> Mapping[MomentName, Line]:
        """The line of each moment that counts: the first one."""
        return _first(self.by_kind.get("moment", ()))

    @cached_property
    def facts(self) -> Opened:
        """The facts of its opening; none if it was discarded."""
        return Opened() if self.opened is None or self.opened.undone else body_as(Opened, self.opened.body)

    @cached_property
    def state(self) -> str:
        """Its state: open, roasting, cooling, weighed, released, held, rejected or discarded."""
        if self.merged_into is not None or (self.opened is not None and self.opened.undone):
            return "discarded"
        decisions = [_DECISION_STATES.get(line.body["decision"]) for line in self.of("released")]
        decided = [state for state in decisions if state is not None]
        if decided:
            return decided[-1]
        if self.of("weighed"):
            return "weighed"
        if "drop" in self.moments:
            return "cooling"
        return "roasting" if "charge" in self.moments else "open"

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
        """The entry that opened the batch; it is undone only if no other one counts."""
        opened = self.by_kind.get("opened", ())
        return next((line for line in opened if not line.undone), opened[0] if opened else None)

    @property
    def bags_refused(self) -> bool:
        """Whether it is held or rejected, and nobody has allowed bags of it, or their labels, since that decision."""
        decided, allowed = self.last("released"), self.last("labels_allowed")
        if decided is None or self.state not in {"held", "rejected"}:
            return False
        return allowed is None or allowed.at_ms < decided.at_ms

    @property
    def merged_into(self) -> str | None:
        """Code of the batch that has its entries now; None if it stands for itself."""
        merged = self.last("merged")
        return None if merged is None else str(merged.body["into"])

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
        return frozenset(line.body["photo"] for line in self.by_kind.get("trier", ()) if line.body.get("photo"))

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


class BatchFold:
    """A batch kept folded while entries are added to it, at a cost that hardly grows with those that are there.

    Attributes
    ----------
    batch
        The batch with all entries added so far.
    """

    def __init__(self, code: str | None = None) -> None:
        self.batch = Batch(code, None)
        self._lines = LineFold()
        self._closed_ms: int | None = None
        self._first: Mapping[MomentName, Line] = {}

    def add(self, entries: Iterable[Entry]) -> Batch:
        """Add entries of the batch, in any order; one whose id is there already changes nothing."""
        fresh = list(entries)
        changed = self._may_have_other_flags(self._lines.add(fresh))
        for line in changed:
            self._lines.flag(line, tuple(_flags(line, self._first, self._closed_ms)))
        machines = {entry.machine for entry in fresh} | {self.batch.machine}
        self.batch = Batch(
            self.batch.code,
            min((machine for machine in machines if machine is not None), default=None),
            tuple(self._lines.lines),
            {
                **self.batch.by_kind,
                **{kind: tuple(self._lines.by_kind[kind]) for kind in {line.kind for line in changed}},
            },
        )
        return self.batch

    def _may_have_other_flags(self, renewed: Sequence[Line]) -> Sequence[Line]:
        """The new and changed lines, and those whose flags they may change."""
        kinds = {line.kind for line in renewed}
        first, closed_ms = self._first, self._closed_ms
        if "moment" in kinds:
            self._first = _first(self._lines.by_kind["moment"])
        if "released" in kinds:
            counting = [line.received_ms for line in self._lines.by_kind["released"] if not line.undone]
            self._closed_ms = max(counting, default=None)
        if self._closed_ms != closed_ms:
            return list(self._lines.lines)
        return [*renewed, *self._lines.by_kind["moment"]] if self._first != first else renewed


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
    return BatchFold(code).add(entries)


def _is_moment(line: Line) -> bool:
    """Whether a line marks a moment that counts and is known to this version."""
    return line.kind == "moment" and not line.undone and line.body["moment"] in MOMENTS


def _first(moments: Iterable[Line]) -> dict[MomentName, Line]:
    """The line that counts of each moment: the first one."""
    first: dict[MomentName, Line] = {}
    for line in moments:
        if _is_moment(line):
            first.setdefault(line.body["moment"], line)
    return first


def _flags(line: Line, first: Mapping[MomentName, Line], closed_ms: int | None) -> Iterable[str]:
    if closed_ms is not None and line.received_ms > closed_ms:
        yield "late"
    if _is_moment(line):
        name = line.body["moment"]
        if first[name].id != line.id:
            yield "doubled"
        elif _out_of_order(name, first):
            yield "out_of_order"
        elif _too_soon(name, first):
            yield "too_soon"


def _too_soon(name: MomentName, first: Mapping[MomentName, Line]) -> bool:
    return any(
        later == name and earlier in first and first[name].at_ms - first[earlier].at_ms < 1000 * least_s
        for (earlier, later), least_s in LEAST_S.items()
    )


def _out_of_order(name: MomentName, first: Mapping[MomentName, Line]) -> bool:
    before = MOMENTS[: MOMENTS.index(name)]
    return any(first[other].at_ms > first[name].at_ms for other in before if other in first)
