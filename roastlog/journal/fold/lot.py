"""A lot of green coffee: what is known of it, and each line with its flags."""

from collections.abc import Iterable
from dataclasses import dataclass

from roastlog.journal.entries import Entry
from roastlog.journal.fold.lines import Line, Lines, body_as, flagged, lines_of
from roastlog.journal.kinds.green import Arrived


@dataclass(frozen=True)
class Lot(Lines):
    """A lot as its entries tell it; without ``facts`` it never came in, or that was taken back."""

    code: str
    facts: Arrived | None
    lines: tuple[Line, ...] = ()

    @property
    def arrived(self) -> Line | None:
        """The entry that counts as its arrival; a correction of the lot is one of this entry."""
        return next((line for line in self.lines if line.kind == "arrived" and not line.undone), None)


def fold_lot(entries: Iterable[Entry], code: str) -> Lot:
    """The lot that the entries add up to; the first arrival counts, a further one is flagged."""
    lines = lines_of(entries)
    first = next((line for line in lines if line.kind == "arrived" and not line.undone), None)
    told = [
        flagged(line, "doubled") if line.kind == "arrived" and not line.undone and line is not first else line
        for line in lines
    ]
    return Lot(code, None if first is None else body_as(Arrived, first.body), tuple(told))
