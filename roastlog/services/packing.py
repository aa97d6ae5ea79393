"""Packing and blending: what is left of a batch or a blend, the bags that it fills, and packs with their history."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, Final
from uuid import UUID

from roastlog.errors import EntryRefused, NoSuchCode, NotACode
from roastlog.journal.fold import Account, Batch, Blend, Line, Lines, Pack, fold_blend, fold_pack
from roastlog.journal.fold.movements import PACKED, ROASTED
from roastlog.journal.subject import BATCH, BLEND, PACK, Subject
from roastlog.journal.wording import tell
from roastlog.languages import _
from roastlog.quality.check_weights import CheckWeights
from roastlog.recording import packing
from roastlog.recording.entry_service import EntryService, Result, Speaker
from roastlog.services.batches import BatchService
from roastlog.services.settings import SettingsService
from roastlog.store import journal as stored
from roastlog.store import ledger, products, roasted
from roastlog.store.batches import BatchSummary
from roastlog.store.roasted import PackRow
from roastlog.store.store import Store
from roastlog.trace.codes import parse_pack

PACKS_A_PAGE: Final = 50


@dataclass(frozen=True)
class Source:
    """A batch or a blend as it is packed. [g], [ms UTC]

    Attributes
    ----------
    code, title, product
        Its code, its name, and the product that it is for, if known.
    left_g
        Loose coffee left; below 0 where more was taken than weighed out.
    whole_g
        All that there was of it.
    roasted_ms
        Drop of its oldest batch; None if it was not dropped.
    batches
        The batches in it.
    refusals
        A sentence for each of them that must not be packed.
    """

    code: str
    title: str
    product: str | None
    is_blend: bool
    state: str | None
    left_g: int
    whole_g: int
    roasted_ms: int | None
    batches: Sequence[BatchSummary]
    refusals: Mapping[str, str] = field(default_factory=dict)

    @property
    def held(self) -> bool:
        """Whether a batch of it is held or rejected, allowed to be packed or not."""
        return any(batch.state in {"held", "rejected"} for batch in self.batches)


@dataclass(frozen=True)
class Filling:
    """Bags to be filled. ``left_g`` is the coffee that the scale shows left over, if it was weighed. [g]"""

    source: Source
    bag_g: int
    count: int
    weights_g: Sequence[float] = ()
    left_g: float | None = None

    @property
    def checked(self) -> CheckWeights | None:
        """The check weights; None without any."""
        return CheckWeights(self.weights_g, self.bag_g) if self.weights_g else None

    @property
    def used_g(self) -> int:
        """Coffee that goes into the bags: by what is left over, else by the check weights, else by the size. [g]"""
        if self.left_g is not None:
            return round(self.source.left_g - self.left_g)
        return round(self.count * (self.bag_g if self.checked is None else self.checked.mean_g))

    @property
    def stays_g(self) -> int:
        """Loose coffee that is left then; below 0 where there is not enough. [g]"""
        return self.source.left_g - self.used_g

    @property
    def give_away_g(self) -> int:
        """Coffee above the nominal weight of all bags. [g]"""
        return self.used_g - self.count * self.bag_g


@dataclass(frozen=True)
class Told:
    """A line of the journal of a pack or blend in words. [ms UTC]"""

    entry: str
    kind: str
    at_ms: int
    text: str
    by: str | None
    undone: bool


@dataclass(frozen=True)
class PackRecord:
    """A pack with its sources and its history."""

    row: PackRow
    pack: Pack
    title: str
    sources: Sequence[Source]
    log: Sequence[Told]

    @property
    def checked(self) -> CheckWeights | None:
        """Its check weights; None without any."""
        weights_g = None if self.pack.facts is None else self.pack.facts.weights_g
        return CheckWeights(weights_g, self.row.bag_g) if weights_g else None


@dataclass(frozen=True)
class BlendRecord:
    """A blend with its history."""

    blend: Blend
    source: Source
    log: Sequence[Told]


@dataclass(frozen=True)
class PackPage:
    """One page of the list of packs."""

    items: list[PackRow]
    page: int
    pages: int
    total: int


class PackingService:
    """Packs and blends loose coffee, and reads what came of it."""

    def __init__(self, store: Store, entries: EntryService, batches: BatchService, settings: SettingsService) -> None:
        self._store, self._entries, self._batches, self._settings = store, entries, batches, settings

    def source(self, text: str) -> Source:
        """A batch or a blend by its code as typed; raises NoSuchCode with what is wrong."""
        try:
            code = packing.source_named(self._store.read, text)
        except EntryRefused as error:
            raise NoSuchCode(error.args[0]) from None
        read = self._store.read
        batches = [self._batches.summary(found) for found in packing.batches_in(read, code)]
        refusals = {str(batch.code): packing.refusal(batch) for batch in packing.refusing(read, code, self._folded)}
        dropped = [batch.dropped_ms for batch in batches if batch.dropped_ms is not None]
        blend = roasted.blend(read, code)
        product = batches[0].product if blend is None else blend.product
        loose = Account(ROASTED, code)
        moved = ledger.movements(read, loose)
        return Source(
            code=code,
            title=self._title(product) or (batches[0].title if blend is None else _("Blend")),
            product=product,
            is_blend=blend is not None,
            state=batches[0].state if blend is None else None,
            left_g=ledger.balance_g(read, loose),
            whole_g=sum(one.grams for one in moved if one.target == loose and one.source.name),
            roasted_ms=min(dropped, default=None),
            batches=batches,
            refusals=refusals,
        )

    def best_before(self, product: str | None, packaging: str | None, source: Source) -> tuple[date | None, str]:
        """The date for a packaging, counted from the roast, and the rule that gives it with its reason, in words."""
        if source.roasted_ms is None:
            return None, ""
        roasted_on = datetime.fromtimestamp(source.roasted_ms / 1000).astimezone().date()
        facts = None if product is None else products.product(self._store.read, product)
        for rule in () if facts is None else facts.packagings:
            if rule.best_before_days and (packaging is None or rule.name.casefold() == packaging.casefold()):
                told = _("{days} days in {packaging}", days=rule.best_before_days, packaging=rule.name)
                return roasted_on + timedelta(days=rule.best_before_days), ": ".join(filter(None, (told, rule.reason)))
        days = self._settings.current().best_before_days
        if not days:
            return None, ""
        return roasted_on + timedelta(days=days), _("{days} days after roasting, as set for all coffee", days=days)

    def pack(
        self,
        filling: Filling,
        *,
        product: str | None,
        packaging: str | None,
        speaker: Speaker,
        ident: UUID | None = None,
        person: str | None = None,
    ) -> Result:
        """Store a packing under the next code of its source; raises EntryRefused."""
        date_, rule = self.best_before(product, packaging, filling.source)
        body = {
            "parts": [{"batch": filling.source.code, "grams": filling.used_g}],
            "bag_g": filling.bag_g,
            "count": filling.count,
            "product": product,
            "packaging": packaging,
            "best_before": None if date_ is None else date_.isoformat(),
            "best_before_rule": str(rule)[:200] or None,
            "weights_g": list(filling.weights_g) or None,
        }
        code = filling.source.code
        return self._entries.say(
            lambda db: Subject(PACK, roasted.next_pack(db.conn, code)),
            "packed",
            _given(body),
            speaker,
            ident=ident,
            person=person,
        )

    def blend(
        self,
        parts: Mapping[str, int],
        *,
        product: str | None,
        at_ms: int,
        speaker: Speaker,
        ident: UUID | None = None,
        person: str | None = None,
    ) -> Result:
        """Store a blend of grams of several batches or blends under the next code of its day; raises EntryRefused."""
        body = {"parts": [{"batch": code, "grams": grams} for code, grams in parts.items()], "product": product}
        return self._entries.say(
            lambda db: Subject(BLEND, roasted.next_blend(db.conn, at_ms)),
            "blended",
            _given(body),
            speaker,
            ident=ident,
            person=person,
        )

    def undo(self, subject: Subject, entry: str, speaker: Speaker, *, ident: UUID, person: str | None = None) -> None:
        """Undo an entry of a pack or a blend; raises EntryRefused."""
        self._entries.say(subject, "undo", {"entry": entry}, speaker, ident=ident, person=person)

    def allow(self, code: str, reason: str, speaker: Speaker, *, ident: UUID, person: str | None = None) -> None:
        """Allow bags of a batch that is held or rejected, for a reason; raises EntryRefused."""
        self._entries.say(
            Subject(BATCH, code), "labels_allowed", {"reason": reason}, speaker, ident=ident, person=person
        )

    def record(self, text: str) -> PackRecord:
        """A pack by its code as typed; raises NoSuchCode or MistypedCode."""
        code = self._pack_named(text)
        pack = fold_pack(stored.entries_about(self._store.read, Subject(PACK, code)), code)
        row = roasted.pack(self._store.read, code)
        if row is None:
            raise NoSuchCode(
                _("The packing {code} was undone.", code=code)
                if pack.lines
                else _("No pack has the code {code}. Check it on the label.", code=code)
            )
        sources = [self.source(part) for part in pack.sources]
        title = self._title(row.product) or sources[0].title
        return PackRecord(row, pack, title, sources, _log(pack))

    def blend_record(self, text: str) -> BlendRecord:
        """A blend by its code as typed; raises NoSuchCode."""
        source = self.source(text)
        if not source.is_blend:
            raise NoSuchCode(_("{code} is no blend.", code=source.code))
        blend = fold_blend(stored.entries_about(self._store.read, Subject(BLEND, source.code)), source.code)
        return BlendRecord(blend, source, _log(blend))

    def packs_of(self, source: str) -> list[PackRow]:
        """The packs that were filled from a batch or blend first of all."""
        return roasted.packs_of(self._store.read, source)

    def became(self, code: str) -> dict[str, int]:
        """Grams that left the loose coffee of a batch, by the name of a pack or blend, or by a word such as sample."""
        loose = Account(ROASTED, code)
        gone: dict[str, int] = {}
        for one in ledger.movements(self._store.read, loose):
            if one.source == loose:
                name = one.target.name or one.target.kind
                gone[name] = gone.get(name, 0) + one.grams
        return gone

    def left_g(self, code: str) -> int:
        """Loose coffee left of a batch or blend. [g]"""
        return ledger.balance_g(self._store.read, Account(ROASTED, code))

    def bags_left(self, row: PackRow) -> int:
        """Bags in stock of a pack."""
        return round(ledger.balance_g(self._store.read, Account(PACKED, row.code)) / row.bag_g)

    def page(self, page: int = 1, *, size: int = PACKS_A_PAGE, query: str = "", product: str = "") -> PackPage:
        """A page of packs, newest first."""
        found = roasted.page_of_packs(self._store.read, page=page, size=size, query=query, product=product)
        return PackPage(*found)

    def _folded(self, code: str) -> Batch:
        return self._batches.folded(code)

    def _title(self, product: str | None) -> str | None:
        facts = None if product is None else products.product(self._store.read, product)
        return product if facts is None else facts.name

    def _pack_named(self, text: str) -> str:
        if roasted.pack(self._store.read, text.strip()) is not None:
            return text.strip()
        try:
            return parse_pack(text)
        except NotACode as error:
            raise NoSuchCode(error.args[0]) from None


def fill(left_g: float, bag_g: float) -> int:
    """Whole bags that so much coffee fills."""
    return max(0, math.floor(left_g / bag_g + 1e-9))


def _given(body: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in body.items() if value is not None}


def _log(subject: Lines) -> list[Told]:
    return [_told(line, subject) for line in subject.lines]


def _told(line: Line, subject: Lines) -> Told:
    return Told(
        str(line.id), line.kind, line.at_ms, tell(line, subject, {}), line.by.person or line.by.device, line.undone
    )
