"""A recall, or the drill of one."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from roastlog.journal.entries import Entry
from roastlog.journal.fold.lines import Line, Lines, body_as, with_first
from roastlog.journal.kinds.recall import Recalled


@dataclass(frozen=True)
class Recall(Lines):
    """A recall folded from its entries; ``recalled`` is the line that started it, None if there is none."""

    id: str
    recalled: Line | None
    lines: tuple[Line, ...] = ()

    @property
    def facts(self) -> Recalled | None:
        """Its cause and what it recalls."""
        return None if self.recalled is None else body_as(Recalled, self.recalled.body)

    @property
    def reached(self) -> Mapping[str, Line]:
        """The customers that were reached, each with the first line that says so."""
        first: dict[str, Line] = {}
        for line in self.of("reached"):
            first.setdefault(line.body["customer"], line)
        return first

    @property
    def finished_ms(self) -> int | None:
        """When it was closed; None while it runs. [ms UTC]"""
        finished = self.last("finished")
        return None if finished is None else finished.at_ms


def fold_recall(entries: Iterable[Entry], ident: str) -> Recall:
    """Fold entries into a recall; the first start counts, and further ones are flagged as doubled."""
    recalled, lines = with_first(entries, "recalled")
    return Recall(ident, recalled, lines)
