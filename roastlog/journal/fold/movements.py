"""Movements of coffee between accounts, in whole grams, as the folds of subjects give them.

Nothing is made or lost but by a movement, so the balances of all accounts always add up to zero. A count is no movement
yet: it states what an account held at a time, and `roastlog.trace.ledger` finds the difference to the books.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple, Self
from uuid import UUID

from roastlog.journal.fold.batch import Batch
from roastlog.journal.fold.lines import Line, Lines
from roastlog.journal.fold.lot import Lot
from roastlog.journal.fold.packing import Blend, Pack
from roastlog.journal.kinds.roast import Opened


class Account(NamedTuple):
    """A place where coffee can be: a word for its kind, and the name of a lot, batch, blend, pack or customer."""

    kind: str
    name: str = ""

    @classmethod
    def parse(cls, text: str) -> Self:
        """The account as `str` writes it."""
        kind, _space, name = text.strip().partition(" ")
        return cls(kind, name.strip())

    def __str__(self) -> str:
        """The account as the ledger stores it: “green HU-7”, “loss”."""
        return f"{self.kind} {self.name}" if self.name else self.kind


GREEN, DRUM, ROASTED, PACKED, SOLD = "green", "drum", "roasted", "pack", "customer"
"""Kinds of accounts with a name: green of a lot, a batch in the drum, loose roasted coffee of a batch or a blend."""
SUPPLIER: Final = Account("supplier")
LOSS: Final = Account("loss")
WASTE: Final = Account("waste")
OVERFILL: Final = Account("overfill")
"""Coffee in bags above their nominal weight."""
DIFFERENCE: Final = Account("difference")
"""Differences between the books and the scale, as counts found them."""


class Movement(NamedTuple):
    """Grams from one account to another, and the entry that says so. Always more than 0 g."""

    at_ms: int
    entry: UUID
    source: Account
    target: Account
    grams: int


class Count(NamedTuple):
    """The grams that an account held at a time, and the entry that says so."""

    at_ms: int
    entry: UUID
    account: Account
    grams: int


@dataclass(frozen=True)
class Postings:
    """The movements and counts that one subject brings to the ledger."""

    movements: tuple[Movement, ...] = ()
    counts: tuple[Count, ...] = ()


def postings_of(subject: Lines) -> Postings:
    """The movements and counts of a folded subject; none for one that holds no coffee."""
    if isinstance(subject, Batch):
        return Postings(tuple(_of_batch(subject)), _counts(subject, _stock_of(subject)))
    if isinstance(subject, Lot):
        return Postings(tuple(_of_lot(subject)), _counts(subject, _stock_of(subject)))
    if isinstance(subject, Blend):
        return Postings(tuple(_of_blend(subject)), _counts(subject, _stock_of(subject)))
    if isinstance(subject, Pack):
        return Postings(tuple(_of_pack(subject)), _counts(subject, _stock_of(subject), subject.bag_g))
    return Postings()


def moved(line: Line, source: Account, target: Account, grams: int, at_ms: int | None = None) -> Iterator[Movement]:
    """The movement of an entry; none for 0 g or within one account, and the other way round for less than 0."""
    if grams < 0:
        source, target, grams = target, source, -grams
    if grams and source != target:
        yield Movement(line.at_ms if at_ms is None else at_ms, line.id, source, target, grams)


def green_parts(opened: Opened) -> list[tuple[str, int]]:
    """The lots that a batch takes, each with its grams; 0 g where its green weight is unknown."""
    green_g = round(opened.green_g or 0)
    if opened.parts is None:
        return [] if opened.lot is None else [(opened.lot, green_g)]
    whole = shared_out(green_g, [part.share for part in opened.parts])
    return [(part.lot, grams) for part, grams in zip(opened.parts, whole, strict=True)]


def shared_out(grams: int, shares: Sequence[float]) -> list[int]:
    """Whole grams for each share, with nothing left over: the largest remainders are rounded up."""
    total = sum(shares)
    exact = [grams * share / total for share in shares]
    whole = [int(part) for part in exact]
    by_remainder = sorted(range(len(shares)), key=lambda index: whole[index] - exact[index])
    for index in by_remainder[: grams - sum(whole)]:
        whole[index] += 1
    return whole


def _stock_of(subject: Batch | Lot | Blend | Pack) -> Account:
    """The account of what is in stock of a subject."""
    kind = {Lot: GREEN, Batch: ROASTED, Blend: ROASTED, Pack: PACKED}[type(subject)]
    return Account(kind, subject.code or "")


def _of_lot(lot: Lot) -> Iterator[Movement]:
    stock = _stock_of(lot)
    if lot.arrived is not None:
        yield from moved(lot.arrived, SUPPLIER, stock, round(lot.arrived.body["green_g"]))
    yield from _taken(lot, stock)


def _of_batch(batch: Batch) -> Iterator[Movement]:
    if batch.state == "discarded":
        return
    stock, drum = _stock_of(batch), Account(DRUM, batch.code or "")
    green_g = 0 if batch.green_g is None else round(batch.green_g)
    if batch.opened is not None:
        charge = batch.moments.get("charge")
        at_ms = batch.opened.at_ms if charge is None else charge.at_ms
        parts = green_parts(batch.facts) or [("", green_g)]
        for lot, grams in parts:
            yield from moved(batch.opened, Account(GREEN, lot), drum, grams, at_ms)
    weighed = batch.last("weighed")
    if weighed is not None:
        roasted_g, removed_g = round(weighed.body["roasted_g"]), round(weighed.body.get("removed_g") or 0)
        yield from moved(weighed, drum, stock, roasted_g)
        if green_g:
            yield from moved(weighed, drum, LOSS, green_g - roasted_g)
        yield from moved(weighed, stock, WASTE, removed_g)
    yield from _taken(batch, stock)


def _of_blend(blend: Blend) -> Iterator[Movement]:
    stock = _stock_of(blend)
    if blend.blended is not None:
        for part in blend.blended.body["parts"]:
            yield from moved(blend.blended, Account(ROASTED, part["batch"]), stock, part["grams"])
    yield from _taken(blend, stock)


def _of_pack(pack: Pack) -> Iterator[Movement]:
    stock, bag_g = _stock_of(pack), pack.bag_g
    if pack.packed is not None:
        parts = pack.packed.body["parts"]
        for part in parts:
            yield from moved(pack.packed, Account(ROASTED, part["batch"]), stock, part["grams"])
        overfill_g = sum(part["grams"] for part in parts) - pack.packed.body["count"] * bag_g
        yield from moved(pack.packed, stock, OVERFILL, overfill_g)
    for line in pack.lines:
        if line.undone or line.kind not in {"sold", "returned"}:
            continue
        customer, grams = Account(SOLD, line.body["customer"]), line.body["count"] * bag_g
        yield from moved(line, stock, customer, grams if line.kind == "sold" else -grams)
    yield from _taken(pack, stock, bag_g)


def _taken(subject: Lines, stock: Account, bag_g: int = 0) -> Iterator[Movement]:
    for line in subject.of("taken"):
        yield from moved(line, stock, Account(line.body["why"]), _grams(line.body, bag_g))


def _counts(subject: Lines, stock: Account, bag_g: int = 0) -> tuple[Count, ...]:
    return tuple(Count(line.at_ms, line.id, stock, _grams(line.body, bag_g)) for line in subject.of("counted"))


def _grams(body: Mapping[str, Any], bag_g: int) -> int:
    return int(body["bags"]) * bag_g if "bags" in body else round(body["grams"])
