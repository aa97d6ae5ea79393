"""Recalls and drills: the bags concerned, who has them, and how much is accounted for."""

import secrets
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final
from uuid import uuid4

from roastlog.clock import Clock
from roastlog.errors import EntryRefused, NoSuchCode
from roastlog.journal.fold import Account, Line, Recall, fold_recall
from roastlog.journal.fold.movements import DIFFERENCE, DRUM, GREEN, OVERFILL, PACKED, ROASTED
from roastlog.journal.phrases import grams as grams_text
from roastlog.journal.subject import RECALL, Subject
from roastlog.label.notice import Notice, notice_pdf
from roastlog.languages import _, date
from roastlog.recording.entry_service import EntryService, Speaker
from roastlog.services.settings import SettingsService
from roastlog.services.trace import TraceService
from roastlog.store import journal as stored
from roastlog.store import ledger, stocks
from roastlog.store.store import Store

DRILL_EVERY_MS: Final = 183 * 86_400_000  # half a year: common practice of food businesses
RECENT_PACKS: Final = 500


@dataclass(frozen=True)
class AffectedPack:
    """Bags of a pack: those packed, on the shelf, and missing from the books. Grams for what is not whole bags. [g]"""

    code: str
    title: str | None
    bag_g: int
    best_before: str | None
    packed: int
    on_shelf: int
    sold: int
    missing_g: int


@dataclass(frozen=True)
class Holder:
    """A customer with bags of affected packs. ``bags`` has their number by pack."""

    customer: str
    name: str | None
    contact: str | None
    business: bool
    bags: Mapping[str, int]
    grams: int
    reached: Line | None


@dataclass(frozen=True)
class RecallRow:
    """A recall in a list. [ms UTC]"""

    id: str
    codes: str
    cause: str
    drill: bool
    started_ms: int
    finished_ms: int | None


@dataclass(frozen=True)
class RecallDetail:
    """A recall with all that it concerns.

    Attributes
    ----------
    batches
        Codes of the batches concerned.
    packs, holders
        The bags, and who has them; those to be reached first are first.
    loose
        Grams that are not packed, by the word for the place and the name: green, in the drum, loose. [g]
    """

    id: str
    codes: Sequence[str]
    cause: str
    drill: bool
    started_ms: int
    finished_ms: int | None
    note: str | None
    batches: Sequence[str]
    packs: Sequence[AffectedPack]
    holders: Sequence[Holder]
    loose: Mapping[tuple[str, str], int]

    @property
    def bags(self) -> int:
        """All bags that were packed."""
        return sum(pack.packed for pack in self.packs)

    @property
    def bags_out(self) -> int:
        """Bags that customers have."""
        return sum(pack.sold for pack in self.packs)

    @property
    def in_bags_g(self) -> int:
        """Grams that were packed, by the nominal weight of the bags. [g]"""
        return sum(pack.packed * pack.bag_g for pack in self.packs)

    @property
    def missing_g(self) -> int:
        """Grams in bags of which it is not known where they are. [g]"""
        return sum(pack.missing_g for pack in self.packs)

    @property
    def accounted_g(self) -> int:
        """Grams in bags of which it is known where they are. [g]"""
        return self.in_bags_g - self.missing_g

    @property
    def reached(self) -> int:
        """Customers that were reached."""
        return sum(holder.reached is not None for holder in self.holders)


