"""A lot of green coffee: its facts, and each line with its flags."""

from collections.abc import Iterable
from dataclasses import dataclass

from roastlog.journal.entries import Entry
from roastlog.journal.fold.lines import Line, Lines, body_as, flagged, lines_of
from roastlog.journal.kinds.green import Arrived


@dataclass(frozen=True)
class Lot(Lines):
    """A lot folded from its entries; ``facts`` is None if no arrival was entered, or it was undone."""

    code: str
    facts: Arrived | None
    lines: tuple[Line, ...] = ()

    @property
    def arrived(self) -> Line | None:
        """The entry that counts as its arrival; corrections of the lot amend this entry."""
        return next((line for line in self.lines if line.kind == "arrived" and not line.undone), None)


def fold_lot(entries: Iterable[Entry], code: str) -> Lot:
    """Fold entries into a lot; the first arrival counts, and further ones are flagged as doubled."""
    lines = lines_of(entries)
    first = next((line for line in lines if line.kind == "arrived" and not line.undone), None)
    checked = [
        flagged(line, "doubled") if line.kind == "arrived" and not line.undone and line is not first else line
        for line in lines
    ]
    return Lot(code, None if first is None else body_as(Arrived, first.body), tuple(checked))
