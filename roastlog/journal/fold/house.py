"""The house: its settings, and the people who roast in it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from roastlog.journal.entries import Entry
from roastlog.journal.fold.lines import Line, Lines, lines_of
from roastlog.journal.kinds.base import known_part
from roastlog.journal.kinds.house import Set


@dataclass(frozen=True)
class House(Lines):
    """The house folded from its entries: the last value of each setting that was ever set."""

    settings: Mapping[str, Any]
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True)
class Person(Lines):
    """Someone who roasts. The names are None if they were never given, or were erased."""

    id: str
    name: str | None
    shown: str | None
    lines: tuple[Line, ...] = ()

    @property
    def erased(self) -> bool:
        """Whether the person's names were erased."""
        return any(line.kind == "named" and "name" not in line.body for line in self.lines)


def fold_house(entries: Iterable[Entry]) -> House:
    """Fold entries into the house."""
    lines = lines_of(entries)
    settings: dict[str, Any] = {}
    for line in lines:
        if line.kind == "set" and not line.undone:
            settings |= known_part(Set, line.body)
    return House(settings, tuple(lines))


def fold_person(entries: Iterable[Entry], ident: str) -> Person:
    """Fold entries into a person, with the names given last."""
    lines = lines_of(entries)
    named = [line.body for line in lines if line.kind == "named" and not line.undone and "name" in line.body]
    last = named[-1] if named else {}
    return Person(ident, last.get("name"), last.get("shown"), tuple(lines))
