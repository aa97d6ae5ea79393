"""A lot of green coffee: its facts, its checks, its state, and each line with its flags."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from roastlog.journal.entries import Entry
from roastlog.journal.fold.lines import Line, Lines, body_as, with_first
from roastlog.journal.kinds.green import Arrived, Checked

_STATES: Final = {"accept": "accepted", "hold": "held", "reject": "rejected"}


@dataclass(frozen=True)
class Lot(Lines):
    """A lot folded from its entries; ``arrived`` is the line that counts as its arrival, None if there is none."""

    code: str
    arrived: Line | None
    lines: tuple[Line, ...] = ()

    @cached_property
    def facts(self) -> Arrived | None:
        """The facts of its arrival; None if none was entered, or it was undone."""
        return None if self.arrived is None else body_as(Arrived, self.arrived.body)

    @cached_property
    def state(self) -> str:
        """Its state: unchecked, checked, accepted, held, rejected or closed."""
        if self.of("closed"):
            return "closed"
        decisions = [_STATES.get(line.body["decision"]) for line in self.of("decided")]
        decided = [state for state in decisions if state is not None]
        if decided:
            return decided[-1]
        return "checked" if self.of("checked") else "unchecked"

    @cached_property
    def measured(self) -> Checked | None:
        """The newest value of each measured figure; None while nothing was measured."""
        newest = {name: value for line in self.of("checked") for name, value in line.body.items()}
        return body_as(Checked, newest) if newest else None


def fold_lot(entries: Iterable[Entry], code: str) -> Lot:
    """Fold entries into a lot; the first arrival counts, and further ones are flagged as doubled."""
    arrived, lines = with_first(entries, "arrived")
    return Lot(code, arrived, lines)
