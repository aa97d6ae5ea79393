"""Green lots, people and settings: what a roastery writes down once and looks up often."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from roastlog.clock import Clock
from roastlog.errors import NoSuchLot, SettingError
from roastlog.languages import _
from roastlog.machine.model import Machine
from roastlog.services.curve_settings import CURVE_SETTINGS
from roastlog.settings import Settings
from roastlog.store import books
from roastlog.store.books import LotRow, Person
from roastlog.store.store import Store
from roastlog.trace.ledger import LotBalance


@dataclass(frozen=True)
class Lot:
    """A green lot and what is left of it. [g]"""

    code: str
    coffee: str
    origin: str | None
    process: str | None
    altitude: str | None
    harvest: str | None
    bought_g: float
    left_g: float
    arrived: str | None
    cup: str | None
    price: str | None
    note: str | None


class Books:
    """The books of one data folder."""

    def __init__(self, folder: Path, clock: Clock) -> None:
        self.folder, self.clock = folder, clock
        self.store = Store(folder)

    def now_ms(self) -> int:
        """The time by the server's clock. [ms UTC]"""
        return self.clock.now_ms()

    def practice(self) -> tuple[str, ...]:
        """Ids of the machines where nothing is real: their batches take no stock and are in no list."""
        machines = [Machine.model_validate_json(sheet) for sheet in books.machine_sheets(self.store.read)]
        return tuple(machine.id for machine in machines if machine.practice)

    def lots(self) -> list[Lot]:
        """All green lots with what is left of each."""
        return [lot_of(row, taken_g) for row, taken_g in books.lots(self.store.read, without=self.practice())]

    def lot(self, code: str) -> Lot:
        """One lot; raises NoSuchLot."""
        found = books.lot(self.store.read, code, without=self.practice())
        if found is None:
            raise NoSuchLot(_("There is no lot {code} in the books.", code=code))
        return lot_of(*found)

    def add_lot(self, row: LotRow) -> Lot:
        """Put a lot into the books, or change what they say of it."""
        if not row.code or not row.coffee:
            raise SettingError(_("A lot needs a code and the name of its coffee."))
        if not (math.isfinite(row.bought_g) and row.bought_g >= 0):
            raise SettingError(_("The weight bought must be 0 or more."))
        self.store.write(lambda db: books.keep_lot(db, row))
        return self.lot(row.code)

    def people(self) -> list[Person]:
        """All people."""
        return books.people(self.store.read)

    def add_person(self, name: str, shown: str = "") -> None:
        """Add someone who roasts; ``shown`` is what a bag may say."""
        if not name.strip():
            raise SettingError(_("A person needs a name."))
        person = Person(name.strip(), shown.strip() or name.split(maxsplit=1)[0])
        self.store.write(lambda db: books.keep_person(db, person))

    def settings(self) -> Settings:
        """All settings, those not changed at their defaults."""
        return Settings.of(books.settings(self.store.read))

    def save_settings(self, changes: Mapping[str, Any]) -> Settings:
        """Change settings; raises SettingError when one is out of range."""
        settings = replace(self.settings(), **changes)
        if settings.url_base and not _is_base(settings.url_base):
            raise SettingError(
                _("The address for labels must begin with https:// or http://, and a host's name must follow.")
            )
        if not 0 <= settings.best_before_days <= 3650:
            raise SettingError(_("Best before must be 0 (none) to 3650 days after roasting."))
        if settings.units_temp not in {"C", "F"} or settings.units_mass not in {"kg", "lb"}:
            raise SettingError(_("Units are C or F, and kg or lb."))
        for name, item in CURVE_SETTINGS.items():
            if not item.low <= getattr(settings, name) <= item.high:
                raise SettingError(item.refusal(settings.units_temp))
        settings = replace(settings, url_base=settings.url_base.rstrip("/"))
        self.store.write(lambda db: books.keep_settings(db, asdict(settings)))
        return settings


def lot_of(row: LotRow, taken_g: Sequence[float]) -> Lot:
    """A lot with what its batches left of it."""
    return Lot(**asdict(row), left_g=LotBalance.of(row.bought_g, taken_g).left_g)


def _is_base(url: str) -> bool:
    try:
        parts = urlsplit(url)
        return parts.scheme in {"http", "https"} and bool(parts.hostname) and (parts.port or 1) > 0
    except ValueError:
        return False
