"""Products: what is sold, of which coffee, and how it is roasted and packed."""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from roastlog.errors import EntryRefused, NoSuchProduct
from roastlog.journal.fold import Product, fold_product
from roastlog.journal.kinds.roast import GreenPart, Opened, Plan
from roastlog.journal.kinds.sales import Component, Composed
from roastlog.journal.subject import PRODUCT, Subject
from roastlog.journal.wording import tell
from roastlog.languages import _
from roastlog.recording.entry_service import EntryService, Speaker
from roastlog.services.lots import LotService
from roastlog.services.packing import Told
from roastlog.store import journal as stored
from roastlog.store import products as lists
from roastlog.store.store import Database, Store

CLOSED_TO_ROASTING: Final = frozenset({"closed", "held", "rejected"})


@dataclass(frozen=True)
class ProductRow:
    """A product as lists show it."""

    code: str
    facts: Composed

    @property
    def name(self) -> str:
        """Its name."""
        return self.facts.name


@dataclass(frozen=True)
class ProductRecord:
    """A product with its history; ``facts`` is None once its only composition was undone."""

    code: str
    product: Product
    facts: Composed
    log: Sequence[Told]

    @property
    def closed(self) -> bool:
        """Whether it is no longer sold."""
        return self.product.closed


@dataclass(frozen=True)
class Filled:
    """The facts of a batch that a product fills in, and a sentence for each lot that another one stands in for."""

    facts: Opened
    told: Sequence[str]


@dataclass(frozen=True)
class Roastable:
    """A choice on a start page: a product, or a part of one that is blended after the roast."""

    product: str
    part: int | None
    name: str
    under: str

    @property
    def query(self) -> str:
        """The choice as one word of an address."""
        return self.product if self.part is None else f"{self.product}~{self.part}"


