"""Products, customers and their orders."""

from collections.abc import Iterable
from dataclasses import dataclass

from roastlog.journal.entries import Entry
from roastlog.journal.fold.lines import Line, Lines, body_as, lines_of
from roastlog.journal.kinds.sales import Composed, Ordered


@dataclass(frozen=True)
class Product(Lines):
    """A product folded from its entries: as it was composed last."""

    code: str
    lines: tuple[Line, ...] = ()

    @property
    def facts(self) -> Composed | None:
        """Its coffee, target and packing; None if it was never composed."""
        composed = self.last("composed")
        return None if composed is None else body_as(Composed, composed.body)

    @property
    def closed(self) -> bool:
        """Whether it is no longer sold."""
        closed, composed = self.last("closed"), self.last("composed")
        return closed is not None and (composed is None or composed.at_ms <= closed.at_ms)


@dataclass(frozen=True)
class Customer(Lines):
    """A customer. The name is None if it was never given, or was erased."""

    id: str
    name: str | None
    contact: str | None
    business: bool = True
    lines: tuple[Line, ...] = ()

    @property
    def erased(self) -> bool:
        """Whether the name was erased."""
        return any(line.kind == "listed" and "name" not in line.body for line in self.lines)


@dataclass(frozen=True)
class Order(Lines):
    """An order folded from its entries: as it was placed last."""

    code: str
    lines: tuple[Line, ...] = ()

    @property
    def facts(self) -> Ordered | None:
        """The customer, the bags and the date; None if it was never placed."""
        ordered = self.last("ordered")
        return None if ordered is None else body_as(Ordered, ordered.body)

    @property
    def cancelled(self) -> bool:
        """Whether it is off."""
        return bool(self.of("cancelled"))


def fold_product(entries: Iterable[Entry], code: str) -> Product:
    """Fold entries into a product."""
    return Product(code, tuple(lines_of(entries)))


def fold_order(entries: Iterable[Entry], code: str) -> Order:
    """Fold entries into an order."""
    return Order(code, tuple(lines_of(entries)))


def fold_customer(entries: Iterable[Entry], ident: str) -> Customer:
    """Fold entries into a customer, with the name given last."""
    lines = lines_of(entries)
    listed = [line.body for line in lines if line.kind == "listed" and not line.undone]
    named = [body for body in listed if "name" in body]
    last = named[-1] if named else {}
    business = bool(listed[-1].get("business", True)) if listed else True
    return Customer(ident, last.get("name"), last.get("contact"), business, tuple(lines))