class RecallService:
    """Starts, shows and closes recalls."""

    def __init__(
        self, store: Store, clock: Clock, entries: EntryService, *, trace: TraceService, settings: SettingsService
    ) -> None:
        self._store, self._clock, self._entries = store, clock, entries
        self._trace, self._settings = trace, settings

    def all(self) -> list[RecallRow]:
        """All recalls and drills, newest first."""
        return [RecallRow(*row) for row in stocks.recalls(self._store.read)]

    def drill_is_due(self) -> bool:
        """Whether bags were sold and no drill was finished within half a year."""
        finished = [row.finished_ms for row in self.all() if row.finished_ms is not None]
        since_ms = max(finished, default=stocks.first_sale_ms(self._store.read))
        return since_ms is not None and self._clock.now_ms() - since_ms > DRILL_EVERY_MS

    def start(self, codes: Iterable[str], cause: str, speaker: Speaker, *, drill: bool = False) -> str:
        """Start a recall of all that came from some codes; returns its id.

        Raises
        ------
        NoSuchCode
            If nothing has one of the codes.
        EntryRefused
            If the cause is missing.
        """
        known = [self._trace.find(code).name for code in codes]
        if not known:
            raise NoSuchCode(_("Name at least one lot, batch, blend or pack."))
        ident = uuid4().hex[:12]
        body = {"codes": known, "cause": cause, "drill": drill}
        self._entries.say(Subject(RECALL, ident), "recalled", body, speaker)
        return ident

    def start_drill(self, speaker: Speaker) -> str:
        """Start a drill with a random one of the packs that were sold last; raises EntryRefused without one."""
        packs = stocks.sold_packs(self._store.read, RECENT_PACKS)
        if not packs:
            raise EntryRefused(_("A drill needs bags that were sold; none are yet."))
        pack = secrets.choice(packs)
        return self.start([pack], _("Drill: a bag of {pack} was brought back", pack=pack), speaker, drill=True)

    def reach(self, ident: str, customer: str, how: str, speaker: Speaker) -> None:
        """Say that a customer knows of it."""
        self._fold(ident)
        self._entries.say(Subject(RECALL, ident), "reached", {"customer": customer, "how": how}, speaker)

    def take_back(self, ident: str, entry: str, speaker: Speaker) -> None:
        """Undo one of its entries."""
        self._fold(ident)
        self._entries.say(Subject(RECALL, ident), "undo", {"entry": entry}, speaker)

    def finish(self, ident: str, note: str | None, speaker: Speaker) -> None:
        """Close it."""
        if self._fold(ident).finished_ms is None:
            body = {} if note is None else {"note": note}
            self._entries.say(Subject(RECALL, ident), "finished", body, speaker)

    def detail(self, ident: str) -> RecallDetail:
        """A recall with the bags concerned and who has them, as the ledger has it now; raises NoSuchCode."""
        recall = self._fold(ident)
        assert recall.facts is not None  # noqa: S101 - `_fold` refuses one without
        assert recall.recalled is not None  # noqa: S101 - the same
        concerned = self._trace.affected(self._trace.find(code) for code in recall.facts.codes)
        codes = sorted(node.name for node in concerned if node.kind == PACKED)
        with_customers = ledger.with_customers(self._store.read, codes)
        packs = self._packs(codes, with_customers)
        finished = recall.last("finished")
        return RecallDetail(
            id=ident,
            codes=recall.facts.codes,
            cause=recall.facts.cause,
            drill=recall.facts.drill,
            started_ms=recall.recalled.at_ms,
            finished_ms=recall.finished_ms,
            note=None if finished is None else finished.body.get("note"),
            batches=sorted(node.name for node in concerned if node.kind == ROASTED),
            packs=packs,
            holders=self._holders({pack.code: pack.bag_g for pack in packs}, with_customers, recall),
            loose=self._loose(concerned),
        )

    def notice(self, ident: str) -> bytes:
        """The notice to its customers, as a PDF."""
        recall = self.detail(ident)
        started = datetime.fromtimestamp(recall.started_ms / 1000, UTC).astimezone()
        notice = Notice(
            business=self._settings.current().business,
            title=_("Please do not use this coffee"),
            day=date(started, f"{started.day} {started:%b %Y}", "medium"),
            cause=recall.cause,
            bags=[_pack_text(pack) for pack in recall.packs],
            asks=[
                _("Do not sell, serve or drink it. Set the bags aside and mark them."),
                _("Tell us how many you have and how many went on, and to whom."),
                _("We collect the bags or tell you how to dispose of them."),
            ],
            drill=recall.drill,
        )
        return notice_pdf(notice)

    def _fold(self, ident: str) -> Recall:
        recall = fold_recall(stored.entries_about(self._store.read, Subject(RECALL, ident)), ident)
        if recall.facts is None:
            raise NoSuchCode(_("There is no such recall."))
        return recall

    def _packs(self, codes: Sequence[str], with_customers: Mapping[tuple[str, str], int]) -> list[AffectedPack]:
        read, accounts = self._store.read, [Account(PACKED, code) for code in codes]
        held_g, titles = ledger.held_g(read, accounts), stocks.titles(read, accounts)
        sold_g, taken_g = dict.fromkeys(codes, 0), dict.fromkeys(codes, 0)
        for (code, _customer), grams in with_customers.items():
            sold_g[code] += grams
        for edge in ledger.reached(read, accounts):
            if edge.source.kind == PACKED and not edge.target.name and edge.target not in {DIFFERENCE, OVERFILL}:
                taken_g[edge.source.name] += edge.grams
        found = []
        for code, bag_g, count, best_before in stocks.packs(read, codes):
            account = Account(PACKED, code)
            left_g = held_g.get(account, 0)
            not_found_g = count * bag_g - max(0, left_g) - sold_g[code] - taken_g[code]
            found.append(
                AffectedPack(
                    code=code,
                    title=titles[account].title,
                    bag_g=bag_g,
                    best_before=best_before,
                    packed=count,
                    on_shelf=max(0, left_g) // bag_g,
                    sold=sold_g[code] // bag_g,
                    missing_g=max(0, not_found_g) + max(0, -left_g),  # not found, or sold twice
                )
            )
        return found

    def _holders(
        self, bag_g: Mapping[str, int], with_customers: Mapping[tuple[str, str], int], recall: Recall
    ) -> list[Holder]:
        """Customers with bags; those to be reached first are first."""
        grams: dict[str, dict[str, int]] = {}
        for (pack, customer), held_g in with_customers.items():
            if held_g > 0:
                grams.setdefault(customer, {})[pack] = held_g
        rows = stocks.customers(self._store.read, grams)
        holders = [
            Holder(
                customer=customer,
                name=rows[customer].name if customer in rows else None,
                contact=rows[customer].contact if customer in rows else None,
                business=rows[customer].business if customer in rows else True,
                bags={pack: held_g // bag_g.get(pack, held_g) for pack, held_g in held.items()},  # an undone pack: one
                grams=sum(held.values()),
                reached=recall.reached.get(customer),
            )
            for customer, held in grams.items()
        ]
        return sorted(holders, key=lambda holder: (holder.reached is not None, -holder.grams, holder.customer))

    def _loose(self, concerned: Collection[Account]) -> dict[tuple[str, str], int]:
        """Coffee that is there and not in bags, by kind of account and name. [g]"""
        names = [node for node in concerned if node.kind in {GREEN, ROASTED}]
        asked = [*names, *(Account(DRUM, node.name) for node in names if node.kind == ROASTED)]
        held_g = ledger.held_g(self._store.read, asked)
        return {(account.kind, account.name): grams for account, grams in sorted(held_g.items()) if grams > 0}


def _pack_text(pack: AffectedPack) -> str:
    """A pack as the notice names it."""
    parts = [pack.title or "", f"L{pack.code}", grams_text(pack.bag_g)]
    if pack.best_before:
        parts.append(_("best before {date}", date=pack.best_before))
    return " · ".join(part for part in parts if part)
