"""Green coffee at the desk: all lots with what they last, the record of one lot, and what is entered about it."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final
from uuid import UUID

from roastlog.clock import Clock
from roastlog.errors import EntryRefused, NoSuchLot
from roastlog.journal.fold import Account, fold_lot
from roastlog.journal.fold import Lot as FoldedLot
from roastlog.journal.fold.movements import DRUM, GREEN
from roastlog.journal.kinds.green import Checked
from roastlog.journal.subject import LOT, Subject
from roastlog.languages import _
from roastlog.quality.green import Finding, all_within, findings
from roastlog.recording.entry_service import EntryService, Result, Speaker
from roastlog.services.lots import Lot, LotService
from roastlog.services.settings import SettingsService
from roastlog.services.subjects import SaidDetail, SubjectService, hidden_fields
from roastlog.store import batches as lists
from roastlog.store import books, ledger
from roastlog.store import journal as stored
from roastlog.store.batches import BatchSummary
from roastlog.store.store import Database, Store
from roastlog.trace.cover import DAY_MS, WINDOW_DAYS, age_months, cover_days, use_first_months, window_days
from roastlog.trace.ledger import history

__all__ = [
    "WINDOW_DAYS",
    "CoffeeCover",
    "GreenHouse",
    "GreenRecord",
    "GreenService",
    "LotLine",
]

NOT_TO_ROAST: Final = frozenset({"held", "rejected", "closed"})


@dataclass(frozen=True)
class LotLine:
    """A lot with its age and its use. ``age_months`` is since its harvest, or if that is unknown since its arrival."""

    lot: Lot
    age_months: float
    since_harvest: bool
    used_g: int
    over_days: float

    @property
    def lasts_days(self) -> float | None:
        """Days that it lasts at its rate of use; None if it is not used."""
        return cover_days(self.lot.left_g, self.used_g, self.over_days)

    @property
    def left_share(self) -> float:
        """The share that is left of what was bought, 0 to 1."""
        return min(1.0, max(0.0, self.lot.left_g / self.lot.bought_g)) if self.lot.bought_g else 0.0

    @property
    def may_be_roasted(self) -> bool:
        """Whether there is some left, and nobody holds it back."""
        return self.lot.left_g > 0 and self.lot.state not in NOT_TO_ROAST

    @property
    def moisture_change(self) -> float | None:
        """Points of moisture gained since the first check; None before a second one differs."""
        first, last = self.lot.first_moisture_percent, self.lot.moisture_percent
        return None if first is None or last is None or first == last else last - first

    @property
    def use_first_months(self) -> float:
        """Its age for the order of use."""
        return use_first_months(self.age_months, self.moisture_change)


@dataclass(frozen=True)
class CoffeeCover:
    """How long a coffee lasts, over all its lots that may be roasted."""

    coffee: str
    left_g: int
    used_g: int
    over_days: float
    lead_days: int

    @property
    def lasts_days(self) -> float | None:
        """Days that it lasts at its rate of use; None if it is not used."""
        return cover_days(self.left_g, self.used_g, self.over_days)

    @property
    def order_now(self) -> bool:
        """Whether an order of today would come when it is used up, or later."""
        return bool(self.used_g) and (self.lasts_days or 0) <= self.lead_days


@dataclass(frozen=True)
class Counts:
    """The last counts of lots: how many, the newest, and the sum of their differences. [ms UTC, g]"""

    lots: int
    newest_ms: int
    difference_g: int


@dataclass(frozen=True)
class GreenHouse:
    """All lots that are not closed, in the order of use, and what follows for the house."""

    lines: Sequence[LotLine]
    closed: Sequence[LotLine]
    covers: Mapping[str, CoffeeCover]
    counts: Counts | None

    @property
    def left_g(self) -> int:
        """Grams of all lots; books that are short of coffee count as none."""
        return sum(max(0, line.lot.left_g) for line in self.lines)

    @property
    def stocked(self) -> int:
        """The number of lots with something left."""
        return sum(line.lot.left_g > 0 for line in self.lines)

    @property
    def to_roast(self) -> Sequence[LotLine]:
        """The lots that may be roasted, the one to use first at the front."""
        return [line for line in self.lines if line.may_be_roasted]

    @property
    def to_order(self) -> Sequence[CoffeeCover]:
        """The coffees to order now, the shortest first."""
        return sorted((one for one in self.covers.values() if one.order_now), key=lambda one: one.lasts_days or 0)


@dataclass(frozen=True)
class StockMovement:
    """Grams into a lot or out of it, the account on the other side, and the balance after it."""

    at_ms: int
    other: Account
    change_g: int
    balance_g: int


@dataclass(frozen=True)
class GreenRecord:
    """One lot with all that follows from its entries; ``line`` is None once its arrival was undone."""

    code: str
    state: str
    line: LotLine | None
    cover: CoffeeCover | None
    use_place: int | None
    of_places: int
    measured: Checked | None
    findings: Sequence[Finding]
    density_place: tuple[int, int] | None
    movements: Sequence[StockMovement]
    batches: Sequence[BatchSummary]
    entries: Sequence[SaidDetail]
    decision: SaidDetail | None
    last_count: tuple[int, int] | None
    files: Sequence[SaidDetail]

    @property
    def all_within(self) -> bool | None:
        """Whether the checks keep all limits; None if that is not known."""
        return all_within(self.findings)


class GreenService:
    """Reads lots for the desk, and stores what is entered about them."""

    def __init__(
        self,
        store: Store,
        clock: Clock,
        entries: EntryService,
        *,
        lots: LotService,
        settings: SettingsService,
        subjects: SubjectService,
    ) -> None:
        self._store, self._clock, self._entries = store, clock, entries
        self._lots, self._settings, self._subjects = lots, settings, subjects

    def house(self) -> GreenHouse:
        """All lots and what follows for the house, by four queries however many lots there are."""
        read, now_ms = self._store.read, self._clock.now_ms()
        used_g = ledger.used_g(read, GREEN, now_ms - WINDOW_DAYS * DAY_MS)
        counted = ledger.last_counts(read, GREEN)
        lots = self._lots.every()
        lines = [self._line(lot, used_g.get(lot.code, 0), now_ms) for lot in lots]
        here = sorted(
            (line for line in lines if line.lot.state != "closed"),
            key=lambda line: (not line.may_be_roasted, -line.use_first_months, line.lot.code),
        )
        closed = sorted((line for line in lines if line.lot.state == "closed"), key=lambda line: -line.lot.arrived_ms)
        counts = [counted[line.lot.code] for line in here if line.lot.code in counted]
        return GreenHouse(
            here,
            closed,
            _covers(lines, self._settings.current().green_lead_days),
            Counts(len(counts), max(at_ms for at_ms, _g in counts), sum(grams for _at, grams in counts))
            if counts
            else None,
        )

    def record(self, code: str, *, confidential: bool) -> GreenRecord:
        """One lot with all its entries; raises NoSuchLot if it has none."""
        read, subject = self._store.read, Subject(LOT, code)
        detail = self._subjects.lot(code, confidential=confidential)
        folded, house = fold_lot(stored.entries_about(read, subject), code), self.house()
        line = next((line for line in (*house.lines, *house.closed) if line.lot.code == code), None)
        if line is not None:
            hidden = hidden_fields(LOT, confidential=confidential)
            line = replace(line, lot=replace(line.lot, **dict.fromkeys(hidden)))  # type: ignore[arg-type]
        codes = [one.lot.code for one in house.to_roast]
        movements = self._movements(code)
        return GreenRecord(
            code=code,
            state=folded.state,
            line=line,
            cover=None if line is None else house.covers.get(line.lot.coffee),
            use_place=codes.index(code) + 1 if code in codes else None,
            of_places=len(codes),
            measured=folded.measured,
            findings=[] if folded.measured is None else findings(folded.measured),
            density_place=_density_place(code, house),
            movements=movements,
            batches=lists.named(read, sorted({one.other.name for one in movements if one.other.kind == DRUM})),
            entries=detail.entries[::-1],
            decision=next((one for one in detail.entries[::-1] if one.kind == "decided" and not one.undone), None),
            last_count=ledger.last_counts(read, GREEN).get(code),
            files=[one for one in detail.entries if one.kind == "filed" and not one.undone],
        )

    def balance_g(self, code: str) -> int:
        """Grams of a lot by the books."""
        return ledger.balance_g(self._store.read, Account(GREEN, code))

    def folded(self, code: str) -> FoldedLot:
        """A lot folded from its entries; raises NoSuchLot if it has no arrival."""
        lot = fold_lot(stored.entries_about(self._store.read, Subject(LOT, code)), code)
        if lot.facts is None:
            raise NoSuchLot(_("There is no lot {code}.", code=code))
        return lot

    def receive(self, code: str, body: Mapping[str, Any], speaker: Speaker, *, ident: UUID, person: str | None) -> None:
        """Enter the arrival of a new lot; raises EntryRefused, also for a code that another lot has."""

        def new(db: Database) -> Subject:
            known = books.lot(db.conn, code)
            if known is not None and stored.known_subject(db.conn, ident) is None:
                raise EntryRefused(
                    _("Lot {code} exists already: {coffee}. Choose another code.", code=code, coffee=known.row.coffee)
                )
            return Subject(LOT, code)

        self._entries.say(new, "arrived", body, speaker, ident=ident, person=person)

    def say(
        self, code: str, kind: str, body: Mapping[str, Any], speaker: Speaker, *, ident: UUID, person: str | None
    ) -> Result:
        """Store an entry about a lot; raises EntryRefused."""
        return self._entries.say(Subject(LOT, code), kind, body, speaker, ident=ident, person=person)

    def today(self) -> date:
        """The day in the house."""
        return _day(self._clock.now_ms())

    def _line(self, lot: Lot, used_g: int, now_ms: int) -> LotLine:
        today, harvested = _day(now_ms), _harvest_end(lot.harvested)
        since = harvested or _arrival(lot)
        present_days = max((today - _arrival(lot)).days, (now_ms - lot.arrived_ms) / DAY_MS)
        return LotLine(lot, age_months(since, today), harvested is not None, used_g, window_days(present_days))

    def _movements(self, code: str) -> list[StockMovement]:
        """Movements of a lot, newest first."""
        account = Account(GREEN, code)
        rows = history(account, ledger.movements(self._store.read, account))
        return [
            StockMovement(
                one.at_ms,
                one.target if one.source == account else one.source,
                -one.grams if one.source == account else one.grams,
                balance_g,
            )
            for one, balance_g in reversed(rows)
        ]


def _covers(lines: Sequence[LotLine], house_days: int) -> dict[str, CoffeeCover]:
    """Each coffee that has a lot which is not closed."""
    by_coffee: dict[str, list[LotLine]] = defaultdict(list)
    for line in lines:
        by_coffee[line.lot.coffee].append(line)
    covers = {}
    for coffee, of_it in by_coffee.items():
        here = [line for line in of_it if line.lot.state != "closed"]
        if here:
            lead_days = [line.lot.lead_days for line in here if line.lot.lead_days is not None]
            covers[coffee] = CoffeeCover(
                coffee,
                sum(line.lot.left_g for line in here if line.may_be_roasted),
                sum(line.used_g for line in of_it),
                max(line.over_days for line in of_it),
                max(lead_days, default=house_days),
            )
    return covers


def _density_place(code: str, house: GreenHouse) -> tuple[int, int] | None:
    """The place of a lot's density among those of the house, the densest first, and their number."""
    known = {line.lot.code: line.lot.density_g_l for line in (*house.lines, *house.closed) if line.lot.density_g_l}
    if code not in known:
        return None
    return 1 + sum(other > known[code] for other in known.values()), len(known)


def _day(at_ms: int) -> date:
    return datetime.fromtimestamp(at_ms / 1000, tz=UTC).astimezone().date()


def _arrival(lot: Lot) -> date:
    """The day of arrival as typed; if that is no date, that of its entry."""
    try:
        return date.fromisoformat(lot.arrived or "")
    except ValueError:
        return _day(lot.arrived_ms)


def _harvest_end(month: str | None) -> date | None:
    """The last day of the month in which the harvest ended."""
    if month is None:
        return None
    first = date.fromisoformat(f"{month}-01")
    return (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)
