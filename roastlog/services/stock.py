"""Roasted coffee in stock: loose and in packs, with what to mend first. Only stocks that are not 0 are read."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from roastlog.journal.subject import BATCH, BLEND, PACK, Subject
from roastlog.journal.vocabulary import TakenFor
from roastlog.languages import _, ngettext
from roastlog.recording.entry_service import EntryService, Result, Speaker
from roastlog.store import products, roasted
from roastlog.store.roasted import Loose, PackRow
from roastlog.store.store import Store

MOST: Final = 200
"""Most rows of a list on the page: the oldest first."""
WHYS: Final[tuple[TakenFor, ...]] = ("sample", "waste", "gift")


@dataclass(frozen=True)
class Short:
    """A stock below 0, and what to do about it, in a sentence."""

    subject: Subject
    title: str
    sentence: str


@dataclass(frozen=True)
class ProductSum:
    """The stock of a product; ``name`` is None for coffee of no product. [g]"""

    code: str | None
    name: str | None
    loose_g: int
    packed_g: int


@dataclass(frozen=True)
class Stock:
    """The contents of the page Stock."""

    short: Sequence[Short]
    loose: Sequence[Loose]
    packs: Sequence[PackRow]
    sums: Sequence[ProductSum]
    names: Mapping[str, str]

    @property
    def loose_g(self) -> int:
        """All loose coffee. [g]"""
        return sum(one.loose_g for one in self.sums)

    @property
    def packed_g(self) -> int:
        """All coffee in bags. [g]"""
        return sum(one.packed_g for one in self.sums)


class StockService:
    """Reads stocks, counts them, and takes from them."""

    def __init__(self, store: Store, entries: EntryService) -> None:
        self._store, self._entries = store, entries

    def overview(self) -> Stock:
        """All that is in stock."""
        read = self._store.read
        names = {code: facts.name for was in (False, True) for code, facts in products.products(read, closed=was)}
        sums = [
            ProductSum(code, names.get(code or "", code), loose_g, packed_g)
            for code, loose_g, packed_g in roasted.by_product(read)
        ]
        return Stock(self.short(), roasted.loose(read, limit=MOST), roasted.packs(read, limit=MOST), sums, names)

    def short(self) -> list[Short]:
        """Stocks below 0, the oldest first."""
        read = self._store.read
        loose = [_short_loose(row) for row in roasted.loose(read, short=True, limit=MOST)]
        return [*loose, *(_short_pack(row) for row in roasted.packs(read, short=True, limit=MOST))]

    def say(
        self,
        subject: Subject,
        kind: str,
        body: Mapping[str, Any],
        speaker: Speaker,
        *,
        ident: UUID | None = None,
        person: str | None = None,
    ) -> Result:
        """Store a count, or what was taken; raises EntryRefused."""
        return self._entries.say(subject, kind, body, speaker, ident=ident, person=person)


def _short_loose(row: Loose) -> Short:
    subject = Subject(BLEND if row.is_blend else BATCH, row.code)
    grams = f"{-row.grams:,}\u202fg".replace(",", "\u202f")
    if row.state in {"cooling", "roasting", "open"}:
        told = _("{mass} packed before it was weighed out: weigh it.", mass=grams)
    elif row.is_blend:
        told = _("{mass} more packed or taken than was blended: count it, or correct the blend.", mass=grams)
    else:
        told = _("{mass} more packed or taken than was weighed out: count it, or correct the weight.", mass=grams)
    return Short(subject, row.coffee or row.code, told)


def _short_pack(row: PackRow) -> Short:
    bags = -row.bags_left
    told = ngettext(
        "{count} bag more sold or taken than was packed: count it, or correct the packing.",
        "{count} bags more sold or taken than were packed: count them, or correct the packing.",
        bags,
        count=bags,
    )
    return Short(Subject(PACK, row.code), row.code, told)