class ProductService:
    """Reads and stores products."""

    def __init__(self, store: Store, entries: EntryService, lots: LotService) -> None:
        self._store, self._entries, self._lots = store, entries, lots

    def all(self, *, closed: bool = False) -> list[ProductRow]:
        """Products that are sold, or no longer are, by name."""
        return [ProductRow(code, facts) for code, facts in lists.products(self._store.read, closed=closed)]

    def find(self, code: str | None) -> ProductRow | None:
        """One product; None if unknown."""
        facts = None if code is None else lists.product(self._store.read, code)
        return None if code is None or facts is None else ProductRow(code, facts)

    def of_lot(self, lot: str | None) -> ProductRow | None:
        """The only product that is made of one lot alone; None without one, or with several."""
        found = [row for row in self.all() if lot and [part.lot for part in row.facts.parts] == [lot]]
        return found[0] if len(found) == 1 else None

    def record(self, code: str) -> ProductRecord:
        """A product with its history; raises NoSuchProduct."""
        product = fold_product(stored.entries_about(self._store.read, Subject(PRODUCT, code)), code)
        if product.facts is None:
            raise NoSuchProduct(_("There is no product {code}.", code=code))
        log = [
            Told(
                str(line.id),
                line.kind,
                line.at_ms,
                tell(line, product, {}),
                line.by.person or line.by.device,
                line.undone,
            )
            for line in product.lines
        ]
        return ProductRecord(code, product, product.facts, log)

    def keep(
        self,
        code: str | None,
        facts: Composed,
        speaker: Speaker,
        *,
        ident: UUID | None = None,
        person: str | None = None,
    ) -> str:
        """Store a new product under a code made of its name, or a product as it is now; returns its code.

        Raises
        ------
        EntryRefused
            If a part of it is unknown, or would be made of the product itself.
        """
        self._check(code, facts)

        def about(db: Database) -> Subject:
            return Subject(PRODUCT, code or _new_code(db, facts.name))

        body = facts.model_dump(mode="json", exclude_none=True)
        result = self._entries.say(about, "composed", body, speaker, ident=ident, person=person)
        return Subject.kept(str(result.about)).name

    def close(self, code: str, speaker: Speaker, *, ident: UUID | None = None) -> None:
        """Take a product off the lists; composing it anew brings it back."""
        self._entries.say(Subject(PRODUCT, code), "closed", {}, speaker, ident=ident)

    def roastable(self) -> list[Roastable]:
        """The choices to start a batch from: each product, or each lot of one that is blended after the roast."""
        found = []
        for row in self.all():
            parts = row.facts.parts
            if len(parts) == 1 or row.facts.blended == "green":
                found.append(Roastable(row.code, None, row.name, ""))
                continue
            for number, part in enumerate(parts):
                if part.lot is not None:
                    lot = self._lots.find(part.lot)
                    found.append(Roastable(row.code, number, row.name, part.lot if lot is None else lot.coffee))
        return found

    def filled(self, query: str) -> Filled:
        """The facts of a batch of a product, or of one part of it, with lots in place of those that ran out.

        Raises
        ------
        NoSuchProduct
            If it is unknown.
        """
        code, _sign, number = query.partition("~")
        row = self.find(code)
        if row is None:
            raise NoSuchProduct(_("There is no product {code}.", code=code))
        facts, told = row.facts, list[str]()
        parts = facts.parts
        if number.isdigit() and int(number) < len(parts):
            parts = [parts[int(number)].model_copy(update={"share": 1.0})]
        while len(parts) == 1 and parts[0].product is not None and (inner := self.find(parts[0].product)) is not None:
            parts = inner.facts.parts
        lots = [(self._in_stock(part, told), part.share) for part in parts if part.lot is not None]
        ratio = facts.development_ratio
        opened = Opened(
            product=code,
            lot=lots[0][0] if len(lots) == 1 else None,
            parts=[GreenPart(lot=lot, share=share) for lot, share in lots] if len(parts) == len(lots) > 1 else None,
            coffee=facts.name[:80] if len(lots) != 1 else None,
            intent=facts.intent,
            plan=None if ratio is None else Plan(development_ratio=ratio),
            guide=facts.guide,
        )
        return Filled(opened, told)

    def _in_stock(self, part: Component, told: list[str]) -> str:
        """The lot of a part, or the first of its substitutes that is in stock where that lot is not."""
        wanted = str(part.lot)
        if self._is_in_stock(wanted):
            return wanted
        instead = next((lot for lot in part.instead if self._is_in_stock(lot)), None)
        if instead is None:
            told.append(_("Lot {lot} is used up, and no other lot is named for it.", lot=wanted))
            return wanted
        told.append(_("Lot {lot} is used up: {instead} stands in for it.", lot=wanted, instead=instead))
        return instead

    def _is_in_stock(self, code: str) -> bool:
        lot = self._lots.find(code)
        return lot is not None and lot.left_g > 0 and lot.state not in CLOSED_TO_ROASTING

    def _check(self, code: str | None, facts: Composed) -> None:
        for part in facts.parts:
            for lot in part.lots:
                if self._lots.find(lot) is None:
                    raise EntryRefused(_("There is no lot {code}.", code=lot))
            if part.product is None:
                continue
            if self.find(part.product) is None:
                raise EntryRefused(_("There is no product {code}.", code=part.product))
            if code is not None and code in self._made_of(part.product):
                raise EntryRefused(_("A product cannot be made of itself."))

    def _made_of(self, code: str) -> set[str]:
        """A product and all products in it."""
        found, waiting = {code}, [code]
        while waiting:
            row = self.find(waiting.pop())
            new = {part.product for part in row.facts.parts if part.product} - found if row else set()
            found |= new
            waiting += new
        return found


def _new_code(db: Database, name: str) -> str:
    """A code from a name: its letters and digits in lower case, and a number where that is taken."""
    plain = unicodedata.normalize("NFKD", name.replace("ß", "ss")).encode("ascii", "ignore").decode().lower()
    word = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60] or "product"
    taken = set(stored.names(db.conn, PRODUCT, word))
    if word not in taken:
        return word
    return next(code for number in range(2, 10_000) if (code := f"{word}-{number}") not in taken)
