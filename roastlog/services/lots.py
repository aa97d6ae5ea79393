"""Green lots and what is left of each."""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass

from roastlog.errors import NoSuchLot, SettingError
from roastlog.languages import _
from roastlog.services.machines import MachineService
from roastlog.store import books
from roastlog.store.books import LotRow
from roastlog.store.store import Store
from roastlog.trace.ledger import LotBalance

__all__ = ["Lot", "LotRow", "LotService"]


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


class LotService:
    """Reads and keeps green lots. Batches of practice machines take nothing from them."""

    def __init__(self, store: Store, machines: MachineService) -> None:
        self._store, self._machines = store, machines

    def all(self) -> list[Lot]:
        """All green lots, by coffee."""
        without = self._machines.practice_ids()
        return [_lot(row, taken_g) for row, taken_g in books.lots(self._store.read, without=without)]

    def find(self, code: str) -> Lot | None:
        """One lot; None where no lot has that code."""
        found = books.lot(self._store.read, code, without=self._machines.practice_ids())
        return None if found is None else _lot(*found)

    def get(self, code: str) -> Lot:
        """One lot; raises NoSuchLot."""
        found = self.find(code)
        if found is None:
            raise NoSuchLot(_("There is no lot {code} in the books.", code=code))
        return found

    def keep(self, row: LotRow) -> Lot:
        """Add a lot, or change what is known of it; raises SettingError."""
        if not row.code or not row.coffee:
            raise SettingError(_("A lot needs a code and the name of its coffee."))
        if not (math.isfinite(row.bought_g) and row.bought_g >= 0):
            raise SettingError(_("The weight bought must be 0 or more."))
        self._store.write(lambda db: books.keep_lot(db, row))
        return self.get(row.code)


def _lot(row: LotRow, taken_g: Sequence[float]) -> Lot:
    return Lot(**asdict(row), left_g=LotBalance.of(row.bought_g, taken_g).left_g)
