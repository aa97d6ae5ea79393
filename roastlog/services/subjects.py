"""Subjects other than batches as the API gives them: folded, with all their entries."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from roastlog.errors import NoSuchLot, NoSuchMachine, NoSuchProduct
from roastlog.journal.fold import Line, Lines, fold_house, fold_lot, fold_machine, fold_person, fold_product
from roastlog.journal.kinds import REGISTRY
from roastlog.journal.subject import HOUSE, LOT, MACHINE, PERSON, PRODUCT, Subject
from roastlog.journal.wording import tell
from roastlog.languages import _
from roastlog.services.batch_detail import SpeakerDetail
from roastlog.services.lots import LotService
from roastlog.services.packing import PackRecord
from roastlog.services.settings import SettingsService
from roastlog.settings import Settings
from roastlog.store import journal as stored
from roastlog.store.store import Store

Facts = Mapping[str, object]
"""Fields of a subject by name, without those that the client may not read."""


@dataclass(frozen=True)
class SaidDetail:
    """An entry as it counts now; ``text`` is its wording, None where that would reveal confidential fields."""

    id: str
    kind: str
    at_ms: int
    received_ms: int
    by: SpeakerDetail
    body: Facts
    undone: bool
    amended: bool
    flags: tuple[str, ...]
    text: str | None


@dataclass(frozen=True)
class LotsDetail:
    """A page of lots."""

    lots: Sequence[Facts]
    page: int
    pages: int
    total: int


@dataclass(frozen=True)
class LotDetail:
    """A green lot; no facts once it was removed."""

    code: str
    state: str
    facts: Facts | None
    entries: tuple[SaidDetail, ...]


@dataclass(frozen=True)
class ProductDetail:
    """A product as it was composed last."""

    code: str
    closed: bool
    facts: Facts
    entries: tuple[SaidDetail, ...]


@dataclass(frozen=True)
class PackDetail:
    """A pack, its bags in stock, and the check weights in figures. [g]"""

    code: str
    facts: Facts
    packed_ms: int
    bags_left: int
    give_away_g: float | None
    short: float | None
    entries: tuple[SaidDetail, ...]


@dataclass(frozen=True)
class MachineDetail:
    """A machine as it is described now."""

    id: str
    sheet: Facts | None
    entries: tuple[SaidDetail, ...]


@dataclass(frozen=True)
class PersonDetail:
    """A person; without a name once that was erased."""

    id: str
    name: str | None
    shown: str | None
    erased: bool
    entries: tuple[SaidDetail, ...]


@dataclass(frozen=True)
class HouseDetail:
    """The settings and the people."""

    settings: Settings
    entries: tuple[SaidDetail, ...]
    people: tuple[PersonDetail, ...]


class SubjectService:
    """Folds lots, machines and the house for programs."""

    def __init__(self, store: Store, lots: LotService, settings: SettingsService) -> None:
        self._store, self._lots, self._settings = store, lots, settings

    def lots(self, *, confidential: bool, state: str = "", page: int = 1, size: int | None = None) -> LotsDetail:
        """Lots with their remaining weights, without their entries: of a state, else all that are not closed. [g]

        Without a size they are all on one page; past the last page is the last one.
        """
        hidden = hidden_fields(LOT, confidential=confidential)
        lots = [lot for lot in self._lots.every() if lot.state == state] if state else self._lots.all()
        size = size or max(1, len(lots))
        pages = max(1, -(-len(lots) // size))
        page = min(page, pages)
        found = [_shown(vars(lot), hidden) for lot in lots[(page - 1) * size : page * size]]
        return LotsDetail(found, page, pages, len(lots))

    def lot(self, code: str, *, confidential: bool) -> LotDetail:
        """One lot with its entries; raises NoSuchLot if it has none."""
        lot = fold_lot(stored.entries_about(self._store.read, Subject(LOT, code)), code)
        if not lot.lines:
            raise NoSuchLot(_("There is no lot {code}.", code=code))
        hidden, known = hidden_fields(LOT, confidential=confidential), self._lots.find(code)
        return LotDetail(
            code=code,
            state="removed" if known is None else "current",
            facts=None if known is None else _shown(vars(known), hidden),
            entries=_entries(lot, hidden),
        )

    def product(self, code: str) -> ProductDetail:
        """One product with its entries; raises NoSuchProduct."""
        product = fold_product(stored.entries_about(self._store.read, Subject(PRODUCT, code)), code)
        if product.facts is None:
            raise NoSuchProduct(_("There is no product {code}.", code=code))
        return ProductDetail(code, product.closed, product.facts.model_dump(mode="json"), _entries(product, ()))

    def pack(self, record: PackRecord) -> PackDetail:
        """One pack with its entries."""
        facts, checked = record.pack.facts, record.checked
        return PackDetail(
            code=record.row.code,
            facts={} if facts is None else facts.model_dump(mode="json"),
            packed_ms=record.row.packed_ms,
            bags_left=record.row.bags_left,
            give_away_g=None if checked is None else round(checked.give_away_g, 3),
            short=None if checked is None else checked.short,
            entries=_entries(record.pack, ()),
        )

    def machine(self, machine_id: str) -> MachineDetail:
        """One machine by its present description, with all its entries; raises NoSuchMachine."""
        machine = fold_machine(stored.entries_about(self._store.read, Subject(MACHINE, machine_id)), machine_id)
        if machine.machine is None:
            raise NoSuchMachine(_("There is no machine “{machine_id}” in this folder.", machine_id=machine_id))
        return MachineDetail(machine_id, machine.sheet, _entries(machine, ()))

    def house(self) -> HouseDetail:
        """The settings and the people, each with their entries."""
        read = self._store.read
        house = fold_house(stored.entries_about(read, Subject(HOUSE)))
        people = [fold_person(entries, subject.name) for subject, entries in stored.all_entries(read, PERSON)]
        return HouseDetail(
            settings=self._settings.current(),
            entries=_entries(house, ()),
            people=tuple(
                PersonDetail(person.id, person.name, person.shown, person.erased, _entries(person, ()))
                for person in people
            ),
        )


def hidden_fields(subject: str, *, confidential: bool) -> Collection[str]:
    """Fields of a kind of subject that the reader may not see."""
    if confidential:
        return frozenset()
    return frozenset(name for row in REGISTRY.values() if subject in row.about for name in row.confidential)


def _shown(values: Facts, hidden: Collection[str]) -> dict[str, object]:
    return {name: value for name, value in values.items() if name not in hidden}


def _entries(subject: Lines, hidden: Collection[str]) -> tuple[SaidDetail, ...]:
    return tuple(_entry(line, subject, hidden) for line in subject.lines)


def _entry(line: Line, subject: Lines, hidden: Collection[str]) -> SaidDetail:
    body = _shown(line.body, hidden)
    change = body.get("body")
    if isinstance(change, dict):  # a correction
        body["body"] = _shown(change, hidden)
    hides = line.kind in REGISTRY and REGISTRY[line.kind].corrects and bool(hidden)
    return SaidDetail(
        id=str(line.id),
        kind=line.kind,
        at_ms=line.at_ms,
        received_ms=line.received_ms,
        by=SpeakerDetail(line.by.person, line.by.device),
        body=body,
        undone=line.undone,
        amended=line.amended,
        flags=line.flags,
        text=None if hides else tell(line, subject, {}),
    )
